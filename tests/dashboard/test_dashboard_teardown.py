"""The pages of teardowns, without a browser: the sheet, entering, what it fits, and mending it."""

from __future__ import annotations

import base64
import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from babbitt.damage.blame import Blame
from babbitt.damage.chance import Estimate
from babbitt.damage.model import UNLOGGED
from babbitt.errors import BabbittError, RegisterError
from babbitt.logbook.folder import create_logbook, open_logbook, settings_text
from babbitt.model.damage_modes import parts
from babbitt.model.engine_layout import EngineLayout
from babbitt.present.words import CAUTION
from babbitt.register.records import teardowns as recorded
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.pages import teardown, teardowns
from babbitt_dashboard.pages.teardown_acts import Acted
from babbitt_dashboard.pages.teardown_fit import split_bar
from babbitt_dashboard.pages.teardown_live import done, opened, seen
from babbitt_dashboard.pages.teardown_table import rows
from engine_book import NOW
from strip_book import APART, jpeg, make_strip_book

AT = APART.isoformat()
BENCH = {
    "engine": "E1",
    "layout": ["inline", 4],
    "spots": [*(["rod_bearing", str(n)] for n in (2, 1, 3, 4)), ["rod_bolt", "1"]],
    "likely": [["rod_bearing", "2"]],
    "teardown": None,
    "at": None,
    "day": "2026-02-19",
    "hour": "09:00",
    "finding": None,
    "seen": None,
}


def text_of(content: Any) -> str:
    return json.dumps(content, default=lambda each: each.to_plotly_json(), ensure_ascii=False)


def desk_of(book: Any) -> Desk:
    return Desk(book, lambda: NOW, "Bob")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    return desk_of(make_strip_book(tmp_path_factory.mktemp("strip") / "book"))


@pytest.fixture
def own(desk: Desk, tmp_path: Path) -> Desk:
    """The same, to write to."""
    return desk_of(open_logbook(shutil.copytree(desk.book.root, tmp_path / "book")))


class Bench:
    """A page that things are done on, one after another, as a browser does."""

    def __init__(self, desk: Desk, **changes: Any) -> None:
        self.desk, self.bench = desk, {**BENCH, **changes}
        self.page = Acted(teardown.Draft())

    def done(self, **what: Any) -> Acted:
        kept = json.loads(self.page.draft.model_dump_json())
        entry = str(self.page.entry or "new") if self.page.part else ""
        state = {"part": self.page.part, "position": self.page.position, "entry": entry}
        self.page = done(self.desk, self.bench, kept, state, what)
        return self.page

    def press(self, do: str, to: object = "") -> Acted:
        return self.done(do=do, to=str(to))


@pytest.fixture
def bench(own: Desk) -> Bench:
    return Bench(own)


def findings_of(desk: Desk, engine_id: str = "E1") -> list[Any]:
    with desk.book.register.reading() as session:
        return list(recorded.findings_of(session, engine_id))


def test_teardowns_are_listed_with_their_worst_finding_and_the_engines_still_together(
    desk: Desk,
) -> None:
    shown = text_of(teardowns.layout(desk))
    assert "1 teardown, 1 with damage" in shown
    assert "Rod bearing 2 wiped" in shown
    assert "6 runs, 6 h 00 min since 1 Jan 2026" in shown
    assert "no run since 1 Jan 2026" in shown
    assert "/teardown/E2?show=enter" in shown
    assert CAUTION in shown


def test_a_logbook_without_engines_says_what_to_do(tmp_path: Path) -> None:
    shown = text_of(teardowns.layout(desk_of(create_logbook(tmp_path / "new", settings_text()))))
    assert "No engine came apart yet." in shown
    assert "babbitt engine add" in shown


def test_an_engine_still_together_shows_its_sheet(desk: Desk) -> None:
    shown = text_of(teardown.layout(desk, "E2"))
    assert "E2: take it apart" in shown
    assert "first:" in shown
    assert any(mode.look_for in shown for part in parts().values() for mode in part.modes.values())
    assert CAUTION in shown


