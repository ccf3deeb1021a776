"""What a watch does with logs that could not be taken in by no fault of their own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from babbitt.commands.watch import Watcher
from babbitt.ingest.source import Instructions
from babbitt.jobs.ingest_result import Intake
from babbitt.jobs.watch import Landing
from babbitt.logbook.folder import Logbook
from babbitt.register.records import runs
from small_logs import make_book, write_log

STATE = (1, 1)


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    return make_book(tmp_path / "book")


@pytest.fixture
def landing() -> Landing:
    return Landing(0.0)


@pytest.fixture
def watcher(book: Logbook, landing: Landing) -> Watcher:
    return Watcher(book, lambda _: Instructions("E1"), "refuse", landing, as_json=False)


def looked_at_again(landing: Landing, log: Path) -> bool:
    return log in landing.whole({log: STATE}, float("inf"))


def test_a_log_that_was_taken_in_or_refused_is_left_alone(
    watcher: Watcher, landing: Landing, book: Logbook, tmp_path: Path
) -> None:
    good = write_log(tmp_path / "a.csv", "2026-05-01T10:00:00Z")
    bad = tmp_path / "b.csv"
    bad.write_text("no log\n", encoding="utf-8")
    watcher.take({good: STATE, bad: STATE})
    assert not looked_at_again(landing, good)
    assert not looked_at_again(landing, bad)
    with book.register.reading() as session:
        assert len(runs.list_runs(session)) == 1


def test_a_log_that_vanished_meanwhile_is_looked_at_again_without_a_word(
    watcher: Watcher, landing: Landing, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    watcher.take({tmp_path / "gone.csv": STATE})
    assert looked_at_again(landing, tmp_path / "gone.csv")
    assert capsys.readouterr() == ("", "")


def test_a_log_in_trouble_is_looked_at_again(
    watcher: Watcher, landing: Landing, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = write_log(tmp_path / "a.csv", "2026-05-01T10:00:00Z")

    def full(*_args: object, **_named: object) -> Iterator[Intake]:
        yield Intake(str(log), "refused", error="The disk is full.", later=True)

    monkeypatch.setattr("babbitt.commands.watch.take_in", full)
    watcher.take({log: STATE})
    assert looked_at_again(landing, log)
    assert landing.whole({log: STATE}, 0.0) == {}, "but not at once"


def test_settings_broken_meanwhile_stop_nothing(
    watcher: Watcher, landing: Landing, book: Logbook, tmp_path: Path
) -> None:
    log = write_log(tmp_path / "a.csv", "2026-05-01T10:00:00Z")
    settings = book.root / "logbook.toml"
    before = settings.read_bytes()
    settings.write_text("units = ", encoding="utf-8")
    watcher.take({log: STATE})
    assert looked_at_again(landing, log)
    settings.write_bytes(before)
    watcher.take({log: STATE})
    assert not looked_at_again(landing, log)
