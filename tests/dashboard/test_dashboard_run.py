"""The page of a run, without a browser: its content, its moves, its reviews."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from babbitt.errors import RegisterError
from babbitt.logbook.folder import open_logbook
from babbitt.present.views.run import RunView, read_run
from babbitt.present.views.shelf import RunShelf
from babbitt.register.records import corrections, events
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.pages import run
from babbitt_dashboard.pages.run_moves import BUTTONS, moved, pressed
from dashboard_calls import text_of
from run_book import AT, FIRST, SECOND, make_run_book

WHOLE = {"event": None, "start": None, "end": None, "more": [], "cross": None, "clicks": {}}
OWN = "Pump <b>ratio</b>"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook to copy."""
    return make_run_book(tmp_path_factory.mktemp("run") / "book").root


@pytest.fixture
def desk(made: Path, tmp_path: Path) -> Desk:
    book = open_logbook(shutil.copytree(made, tmp_path / "book"))
    return Desk(book, lambda: datetime(2026, 6, 1, tzinfo=UTC), "Bob")


@pytest.fixture
def view(desk: Desk) -> RunView:
    return read_run(desk.book, FIRST)


def ask(desk: Desk, outputs: list[str], inputs: dict[str, Any], state: dict[str, Any]) -> Any:
    """Send what the browser would, as if the first of `inputs` had changed; None: no change."""
    app = make_app(desk)
    app.server.config["TESTING"] = True
    changed = next(iter(inputs))

    def props(values: dict[str, Any]) -> list[dict[str, Any]]:
        named = []
        for name, value in values.items():
            part, prop = name.rsplit(".", 1)
            named.append({"id": part, "property": prop, "value": value})
        return named

    key = next(each for each in app.callback_map if all(name in each for name in outputs))
    wanted = [each["id"] + "." + each["property"] for each in app.callback_map[key]["inputs"]]
    given = {each["id"] + "." + each["property"]: each for each in props(inputs)}
    ordered = [
        [] if name.startswith("{") else given.get(name, props({name: None})[0]) for name in wanted
    ]
    parts = [name.rsplit(".", 1) for name in key.strip(".").split("...")]
    targets = [{"id": part, "property": prop} for part, prop in parts]
    answer = app.server.test_client().post(
        "/_dash-update-component",
        json={
            "output": key,
            "outputs": targets if key.startswith("..") else targets[0],
            "inputs": ordered,
            "state": props(state),
            "changedPropIds": [changed],
        },
    )
    assert answer.status_code in (200, 204), answer.text
    return answer.json["response"] if answer.status_code == 200 else None


def test_the_page_says_the_finding_first(desk: Desk) -> None:
    page = run.layout(desk, FIRST)
    shown = text_of(page)
    assert "E1, 2 May 2026 10:00" in shown
    assert shown.index("2 harmful events") < shown.index("run-traces")
    assert "single-sample spike" in shown
    assert SECOND in shown


def test_a_link_shows_the_same_view(desk: Desk, view: RunView) -> None:
    event = view.events[1].event_id
    shown = text_of(
        run.layout(desk, FIRST, event=event, start="40", end="41.5", more=OWN, cross="boost-rpm")
    )
    place = {"event": event, "start": 40.0, "end": 41.5, "more": [OWN], "cross": "boost-rpm"}
    assert json.dumps(place | {"clicks": {}}) in shown


def test_what_a_link_has_wrong_is_left_out(desk: Desk) -> None:
    shown = text_of(run.layout(desk, FIRST, event="x", start="nan", end="z", more="x", cross="x"))
    assert json.dumps(WHOLE) in shown


def test_a_link_to_an_event_shows_it_in_the_middle(desk: Desk, view: RunView) -> None:
    event = view.events[1]
    shown = text_of(run.layout(desk, FIRST, event=event.event_id))
    assert f'"start": {round(event.start_s - 2.0, 3)}' in shown


def test_an_unlogged_run_has_no_traces(desk: Desk) -> None:
    with desk.book.register.writing("Ann") as session:
        record = corrections.add_unlogged(session, "E1", minutes=5, at=AT.replace(month=5, day=9))
    shown = text_of(run.layout(desk, record.run_id))
    assert "without a logger" in shown
    assert "run-traces" not in shown


def test_buttons_go_from_event_to_event_and_stop_at_the_ends(view: RunView) -> None:
    first, second = (event.event_id for event in view.events)
    there = pressed(view, WHOLE, {"next": 1})
    assert there["event"] == first
    assert there["start"] == pytest.approx(view.events[0].start_s - 2.0, abs=1e-3)
    assert pressed(view, there, {"next": 2})["event"] == second
    assert pressed(view, there, {"next": 9})["event"] == second
    assert pressed(view, there, {"next": 1, "previous": 5})["event"] == first
    assert pressed(view, WHOLE, {"previous": 1})["event"] == second


def test_presses_that_follow_fast_all_count(view: RunView) -> None:
    """The browser may ask about the second press before the first is answered."""
    slow = pressed(view, pressed(view, WHOLE, {"closer": 1}), {"closer": 2})
    assert pressed(view, WHOLE, {"closer": 2}) == slow


