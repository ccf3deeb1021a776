"""Logs on their way in: sent, looked at, put right, taken in; and the sensors across runs."""

from __future__ import annotations

import json
import os
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from babbitt.errors import LogbookError, LogRefusedError, RegisterError, SettingsError
from babbitt.logbook.folder import Logbook, read_settings
from babbitt.present.views import logs_quality
from babbitt.present.views.logs import (
    choose,
    guess_engine,
    keep_profile,
    logs_view,
    preview,
    take_in,
)
from babbitt.present.views.logs_inbox import (
    KEPT_S,
    MOST_BYTES,
    add_piece,
    begin,
    discard,
    find_waiting,
    log_path,
    waiting_logs,
)
from babbitt.present.views.logs_quality import finding, lost_in, sensors_view
from babbitt.register.records import engines, runs
from run_book import make_run_book
from small_logs import make_book, rows_of, text_of

CHANGED = datetime(2026, 4, 1, 12, 0, tzinfo=UTC)
NO_UNIT = "Time (s),RPM (1/min),Oil Press,Oil Temp (°C)"


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return make_book(tmp_path / "book")


def log_text(start: str = "2026-05-01T10:00:00Z", header: str | None = None) -> str:
    text = text_of(start, rows_of())
    return text if header is None else text.replace(text.splitlines()[1], header)


def send(book: Logbook, text: str, name: str = "run.csv", engine: str = "E1") -> str:
    data = text.encode()
    token = begin(book, name, len(data), CHANGED)
    add_piece(book, token, 0, [data])
    if engine:
        choose(book, token, {"engine": engine})
    return token


def change_of(book: Logbook, token: str, words: str) -> dict[str, Any]:
    (found,) = [each.change for each in preview(book, token).answers if each.words == words]
    return dict(found)


def test_a_log_comes_in_pieces_and_waits_once_it_is_whole(book: Logbook) -> None:
    data = log_text().encode()
    token = begin(book, "run.csv", len(data), CHANGED)
    assert add_piece(book, token, 0, [data[:100], data[100:150]]) == 150
    assert waiting_logs(book) == ()
    assert add_piece(book, token, 150, [data[150:]]) == len(data)
    assert [each.name for each in waiting_logs(book)] == ["run.csv"]
    assert log_path(book, token).read_bytes() == data
    assert log_path(book, token).stat().st_mtime == CHANGED.timestamp()


@pytest.mark.parametrize(
    ("name", "size", "why"),
    [
        ("photo.jpg", 10, "no log by its name"),
        ("run.csv.exe", 10, "no log by its name"),
        (".hidden.csv", 10, "no log by its name"),
        ("", 10, "no log by its name"),
        ("run.csv", 0, "is empty"),
        ("run.csv", MOST_BYTES + 1, "larger than 2 GB"),
    ],
)
def test_what_is_no_log_is_not_let_in(book: Logbook, name: str, size: int, why: str) -> None:
    with pytest.raises(LogRefusedError, match=why):
        begin(book, name, size, CHANGED)
    assert not list(book.root.glob(".uploads/*"))


@pytest.mark.parametrize("name", ["../../run.csv", "C:\\logs\\run.csv", "/etc/run.csv"])
def test_a_name_is_kept_as_text_and_is_never_a_path(book: Logbook, name: str) -> None:
    before = set(book.root.parent.rglob("*"))
    token = send(book, log_text(), name)
    assert find_waiting(book, token).name == "run.csv"
    made = set(book.root.parent.rglob("*")) - before
    inbox = book.root / ".uploads"
    assert made == {inbox, inbox / token, inbox / token / "log", inbox / token / "about.json"}


def test_a_log_that_came_before_there_were_remedies_still_waits(book: Logbook) -> None:
    token = send(book, log_text())
    about = book.root / ".uploads" / token / "about.json"
    told = json.loads(about.read_text(encoding="utf-8"))
    del told["remedies"]
    about.write_text(json.dumps(told | {"option": "--unit oil_pressure=bar"}), encoding="utf-8")
    assert find_waiting(book, token).remedies == ()