def test_a_recorded_teardown_shows_what_it_fits_and_the_events_behind(desk: Desk) -> None:
    shown = text_of(teardown.layout(desk, "E1", at=AT))
    assert "Rod bearing 2: wiped" in shown
    assert "grade 3, replace" in shown
    assert "clearance 0.071 mm (outside limits 0.045 to 0.065)" in shown
    assert "/run/E1-" in shown
    assert "?event=" in shown
    assert "/photo/small/" in shown
    assert "a bright crescent" in shown
    assert CAUTION in shown


def test_the_sheet_before_a_recorded_teardown_is_as_it_was(desk: Desk) -> None:
    shown = text_of(teardown.layout(desk, "E1", at=AT, show="sheet"))
    assert "0 teardowns of its type" in shown


@pytest.mark.parametrize(
    ("engine_id", "parts", "said"),
    [
        ("E9", {}, "no engine"),
        ("E1", {"at": "soon"}, "'soon' is no date"),
        ("E1", {"at": "2026-01-02"}, "No teardown of E1"),
        ("E1", {"at": AT, "show": "enter", "finding": "99"}, "no finding 99"),
    ],
)
def test_an_address_that_leads_nowhere_is_refused(
    desk: Desk, engine_id: str, parts: dict[str, str], said: str
) -> None:
    with pytest.raises(BabbittError, match=said):
        teardown.layout(desk, engine_id, **parts)


def test_the_state_of_entering_is_in_the_address(desk: Desk) -> None:
    shown = text_of(teardown.layout(desk, "E2", show="enter", part="rod", position="2", entry="1"))
    state = {"part": "rod", "position": "2", "entry": "1", "view": ""}
    assert json.dumps(state) in shown
    assert json.dumps({"type": "teardown-draft", "of": "E2"}) in shown


def test_a_part_is_chosen_graded_and_told_of(bench: Bench) -> None:
    bench.press("choose", "rod_bearing|2")
    bench.press("grade", 3)
    page = bench.press("mode", "wiped")
    (entry,) = page.draft.entries
    assert (entry.position, entry.grade, entry.mode) == ("2", 3, "wiped")
    shown = seen(bench.desk, bench.bench, page)
    assert "rod bearing 2, grade 3" in text_of(shown.parts)
    assert "Rod bearing 2" in text_of(shown.form)
    assert "1 finding entered" in text_of(shown.entered)
    assert "record the teardown" in text_of(shown.record)
    assert shown.section.startswith("data:image/svg+xml;base64,")


def test_steps_follow_the_sheet_and_end_at_its_ends(bench: Bench) -> None:
    assert bench.press("step", "back").position == "2"
    positions = [bench.press("step", "next").position for _ in range(6)]
    assert positions == ["1", "3", "4", "1", "1", "1"]
    assert bench.page.part == "rod_bolt"
    assert bench.press("step", "back").position == "4"


def test_fields_belong_to_the_entry_that_they_were_typed_in(bench: Bench) -> None:
    bench.press("choose", "rod_bearing|2")
    bench.done(field="value", entry="0", value="0,07")
    bench.press("measured", "clearance")
    bench.press("choose", "rod_bearing|1")
    page = bench.done(field="note", entry="1", value="typed late")
    assert (page.position, page.entry) == ("1", 0)
    (entry,) = page.draft.entries
    assert (entry.value, entry.measured, entry.note) == ("0,07", "clearance", "typed late")
    assert bench.done(field="teardown_note", entry="-1", value="all apart").draft.note
    assert bench.press("earlier").draft.earlier
    with pytest.raises(RegisterError, match="no such field"):
        bench.done(field="n", entry="1", value="7")


def test_one_part_may_have_several_findings(bench: Bench) -> None:
    bench.press("choose", "rod_bearing|2")
    bench.press("grade", 3)
    bench.press("mode", "wiped")
    bench.press("another")
    bench.press("grade", 2)
    page = bench.press("mode", "worn")
    assert [entry.mode for entry in page.draft.entries] == ["wiped", "worn"]
    assert bench.press("open", 1).entry == 1
    assert bench.press("remove", 1).entry == 2
    form = text_of(seen(bench.desk, bench.bench, bench.page).form)
    assert "another damage" in form