def test_buttons_move_the_window_within_the_run(view: RunView) -> None:
    start = WHOLE | {"start": 20.0, "end": 30.0}
    ends = {
        name: (there["start"], there["end"])
        for name in BUTTONS
        for there in [pressed(view, start, {name: 1})]
    }
    assert ends["earlier"] == (15.0, 25.0)
    assert ends["later"] == (25.0, 35.0)
    assert ends["closer"] == (22.5, 27.5)
    assert ends["wider"] == (15.0, 35.0)
    assert ends["whole"] == (None, None)


def test_the_pointer_chooses_windows_and_events(view: RunView) -> None:
    dragged = {"xaxis.range[0]": "2000-01-01 00:00:10", "xaxis.range[1]": "2000-01-01 00:00:20.5"}
    there = moved(view, WHOLE, "run-traces", dragged)
    assert (there["start"], there["end"]) == (10.0, 20.5)
    assert moved(view, there, "run-traces", {"xaxis.autorange": True})["start"] is None
    event = view.events[1].event_id
    assert moved(view, WHOLE, {"type": "run-event", "id": event}, 1)["event"] == event
    assert moved(view, WHOLE, "run-more", [OWN])["more"] == [OWN]
    assert moved(view, WHOLE, "run-cross", "boost-rpm")["cross"] == "boost-rpm"


@pytest.mark.parametrize("value", [{"autosize": True}, {"xaxis.showspikes": True}, None])
def test_what_moves_nothing_changes_nothing(view: RunView, value: Any) -> None:
    assert moved(view, WHOLE, "run-traces", value) == WHOLE


def test_a_press_counts_though_something_else_moved_before_its_answer(view: RunView) -> None:
    unmoved = dict.fromkeys(BUTTONS, 0)
    assert pressed(view, WHOLE, unmoved) == WHOLE
    there = moved(
        view, pressed(view, WHOLE, unmoved | {"next": 1}), "run-traces", {"autosize": True}
    )
    assert there["event"] == view.events[0].event_id
    assert pressed(view, there, unmoved | {"next": 1}) == there


def test_the_traces_follow_and_say_what_they_show(desk: Desk, view: RunView) -> None:
    shelf = RunShelf(desk.book)
    figure, said = run.traces(desk, shelf, FIRST, WHOLE)
    assert said == "whole run"
    there = pressed(view, WHOLE | {"more": [OWN]}, {"next": 2})
    closer, said = run.traces(desk, shelf, FIRST, there)
    assert said.startswith("event 2 of 2, 0:3")
    assert closer.layout.height > figure.layout.height


def test_the_chosen_event_is_told_in_words_and_marked_in_the_list(
    desk: Desk, view: RunView
) -> None:
    event = view.events[1].event_id
    listed, chosen, finding, seen = run.looked_at(desk, RunShelf(desk.book), FIRST, event)
    assert [row.children.__dict__.get("aria-current") for row in listed] == [None, "true"]
    assert "Oil pressure fell to 100 kPa" in text_of(chosen)
    assert "345 kPa was expected" in text_of(chosen)
    assert "of the life dose for oil starvation" in text_of(chosen)
    assert "2 to review" in finding
    assert seen == 0
    _, nothing, _, _ = run.looked_at(desk, RunShelf(desk.book), FIRST, None)
    assert "Choose an event" in text_of(nothing)


def test_a_run_without_events_says_so(desk: Desk) -> None:
    with desk.book.register.writing("Ann") as session:
        events.replace_events(session, FIRST, [], judged_by="test")
    listed, chosen, finding, _ = run.looked_at(desk, RunShelf(desk.book), FIRST, None)
    assert listed == []
    assert "no event to judge" in text_of(chosen)
    assert finding == "Nothing harmful was found in this run."


def test_a_review_shows_at_once_and_leaves_the_totals(desk: Desk, view: RunView) -> None:
    event = view.events[1].event_id
    run.review(desk, event, "sensor_fault", " plug loose ", 0)
    listed, chosen, finding, seen = run.looked_at(desk, RunShelf(desk.book), FIRST, event)
    assert "run-event aside" in text_of(listed[1])
    assert "Sensor fault, said Bob" in text_of(chosen)
    assert '"plug loose"' in text_of(chosen)
    assert "1 event set aside" in finding
    assert seen == 1
    figure, _ = run.traces(desk, RunShelf(desk.book), FIRST, WHOLE)
    symbols = [trace.marker.symbol for trace in figure.data if trace.type == "scatter"]
    assert "circle-open" in symbols


def test_a_review_by_somebody_else_meanwhile_is_told(desk: Desk, view: RunView) -> None:
    event = view.events[1].event_id
    with desk.book.register.writing("Ann") as session:
        events.add_review(session, event, "confirmed")
    with pytest.raises(RegisterError, match="Ann called this event confirmed meanwhile"):
        run.review(desk, event, "harmless", "", 0)