def test_pieces_out_of_order_or_beyond_what_was_said_are_refused(book: Logbook) -> None:
    token = begin(book, "run.csv", 10, CHANGED)
    with pytest.raises(LogRefusedError, match="did not come in order"):
        add_piece(book, token, 5, [b"12345"])
    with pytest.raises(LogRefusedError, match="larger than was said"):
        add_piece(book, token, 0, [b"12345", b"1234567"])
    assert add_piece(book, token, 0, [b"1234567890"]) == 10, "a piece can be sent again"


@pytest.mark.parametrize("token", ["", "..", "../originals", "0" * 16, "zz"])
def test_a_token_that_names_nothing_is_refused(book: Logbook, token: str) -> None:
    for act in (find_waiting, discard, preview, take_in):
        with pytest.raises(LogRefusedError, match="no longer waits"):
            act(book, token)
    with pytest.raises(LogRefusedError, match="no longer waits"):
        add_piece(book, token, 0, [b"1"])


def test_what_waits_too_long_or_broke_off_is_thrown_away(book: Logbook) -> None:
    old, broken = send(book, log_text()), begin(book, "b.csv", 10, CHANGED)
    ago = time.time() - KEPT_S - 60.0
    os.utime(log_path(book, old).parent, (ago, ago))
    os.utime(log_path(book, broken).with_name("part"), (ago, ago))
    new = begin(book, "c.csv", 10, CHANGED)
    assert [path.name for path in book.root.glob(".uploads/*")] == [new]


def test_a_log_is_looked_at_then_taken_in_under_its_own_name(book: Logbook) -> None:
    token = send(book, log_text())
    shown = preview(book, token)
    assert shown.problems == ()
    assert shown.found is not None
    assert [column.name for column in shown.found.columns] == [
        "time", "rpm", "oil_pressure", "oil_temperature",
    ]  # fmt: skip
    seen = find_waiting(book, token).seen
    assert seen is not None
    assert (seen.rows, seen.problem) == (200, None)
    intake = take_in(book, token)
    assert (intake.status, intake.file, intake.engine_id) == ("ingested", "run.csv", "E1")
    view = logs_view(book)
    assert view.waiting == ()
    assert [each.source_name for each in view.lately] == ["run.csv"]
    assert not list(book.root.glob(".uploads/*"))
    again = send(book, log_text(), "copy.csv")
    assert take_in(book, again).status == "duplicate"
    assert waiting_logs(book) == ()


def test_a_log_without_a_start_takes_the_date_that_the_browser_told(book: Logbook) -> None:
    token = send(book, log_text().partition("\n")[2])
    take_in(book, token)
    (record,) = logs_view(book).lately
    assert (record.start_basis, record.started_at) == ("file", CHANGED)


def test_a_missing_unit_is_settled_by_an_answer(book: Logbook) -> None:
    token = send(book, log_text(header=NO_UNIT))
    (problem,) = preview(book, token).problems
    assert "The unit is not known of oil_pressure" in problem
    assert take_in(book, token).status == "refused"
    assert find_waiting(book, token).refused is not None
    choose(book, token, change_of(book, token, "Oil pressure is in kPa"))
    shown = preview(book, token)
    assert (shown.problems, shown.waiting.refused) == ((), None)
    assert take_in(book, token).status == "ingested"


def test_a_column_is_mapped_by_choosing_and_left_again(book: Logbook) -> None:
    token = send(book, log_text(header="Time (s),RPM (1/min),Ch 7,Oil Temp (°C)"))
    names = [column.name for column in preview(book, token).found.columns]  # type: ignore[union-attr]
    assert "oil_pressure" not in names
    choose(book, token, {"columns": {"Ch 7": "oil_pressure"}, "units": {"oil_pressure": "psi"}})
    shown = preview(book, token)
    assert shown.problems == ()
    assert shown.found is not None
    assert (shown.found.columns[2].name, shown.found.columns[2].unit) == ("oil_pressure", "psi")
    choose(book, token, {"columns": {"Ch 7": ""}})
    assert find_waiting(book, token).choices.columns == {}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"units": {"rpm": "psi"}}, "no unit of rpm"),
        ({"columns": {"RPM (1/min)": "rmp"}}, "no channel"),
        ({"dates": "backwards"}, "cannot be chosen for 'dates'"),
        ({"password": "x"}, "cannot be chosen for 'password'"),
        ({"timezone": "Mars/Base"}, "no time zone"),
        ({"started": "yesterday"}, "no date or time"),
        ({"profile": "nobody's"}, r"no \[profile"),
    ],
)
def test_what_does_not_exist_cannot_be_chosen(
    book: Logbook, change: dict[str, Any], why: str
) -> None:
    token = send(book, log_text())
    with pytest.raises(SettingsError, match=why):
        choose(book, token, change)
    assert preview(book, token).problems == ()