def test_a_photo_dropped_on_a_part_is_set_aside_for_it(bench: Bench) -> None:
    file = {"name": "shell.jpg", "content": _url(jpeg())}
    page = bench.done(files=[file], to="rod_bearing|2")
    (photo,) = page.draft.entry(page.entry).photos
    assert photo.taken_as == "shell.jpg"
    assert photo.thumbnail.startswith("data:image/jpeg;base64,")
    assert bench.done(files=[file]).draft == page.draft
    assert not bench.press("unphoto", photo.name).draft.entry(page.entry).photos


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"GIF89a", "no JPEG or PNG"), (None, "did not come in whole")],
)
def test_what_is_no_photo_is_refused(bench: Bench, content: bytes | None, said: str) -> None:
    url = "data:image/jpeg;base64,*" if content is None else _url(content)
    with pytest.raises(RegisterError, match=said):
        bench.done(files=[{"name": "x.jpg", "content": url}], to="rod_bearing|2")


def test_a_photo_needs_a_part(bench: Bench) -> None:
    with pytest.raises(RegisterError, match="Choose a part first"):
        bench.done(files=[{"name": "x.jpg", "content": _url(jpeg())}])


def test_the_draft_is_recorded_in_one_go_and_leads_to_the_teardown(own: Desk) -> None:
    bench = Bench(own, engine="E2")
    bench.press("choose", "rod_bearing|2")
    bench.done(files=[{"name": "shell.jpg", "content": _url(jpeg())}])
    bench.press("grade", 3)
    bench.press("mode", "wiped")
    bench.press("others")
    bench.done(field="teardown_note", entry="-1", value="bottom end")
    page = bench.press("record")
    assert page.go == "/teardown/E2?at=2026-02-19T09%3A00%3A00%2B00%3A00"
    assert page.draft.entries == ()
    first, *others = findings_of(own, "E2")
    assert first.teardown.note == "bottom end"
    assert (first.finding.damage_mode, first.finding.disposition) == ("wiped", "replace")
    assert own.book.photo_path(first.finding.photos[0]).is_file()
    assert [(each.finding.position, each.finding.grade) for each in others] == [
        *(("1", 0), ("3", 0), ("4", 0))
    ]


def test_a_draft_that_is_not_whole_is_not_recorded(bench: Bench) -> None:
    with pytest.raises(RegisterError, match="Nothing is entered yet"):
        bench.press("record")
    bench.press("choose", "rod_bearing|2")
    bench.press("grade", 3)
    before = findings_of(bench.desk)
    with pytest.raises(RegisterError, match=r"Rod bearing 2: choose the damage\."):
        bench.press("record")
    assert findings_of(bench.desk) == before
    assert "choose the damage" in text_of(seen(bench.desk, bench.bench, bench.page).entered)


def test_findings_are_added_to_a_recorded_teardown(own: Desk) -> None:
    number = findings_of(own)[0].teardown.teardown_id
    bench = Bench(own, teardown=number, at=AT)
    bench.press("choose", "rod_bolt|1")
    bench.press("grade", 0)
    assert "add them to the teardown" in text_of(seen(own, bench.bench, bench.page).record)
    bench.press("record")
    assert findings_of(own)[-1].finding.part == "rod_bolt"
    assert findings_of(own)[-1].teardown.teardown_id == number


def test_a_finding_is_corrected_with_a_reason(own: Desk) -> None:
    record = findings_of(own)[0]
    shown = text_of(teardown.layout(own, "E1", at=AT, show="enter", finding=str(record.finding_id)))
    assert "Correct the finding on rod bearing 2" in shown
    bench = Bench(own, finding=record.finding_id, seen=record.version, at=AT)
    bench.page = Acted(teardown.draft_of(record, EngineLayout("inline", 4)), "rod_bearing", "2", 1)
    bench.press("grade", 2)
    with pytest.raises(RegisterError, match="Say why"):
        bench.press("record")
    bench.done(field="reason", entry="-1", value="under the glass")
    assert (
        bench.press("record").go == f"/teardown/E1?at={AT.replace(':', '%3A').replace('+', '%2B')}"
    )
    mended = findings_of(own)[0]
    assert mended.finding.grade == 2
    assert mended.finding.photos == record.finding.photos


