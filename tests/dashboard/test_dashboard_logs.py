"""The Logs page without a browser: what is sent, what is shown, what its buttons do."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import flask.testing
import pytest
from dash import no_update

from babbitt.ingest.source import Instructions
from babbitt.jobs.ingest import ingest_log
from babbitt.logbook.folder import create_logbook, settings_text
from babbitt.present.views.logs_inbox import find_waiting, waiting_logs
from babbitt.register.records import refusals
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.guard import add_guard
from babbitt_dashboard.pages import logs
from babbitt_dashboard.pages.logs_acts import carry_out
from babbitt_dashboard.pages.logs_parts import size_words
from babbitt_dashboard.uploads import MOST_PIECE_BYTES
from small_logs import make_book, rows_of, text_of

NOW = datetime(2026, 11, 1, tzinfo=UTC)
LOG = text_of("2026-05-01T10:00:00Z", rows_of())


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(make_book(tmp_path / "book"), lambda: NOW, "Ann")


@pytest.fixture
def client(desk: Desk) -> flask.testing.FlaskClient:
    app = make_app(desk)
    add_guard(app, password_hash=None)
    return app.server.test_client()


def post(client: flask.testing.FlaskClient, data: bytes, **asked: Any) -> tuple[int, Any]:
    about = {"name": "run.csv", "size": len(data), "modified": 1_775_000_000_000} | asked
    answer = client.post("/upload", data=data, query_string=about)
    return answer.status_code, answer.json


def send(client: flask.testing.FlaskClient, text: str = LOG, **asked: Any) -> str:
    status, answer = post(client, text.encode(), **asked)
    assert status == 200
    token: str = answer["token"]
    return token


def text(content: Any) -> str:
    return json.dumps(content, default=lambda each: each.to_plotly_json(), ensure_ascii=False)


def do(desk: Desk, what: str, token: str = "", **more: Any) -> tuple[Any, ...]:
    action = {"number": 7, "do": what, "to": token, **more}
    return logs.act(desk, action, [], None)


def test_a_log_is_sent_in_pieces(desk: Desk, client: flask.testing.FlaskClient) -> None:
    data = LOG.encode()
    status, answer = post(client, data[:500], size=len(data))
    assert (status, answer["came"]) == (200, 500)
    rest = {"token": answer["token"], "at": 500}
    status, answer = post(client, data[500:], **rest)
    assert (status, answer["came"]) == (200, len(data))
    assert find_waiting(desk.book, answer["token"]).name == "run.csv"
    status, answer = post(client, data[500:], **rest)
    assert (status, "did not come in order" in answer["error"]) == (400, True)


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({"name": "run.exe"}, "no log by its name"),
        ({"size": 1 << 40}, "larger than 2 GB"),
        ({"size": "-1"}, "how large"),
        ({"modified": "1e400"}, "how large"),
        ({"token": "../.."}, "no longer waits"),
        ({"at": "x"}, "how large"),
    ],
)
def test_what_is_refused_is_a_sentence(
    client: flask.testing.FlaskClient, asked: dict[str, Any], why: str
) -> None:
    status, answer = post(client, b"1,2,3\n", **asked)
    assert status == 400
    assert why in answer["error"]


def test_a_piece_too_large_and_another_site_are_refused(
    desk: Desk, client: flask.testing.FlaskClient
) -> None:
    assert post(client, b"1" * (MOST_PIECE_BYTES + 1))[0] == 413
    answer = client.post("/upload", data=b"1", headers={"Origin": "http://elsewhere.example"})
    assert answer.status_code == 403
    assert not list(desk.book.root.glob(".uploads/*"))


def test_an_empty_logbook_says_what_to_do(tmp_path: Path) -> None:
    empty = Desk(create_logbook(tmp_path / "none", settings_text()), lambda: NOW, "Ann")
    shown = text(logs.layout(empty))
    assert "No engine is in the logbook yet" in shown
    assert "/register" in shown
    assert "No log has been taken in yet" in shown


def test_a_log_that_arrived_is_looked_at_and_taken_in(
    desk: Desk, client: flask.testing.FlaskClient
) -> None:
    token = send(client)
    waiting, shown, said, _, outcomes, lately, opened, number, _ = do(desk, "arrived", token)
    assert "Can be taken in: began 1 May 2026 10:00" in text(waiting)
    assert "It can be taken in: 200 rows" in text(shown)
    assert said is None
    assert lately is outcomes is no_update
    assert (opened, number) == (token, 7)
    assert "200 rows" in text(logs.layout(desk, file=token)), "the address shows the same"
    waiting, shown, _, told, outcomes, lately, opened, *_ = do(desk, "take", token)
    assert (waiting, shown, opened) == ([], [], None)
    assert "taken in for E1: 19.9 s, 3 channels" in text(told)
    assert outcomes[0]["status"] == "ingested"
    assert "run.csv" in text(lately)
    assert "It can be taken in" not in text(logs.layout(desk, file=token))


def test_a_refused_log_waits_with_its_answers(
    desk: Desk, client: flask.testing.FlaskClient
) -> None:
    token = send(client, LOG.replace("Oil Press (kPa)", "Oil Press"))
    do(desk, "arrived", token)
    waiting, shown, *_ = do(desk, "open", token)
    assert "The unit is not known of oil_pressure" in text(waiting)
    assert "Oil pressure is in kPa" in text(shown)
    told = do(desk, "take", token)[3]
    assert "refused. run.csv: the unit is not known" in text(told)
    do(desk, "choose", token, value={"units": {"oil_pressure": "kPa"}})
    said = do(desk, "keep-profile", token, value="paddock")[2]
    assert "Kept as paddock" in text(said)
    assert "ingested" in text(do(desk, "take", token)[4])


def test_a_refused_log_is_listed_once_and_not_while_it_waits(
    desk: Desk, client: flask.testing.FlaskClient
) -> None:
    token = send(client, LOG.replace("Oil Press (kPa)", "Oil Press"))
    do(desk, "arrived", token)
    assert do(desk, "take", token)[-1] == [], "its answers stand where it waits"
    dropped = text(do(desk, "drop", token)[-1])
    assert "1 refused log set aside" in dropped
    assert '"The unit is not known of oil_pressure' in dropped


def test_a_log_refused_elsewhere_says_its_command_and_is_set_aside(
    desk: Desk, tmp_path: Path
) -> None:
    for name, hour in (("a.csv", "10"), ("b.csv", "11")):
        path = tmp_path / name
        path.write_text(LOG.replace("T10", f"T{hour}").replace(" (kPa)", ""), encoding="utf-8")
        assert ingest_log(desk.book, path, Instructions(engine_id="E1")).status == "refused"
    with desk.book.register.reading() as session:
        b, a = refusals.list_refusals(session)
    page = text(logs.layout(desk))
    assert "2 logs were refused" in page
    assert "Set all aside" in page
    assert "babbitt ingest a.csv --engine E1 --unit oil_pressure=" in page
    aside = text(do(desk, "set-aside", b.sha256)[-1])
    assert "1 log was refused" in aside
    assert "1 refused log set aside" in aside
    assert "2 refused logs set aside" in text(do(desk, "set-all-aside")[-1])
    back = text(do(desk, "take-up", a.sha256)[-1])
    assert "1 log was refused" in back
    assert "Set all aside" not in back
    assert "There is no refused log" in text(do(desk, "set-aside", "0" * 64)[2])


def test_fields_change_how_a_log_is_read(desk: Desk, client: flask.testing.FlaskClient) -> None:
    token, other = send(client), send(client, name="other.csv")
    do(desk, "arrived", token)
    shown = do(desk, "open", token)
    for field, key, value in (
        ("units", "oil_pressure", "psi"),
        ("columns", "Oil Temp (°C)", "coolant_temperature"),
        ("started", "", "2026-05-04T09:00"),
    ):
        action = {"do": "fill", "to": token, "field": field, "key": key, "value": value}
        shown = logs.act(desk, action, [], token)
    assert "began 4 May 2026 09:00" in text(shown[1])
    assert '"data-chosen": "coolant_temperature"' in text(shown[1])
    do(desk, "fill", field="engine-all", value="E1")
    assert [each.choices.engine for each in waiting_logs(desk.book)] == ["E1", "E1"]
    bad = {"do": "fill", "to": token, "field": "units", "key": "rpm", "value": "psi"}
    assert "no unit of rpm" in text(logs.act(desk, bad, [], token)[2])
    do(desk, "drop", other)
    assert [each.token for each in waiting_logs(desk.book)] == [token]
    do(desk, "drop-all")
    assert waiting_logs(desk.book) == ()


@pytest.mark.parametrize("action", [{"do": "nonsense"}, {}, {"do": "take", "to": "../.."}])
def test_what_a_page_cannot_ask_for_is_a_sentence(desk: Desk, action: dict[str, Any]) -> None:
    done = carry_out(desk, action, [], None)
    assert "refusal" in text(done.said)


def test_the_opened_log_is_closed_when_it_is_gone(
    desk: Desk, client: flask.testing.FlaskClient
) -> None:
    token = send(client)
    assert do(desk, "close", token)[6] is None
    gone = logs.act(desk, {"do": "open", "to": "0" * 16}, [], None)
    assert gone[6] is None


def test_sensors_are_shown_engine_by_engine(desk: Desk, client: flask.testing.FlaskClient) -> None:
    assert "E1 has no logged runs yet." in text(logs.sensors(desk, "E1"))
    token = send(client)
    do(desk, "arrived", token)
    do(desk, "take", token)
    shown = text(logs.sensors(desk, "E1"))
    assert "lost per run, the oldest first: 0 %" in shown
    assert "not logged" in shown
    assert "refusal" in text(logs.sensors(desk, "E9"))
    assert logs.sensors(desk, None) == []


def test_sizes_are_said_as_a_person_says_them() -> None:
    assert [size_words(each) for each in (1, 150_000, 2_340_000, 2_000_000_000)] == [
        "1 kB", "150 kB", "2.34 MB", "2 GB",
    ]  # fmt: skip


def test_the_circuit_is_a_field_of_each_log_and_of_all(
    desk: Desk, client: flask.testing.FlaskClient
) -> None:
    tokens = [
        send(client, f"Track,Tollbar\n{LOG}".replace("T10:", f"T{hour}:"), name=f"{hour}.csv")
        for hour in (10, 12)
    ]
    do(desk, "fill", field="circuit-all", value="Fennick")
    assert {each.choices.circuit for each in waiting_logs(desk.book)} == {"Fennick"}
    do(desk, "fill", tokens[0], field="circuit", value="")
    waiting, shown, *_ = do(desk, "open", tokens[0])
    assert "circuit of all " in text(waiting)
    assert '"placeholder": "Tollbar"' in text(shown)  # as the log itself says
    assert "recorded at " in text(shown)
    do(desk, "fill", tokens[0], field="engine", value="E1")
    do(desk, "take", tokens[0])
    waiting, shown, *_ = do(desk, "open", tokens[1])
    assert '"value": "Tollbar"' in text(waiting)  # offered from now on
    assert "names the circuit Tollbar in line 1; Fennick was stated" in text(shown)