def test_an_overlap_offers_both_ways_out(book: Logbook) -> None:
    take_in(book, send(book, log_text()))
    token = send(book, log_text("2026-05-01T10:00:05Z"), "later.csv")
    intake = take_in(book, token)
    assert intake.status == "refused"
    assert str(book.root) not in (intake.error or "")
    choose(book, token, change_of(book, token, "Keep both runs"))
    assert take_in(book, token).status == "ingested"
    token = send(book, log_text("2026-05-01T10:00:10Z"), "latest.csv")
    take_in(book, token)
    choose(book, token, change_of(book, token, "This log replaces the other run"))
    take_in(book, token)
    assert [each.source_name for each in logs_view(book).lately] == ["latest.csv"]


def test_what_went_in_last_is_listed_first_and_sensors_go_by_the_start(book: Logbook) -> None:
    for day in (5, 3):
        take_in(book, send(book, log_text(f"2026-05-0{day}T10:00:00Z"), f"day{day}.csv"))
    assert [each.source_name for each in logs_view(book).lately] == ["day3.csv", "day5.csv"]
    assert [start.day for start in sensors_view(book, "E1").starts] == [3, 5]


def test_dates_that_may_be_two_days_offer_both(book: Logbook) -> None:
    token = send(book, log_text("03/05/2026 10:00:00"))
    words = [answer.words for answer in preview(book, token).answers]
    assert words == ["Dates are written day first", "Dates are written month first"]
    choose(book, token, change_of(book, token, words[0]))
    found = preview(book, token).found
    assert found is not None
    assert found.started_at == datetime(2026, 5, 3, 10, tzinfo=UTC)


def test_what_is_no_table_is_said_by_its_name(book: Logbook) -> None:
    token = send(book, "front left 1.9 bar\n", "notes.txt")
    shown = preview(book, token)
    assert shown.found is None
    (problem,) = shown.problems
    assert problem.startswith("notes.txt")
    assert ".uploads" not in problem
    damaged = b"\x1f\x8b not packed at all"
    token = begin(book, "run.csv.gz", len(damaged), CHANGED)
    add_piece(book, token, 0, [damaged])
    (problem,) = preview(book, token).problems
    assert problem.startswith("run.csv.gz is packed, and cannot be unpacked")


def test_a_profile_is_kept_and_knows_the_others_that_wait(book: Logbook) -> None:
    first = send(book, log_text(header=NO_UNIT))
    second = send(book, log_text("2026-05-02T10:00:00Z", NO_UNIT), "second.csv")
    for token in (first, second):
        assert preview(book, token).problems
    choose(book, first, {"units": {"oil_pressure": "kPa"}})
    assert keep_profile(book, first, " paddock ").startswith("Kept as paddock:")
    profile = read_settings(book.root).profile_named("paddock")
    assert profile.units == {"oil_pressure": "kPa"}
    assert find_waiting(book, second).seen.problem is None  # type: ignore[union-attr]
    assert take_in(book, second).profile == "paddock"
    with pytest.raises(SettingsError, match="already"):
        keep_profile(book, first, "paddock")
    with pytest.raises(SettingsError, match="needs a name"):
        keep_profile(book, first, "  ")


def test_of_two_profiles_for_a_kind_one_is_chosen(book: Logbook) -> None:
    first = send(book, log_text(header=NO_UNIT))
    choose(book, first, {"units": {"oil_pressure": "kPa"}})
    keep_profile(book, first, "one")
    assert "choose one for each" in keep_profile(book, first, "two")
    other = send(book, log_text("2026-05-02T10:00:00Z", NO_UNIT), "other.csv")
    words = [answer.words for answer in preview(book, other).answers]
    assert words == ["Read it by the profile one", "Read it by the profile two"]
    choose(book, other, change_of(book, other, words[1]))
    assert take_in(book, other).profile == "two"