def test_a_finding_is_withdrawn_with_a_reason_and_not_over_anothers_change(own: Desk) -> None:
    first, second, *_ = findings_of(own)
    bench = Bench(own, finding=first.finding_id, seen=first.version, at=AT)
    bench.page = Acted(teardown.draft_of(first, EngineLayout("inline", 4)), "rod_bearing", "2", 1)
    bench.done(field="reason", entry="-1", value="the wrong engine")
    bench.press("withdraw")
    assert findings_of(own)[0] == second
    stale = Bench(own, finding=second.finding_id, seen=second.version + 1, at=AT)
    stale.page = Acted(teardown.draft_of(second, EngineLayout("inline", 4)), "rod_bearing", "1", 1)
    stale.done(field="reason", entry="-1", value="too late")
    with pytest.raises(BabbittError):
        stale.press("withdraw")


def test_the_table_holds_what_the_drawing_does(bench: Bench) -> None:
    row = "rod_bearing|2|0"
    bench.done(row=row, column="grade", value="3")
    bench.done(row=row, column="mode", value="wiped")
    bench.done(row=row, column="value", value="0.071")
    page = bench.done(row=row, column="measured", value="clearance")
    assert len(page.draft.entries) == 1
    made = rows(bench.bench, page.draft)
    assert len(made) == len(BENCH["spots"])
    first = made[0]
    assert (first["grade"], first["mode"], first["then"]) == ("3 replace", "wiped", "replace")
    assert first["modes"] == ["wiped", "worn", "overheated"]
    page = bench.done(row=first["id"], column="then", value="send out")
    assert page.draft.entries[0].disposition == "send_out"
    assert bench.done(row=first["id"], column="grade", value="").draft.entries == ()


def test_a_cell_that_cannot_be_is_refused(bench: Bench) -> None:
    with pytest.raises(RegisterError, match="'bad' is no grade"):
        bench.done(row="rod_bearing|2|0", column="grade", value="bad")
    with pytest.raises(RegisterError, match="no such column"):
        bench.done(row="rod_bearing|2|0", column="n", value="7")


def test_a_draft_of_another_program_can_only_be_started_over(desk: Desk) -> None:
    shown, draft = opened(desk, BENCH, {"shape": "old"}, {"part": ""})
    assert "start it over" in text_of(shown.record)
    assert "discard" in text_of(shown.record)
    assert draft == done(desk, BENCH, {"shape": "old"}, {}, {"do": "discard"}).draft


def test_a_wrong_part_in_the_address_chooses_none(desk: Desk) -> None:
    shown, _ = opened(desk, BENCH, None, {"part": "flux", "position": "1", "entry": "x"})
    assert "Choose a part" in text_of(shown.form)


def test_small_causes_are_named_after_the_bar() -> None:
    blames = [
        Blame("oil_starvation", Estimate(0.7, 0.1, 1.0), ()),
        Blame(UNLOGGED, Estimate(0.25, 0.0, 0.9), ()),
        Blame("running", Estimate(0.05, 0.0, 0.1), ()),
    ]
    shown = text_of(split_bar(blames))
    assert "Causes: 70 % starved of oil in corners, 25 % not in the log, 5 % running time" in shown
    assert '"5 % running time"' in shown


def test_the_report_of_a_teardown_is_a_page_to_print(desk: Desk) -> None:
    client = make_app(desk).server.test_client()
    report = client.get("/report/teardown/E1.html", query_string={"at": AT})
    assert report.status_code == 200
    assert "Rod bearing 2: wiped" in report.text
    wrong = client.get("/report/teardown/E1.html", query_string={"at": "2026-01-02"})
    assert (wrong.status_code, wrong.mimetype) == (404, "text/plain")
    assert wrong.text.startswith("No teardown of E1")