def test_a_review_carried_over_says_so(desk: Desk, view: RunView) -> None:
    event = view.events[1]
    run.review(desk, event.event_id, "harmless", "", 0)
    moved_on = [
        each if each.event_id != event.event_id else type(each)(**{**vars(each), "event_id": "new"})
        for each in view.events
    ]
    with desk.book.register.writing("Ann") as session:
        events.replace_events(session, FIRST, moved_on, judged_by="test")
    _, chosen, _, _ = run.looked_at(desk, RunShelf(desk.book), FIRST, "new")
    assert "carried over" in text_of(chosen)


def test_a_missing_file_is_told_in_a_sentence_beside_the_events(desk: Desk, view: RunView) -> None:
    (desk.book.root / desk.book.run_name("E1", FIRST)).unlink()
    place = WHOLE | {"event": view.events[1].event_id}
    answer = ask(
        desk,
        ["run-traces.figure", "run-trouble.children"],
        {"run-place.data": place, "run-reviewed.data": 0},
        {"run-id.data": FIRST},
    )
    assert "is missing" in text_of(answer["run-trouble"])
    assert "figure" not in answer.get("run-traces", {})
    _, chosen, _, _ = run.looked_at(desk, RunShelf(desk.book), FIRST, place["event"])
    assert "Oil pressure fell to 100 kPa" in text_of(chosen)


@pytest.mark.parametrize("cross", ["pressure-rpm", "pressure-lateral", "boost-rpm"])
def test_a_cross_plot_is_drawn_of_what_is_seen(desk: Desk, cross: str) -> None:
    shelf = RunShelf(desk.book)
    sentence, _ = run.crossed(desk, shelf, FIRST, WHOLE | {"cross": cross})
    assert "against" in text_of(sentence)
    assert run.crossed(desk, shelf, FIRST, WHOLE) == []


def test_the_report_shows_what_is_looked_at(desk: Desk, view: RunView) -> None:
    place = pressed(view, WHOLE, {"next": 2})
    answer = make_app(desk).server.test_client().get(run.report_address(FIRST, place))
    assert answer.status_code == 200
    assert "From 0:3" in answer.text
    missing = make_app(desk).server.test_client().get("/report/run/zz.html")
    assert (missing.status_code, missing.text[:22]) == (404, "There is no run 'zz': ")


def test_callbacks_move_draw_look_and_judge(desk: Desk, view: RunView) -> None:
    where = {"run-id.data": FIRST}
    state = {"run-place.data": WHOLE} | where
    clicks = {f"run-{name}.n_clicks": None for name in BUTTONS} | {
        "run-traces.relayoutData": None,
        "run-more.value": [],
        "run-cross.value": "",
    }
    went = ask(
        desk,
        ["run-place.data", "run-state.data"],
        {"run-next.n_clicks": 1} | {n: v for n, v in clicks.items() if n != "run-next.n_clicks"},
        state,
    )
    place = went["run-place"]["data"]
    event = view.events[0].event_id
    assert place["event"] == went["run-event"]["data"] == event
    assert "clicks" not in went["run-state"]["data"]
    dragged = {"run-traces.relayoutData": {"xaxis.range[0]": "x", "xaxis.range[1]": None}}
    assert ask(desk, ["run-place.data"], dragged | clicks | dragged, state) is None
    assert ask(desk, ["run-place.data"], {"run-next.n_clicks": None} | clicks, state) is None

    drawn = ask(
        desk, ["run-traces.figure"], {"run-place.data": place, "run-reviewed.data": 0}, where
    )
    assert "event 1 of 2" in drawn["run-said"]["children"]
    assert drawn["run-report"]["href"].startswith(f"/report/run/{FIRST}.html?event={event}")
    looked = ask(
        desk, ["run-list.children"], {"run-event.data": event, "run-reviewed.data": 0}, where
    )
    assert "The engine turned 7,900 rpm" in text_of(looked["run-chosen"])
    assert looked["run-confirmed"]["disabled"] is False
    crossed = ask(
        desk,
        ["run-crossed.children"],
        {"run-place.data": place | {"cross": "boost-rpm"}, "run-reviewed.data": 0},
        where,
    )
    assert "Boost against engine speed" in text_of(crossed)

    word = {
        f"run-{verdict}.n_clicks": None for verdict in ("confirmed", "sensor_fault", "harmless")
    }
    said = {
        "run-event.data": event,
        "run-note.value": "seen on video",
        "run-seen.data": 0,
        "run-reviewed.data": 3,
    }
    pressed_c = {"run-confirmed.n_clicks": 1}
    judged = ask(desk, ["run-reviewed.data"], pressed_c | word | pressed_c, said)
    assert judged["run-reviewed"]["data"] == 4
    assert judged["run-note"]["value"] == ""
    assert read_run(desk.book, FIRST).events[0].review == "confirmed"
    late = ask(desk, ["run-reviewed.data"], pressed_c | word | pressed_c, said)
    assert "meanwhile" in text_of(late["run-refusal"])
    none = said | {"run-event.data": None}
    assert ask(desk, ["run-reviewed.data"], pressed_c | word | pressed_c, none) is None