def test_the_engine_is_guessed_only_where_one_can_be_meant(book: Logbook) -> None:
    only = send(book, log_text(), engine="")
    with pytest.raises(LogRefusedError, match="choose the engine"):
        take_in(book, only)
    guess_engine(book, only)
    assert find_waiting(book, only).choices.engine == "E1"
    with book.register.writing() as session:
        spec = engines.spec_text_of(session, "E1")
        engines.add_engine(session, "E12", spec)
    for name, engine in (("run_e12.csv", "E12"), ("run e1.csv", "E1"), ("run.csv", "")):
        token = send(book, log_text(), name, engine="")
        guess_engine(book, token)
        assert find_waiting(book, token).choices.engine == engine


def test_lost_samples_are_counted_by_their_flags(tmp_path: Path) -> None:
    book = make_run_book(tmp_path / "book")
    view = sensors_view(book, "E1")
    assert len(view.starts) == 2
    lines = {line.channel: line for line in view.lines}
    assert lines["oil_temperature"].lost == pytest.approx((50 / 2750, 50 / 2750))
    assert lines["rpm"].lost == pytest.approx((1 / 2750, 1 / 2750))
    assert "Pump <b>ratio</b>" not in lines
    assert finding(view) == "No sensor of E1 got worse over its last 2 runs."


def test_a_run_whose_file_is_gone_is_said_and_left_out(tmp_path: Path) -> None:
    book = make_run_book(tmp_path / "book")
    with book.register.reading() as session:
        run_id = runs.list_runs(session)[0].run_id
    (book.root / book.run_name("E1", run_id)).unlink()
    view = sensors_view(book, "E1")
    assert len(view.starts) == 1
    assert "is missing" in view.unreadable[0]
    with pytest.raises(LogbookError):
        lost_in(book, "E1", run_id)
    with pytest.raises(RegisterError):
        sensors_view(book, "E9")


@pytest.mark.parametrize(
    ("lost", "worse", "words"),
    [
        ((0.0, 0.0), False, "good"),
        ((0.0, 0.3), True, "30 % lost in the newest run, 0 % as a rule"),
        ((0.3, 0.3), False, "30 % lost in the newest run, 30 % as a rule"),
        ((0.05, 0.0), False, "good now; 5 % lost one run ago"),
        ((0.0, None), True, "gone from the newest run"),
        ((None, 0.0), False, "good"),
        ((None, None), False, "not logged in the newest run"),
    ],
)
def test_a_dying_sensor_is_told_from_one_that_was_always_poor(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    lost: tuple[float | None, float | None],
    worse: bool,
    words: str,
) -> None:
    book = make_run_book(tmp_path / "book")
    read = iter([{} if value is None else {"boost": value} for value in lost])
    monkeypatch.setattr(logs_quality, "lost_in", lambda *_: next(read))
    view = sensors_view(book, "E1")
    (line,) = [each for each in view.lines if each.channel == "boost"]
    assert (line.lost, line.worse, line.words) == (lost, worse, words)
    assert ("boost" in finding(view)) == worse


def test_where_a_log_was_recorded_is_what_is_stated_and_else_what_it_names(book: Logbook) -> None:
    text = f"Track,Tollbar\n{log_text()}"
    token = send(book, text)
    shown = preview(book, token)
    assert shown.found is not None
    assert shown.found.circuit is not None
    assert shown.found.circuit.name == "Tollbar"
    choose(book, token, {"circuit": "  Fennick "})
    shown = preview(book, token)
    assert shown.found is not None
    assert any("names the circuit Tollbar in line 1" in said for said in shown.found.warnings)
    with pytest.raises(RegisterError, match="no name of a circuit"):
        choose(book, token, {"circuit": "T" * 65})
    stated = take_in(book, token)
    noted = take_in(book, send(book, text.replace("T10:", "T12:")))
    with book.register.reading() as session:
        where = [runs.find_run(session, str(each.run_id)).circuit for each in (stated, noted)]
    assert where == ["Fennick", "Tollbar"]
    assert logs_view(book).circuits == ("Fennick", "Tollbar")