def test_photos_are_served_by_the_names_of_findings_only(desk: Desk) -> None:
    (name,) = findings_of(desk)[0].finding.photos
    app = make_app(desk)
    client = app.server.test_client()
    for path in (f"/photo/{name}", f"/photo/small/{name}"):
        with client.get(path) as answer:
            assert (answer.status_code, answer.mimetype) == (200, "image/jpeg")
    for other in ("0" * 64 + ".jpg", "register.sqlite", "logbook.toml"):
        assert client.get(f"/photo/{other}").status_code == 404


def ask(desk: Desk, changed: dict[str, Any], states: list[Any], *, view: str = "") -> Any:
    """Send what the browser would, where a store has changed; return what it should show."""
    app = make_app(desk)
    draft = {"type": "teardown-draft", "of": "E1"}
    grid = {"type": "teardown-grid", "of": "draft"}
    known = {
        "teardown-draft": [draft],
        "teardown-grid": [grid] if view == "table" else [],
    }

    def listed(part: str, prop: str, value: Any = None) -> Any:
        if not part.startswith("{"):
            return {"id": part, "property": prop, "value": value}
        found = known[json.loads(part)["type"]]
        return [{"id": each, "property": prop, "value": value} for each in found]

    key = next(
        each
        for each, about in app.callback_map.items()
        if [i["id"] for i in about["inputs"]] == [changed["id"]] and "teardown-section" in each
    )
    about = app.callback_map[key]
    answer = app.server.test_client().post(
        "/_dash-update-component",
        json={
            "output": key,
            "outputs": [listed(*each.rsplit(".", 1)) for each in key.strip(".").split("...")],
            "inputs": [listed(changed["id"], changed["property"], changed["value"])],
            "state": [
                listed(each["id"], each["property"], value)
                for each, value in zip(about["state"], states, strict=True)
            ],
            "changedPropIds": [],
        },
    )
    assert answer.status_code == 200, answer.text
    return answer.json["response"]


@pytest.mark.parametrize("view", ["", "table"])
def test_callbacks_show_what_is_kept_and_what_is_done(own: Desk, view: str) -> None:
    state = {"part": "rod_bearing", "position": "2", "entry": "", "view": view}
    opened_first = {
        "id": '{"of":["ALL"],"type":"teardown-draft"}',
        "property": "modified_timestamp",
        "value": 1,
    }
    shown = ask(own, opened_first, [None, state, None, BENCH], view=view)
    assert "Rod bearing 2" in text_of(shown["teardown-form"])
    assert ("rowData" in text_of(shown)) == (view == "table")
    again = ask(own, opened_first, [3, state, None, BENCH], view=view)
    assert "teardown-form" not in again

    action = {"id": "teardown-action", "property": "data"}
    graded = {"number": 4, "do": "grade", "to": "3"}
    told = ask(own, action | {"value": graded}, [None, state, BENCH], view=view)
    assert told["teardown-done"]["data"] == 4
    assert told["teardown-state"]["data"]["entry"] == "1"
    assert "1 finding entered" in text_of(told["teardown-entered"])
    assert ("3 replace" in text_of(told.get('{"of":"draft","type":"teardown-grid"}'))) == (
        view == "table"
    )

    typed = {"number": 5, "field": "note", "entry": "0", "value": "blue"}
    told = ask(own, action | {"value": typed}, [None, state, BENCH], view=view)
    assert "teardown-form" not in told

    wrong = {"number": 6, "do": "record", "to": ""}
    told = ask(own, action | {"value": wrong}, [None, state, BENCH], view=view)
    assert "Nothing is entered yet" in text_of(told["teardown-said"])
    assert told["teardown-done"]["data"] == 6


def _url(data: bytes) -> str:
    return f"data:image/jpeg;base64,{base64.b64encode(data).decode()}"
