"""The main job at its edges: what fails in the middle leaves the logbook as it was."""

from __future__ import annotations

import errno
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from babbitt.ingest.source import Instructions
from babbitt.jobs import detect as judging
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.model.kinds import KINDS
from babbitt.register.records import builds, corrections, engines, events, runs
from invented import SPEC

FOR_E1 = Instructions(engine_id="E1")


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    book = create_logbook(tmp_path / "book", settings_text())
    with book.register.writing() as session:
        engines.add_engine(session, "E1", SPEC)
    return book


def write_log(folder: Path, name: str, start: str, *, pressure_share: float = 1.0) -> Path:
    """Write five minutes of straight running up and down the speed range, with a dip late on."""
    seconds = np.arange(0.0, 300.0, 0.1)
    rpm = 4500.0 + 2500.0 * np.sin(2 * np.pi * seconds / 100.0)
    oil_c = 80.0 + 30.0 * seconds / 300.0
    pressure = 120.0 + 0.07 * rpm - (oil_c - 80.0) + np.random.default_rng(3).normal(0, 1, 3000)
    dip = (seconds > 220.0) & (seconds < 223.0)
    pressure = np.where(dip, 0.3 * pressure, pressure) * pressure_share
    lines = [f"Start,{start}", "Time (s),RPM (1/min),Oil Press (kPa),Oil Temp (°C),Lat G (g)"]
    lines += [
        f"{t:.1f},{n:.0f},{p:.2f},{c:.2f},{0.01 * (i % 7):.2f}"
        for i, (t, n, p, c) in enumerate(zip(seconds, rpm, pressure, oil_c, strict=True))
    ]
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def files_of(book: Logbook) -> list[Path]:
    return [path for folder in ("runs", "originals") for path in (book.root / folder).rglob("*.*")]


@pytest.mark.parametrize(
    "place",
    [
        "babbitt.jobs.read_log.RunWriter.finish",
        "babbitt.logbook.run_file.pq.ParquetWriter.write_table",
        "babbitt.jobs.ingest.write_original",
        "babbitt.jobs.detect.ExposureSum.exposure",
        "babbitt.register.records.runs.record_run",
        "babbitt.register.records.builds.save_steady_pressure",
        "babbitt.logbook.folder.Path.replace",
    ],
)
def test_a_full_disk_anywhere_leaves_nothing(
    place: str, book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = write_log(tmp_path, "a.csv", "2026-05-03T10:00:00Z")

    def full(*_args: object, **_named: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(place, full)
        intake = ingest_log(book, log, FOR_E1)
    assert intake.status == "refused"
    assert "the disk is full" in str(intake.error)
    assert files_of(book) == []
    assert verify(book).faults == ()
    assert ingest_log(book, log, FOR_E1).status == "ingested"


def test_a_commit_that_fails_takes_the_files_back(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = write_log(tmp_path, "a.csv", "2026-05-03T10:00:00Z")

    def full(*_args: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr("sqlalchemy.engine.default.DefaultDialect.do_commit", full)
        intake = ingest_log(book, log, FOR_E1)
    assert intake.status == "refused"
    assert files_of(book) == []
    assert verify(book).faults == ()


def test_what_a_cut_off_command_left_is_completed_by_repeating_it(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = write_log(tmp_path, "a.csv", "2026-05-03T10:00:00Z")

    def killed(*_args: object, **_named: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr("babbitt.jobs.detect.detect_parts", killed)
        with pytest.raises(KeyboardInterrupt):
            ingest_log(book, log, FOR_E1)
    assert any("not searched for events yet" in each for each in verify(book).unfinished)
    assert ingest_log(book, log, FOR_E1).status == "duplicate"
    assert verify(book).faults == ()
    with book.register.reading() as session:
        assert len(events.list_events(session)) == 1


def test_the_same_log_from_many_hands_at_once_is_one_run(book: Logbook, tmp_path: Path) -> None:
    log = write_log(tmp_path, "a.csv", "2026-05-03T10:00:00Z")
    with ThreadPoolExecutor(4) as hands:
        taken = list(
            hands.map(lambda _: ingest_log(open_logbook(book.root), log, FOR_E1), range(4))
        )
    assert sorted(each.status for each in taken) == ["duplicate"] * 3 + ["ingested"]
    assert verify(book).faults == ()


def test_runs_judged_before_the_expected_pressure_was_known_are_judged_again(
    book: Logbook, tmp_path: Path
) -> None:
    """A first, shorter log arrives last: the same events as if it had come first."""
    early = write_log(tmp_path, "early.csv", "2026-05-01T10:00:00Z", pressure_share=0.9)
    late = write_log(tmp_path, "late.csv", "2026-05-02T10:00:00Z")
    ingest_log(book, late, FOR_E1)
    with book.register.reading() as session:
        alone = events.list_events(session)
        (build,) = builds.builds_of(session, "E1")
        first_surface = builds.surface_of(session, build)
    assert first_surface is not None
    assert [dated.event.kind for dated in alone] == ["low_oil_pressure"]
    ingest_log(book, early, FOR_E1)
    with book.register.reading() as session:
        surface = builds.surface_of(session, build)
        together = [each for each in events.list_events(session) if each.event.start_s > 200.0]
    assert surface is not None
    assert surface.key != first_surface.key
    assert together[1].event.event_id == alone[0].event.event_id
    assert together[1].event.dose < alone[0].event.dose

    other = create_logbook(tmp_path / "other", settings_text())
    with other.register.writing() as session:
        engines.add_engine(session, "E1", SPEC)
    for log in (early, late):
        ingest_log(other, log, FOR_E1)
    with other.register.reading() as session, book.register.reading() as first:
        assert events.list_events(session) == events.list_events(first)


def test_judging_again_changes_nothing(book: Logbook, tmp_path: Path) -> None:
    ingest_log(book, write_log(tmp_path, "a.csv", "2026-05-03T10:00:00Z"), FOR_E1)
    assert judge_engine(book, "E1").judged == ()


def test_a_removed_run_teaches_nothing(book: Logbook, tmp_path: Path) -> None:
    low = ingest_log(
        book, write_log(tmp_path, "a.csv", "2026-05-01T10:00:00Z", pressure_share=0.5), FOR_E1
    )
    ingest_log(book, write_log(tmp_path, "b.csv", "2026-05-02T10:00:00Z"), FOR_E1)
    with book.register.writing() as session:
        corrections.remove_run(session, str(low.run_id))
    judge_engine(book, "E1")
    with book.register.reading() as session:
        (build,) = builds.builds_of(session, "E1")
        surface = builds.surface_of(session, build)
        (second,) = runs.list_runs(session)
    assert surface is not None
    assert second.run_id in surface.text


def test_a_run_whose_file_is_gone_does_not_stop_the_others(book: Logbook, tmp_path: Path) -> None:
    logs = [write_log(tmp_path, f"{n}.csv", f"2026-05-0{n}T10:00:00Z") for n in (1, 2)]
    gone, kept = (ingest_log(book, log, FOR_E1) for log in logs)
    (book.root / book.run_name("E1", str(gone.run_id))).unlink()
    with book.register.writing() as session:
        engines.set_spec(session, "E1", SPEC.replace("redline_rpm = 7600", "redline_rpm = 6900"))
    judged = judge_engine(book, "E1")
    assert judged.judged == (kept.run_id,)
    assert len(judged.failures) == 1
    assert "is missing" in judged.failures[0]


def change_spec(book: Logbook, was: str, now: str) -> None:
    with book.register.writing() as session:
        engines.set_spec(session, "E1", SPEC.replace(was, now))


def test_a_change_of_one_limit_reads_and_replaces_only_what_it_governs(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ingest_log(book, write_log(tmp_path, "a.csv", "2026-05-03T10:00:00Z"), FOR_E1)
    with book.register.reading() as session:
        (dip,) = events.list_events(session)
    read: list[tuple[str, ...]] = []
    parts = Logbook.run_parts

    def noted(*args: tuple[str, ...]) -> object:
        read.append(args[3])
        return parts(*args)

    monkeypatch.setattr(Logbook, "run_parts", noted)
    change_spec(book, "redline_rpm = 7600", "redline_rpm = 6900")
    judge_engine(book, "E1")
    # first what every turn takes of rods and springs is summed anew: it goes by the redline
    assert read[1:] == [("rpm", "boost", "throttle")]
    with book.register.reading() as session:
        after = [dated.event for dated in events.list_events(session)]
    assert {event.kind for event in after} == {dip.event.kind, "over_rev"}
    (same,) = (event for event in after if event.kind == dip.event.kind)
    assert replace(same, spec_version="") == replace(dip.event, spec_version="")
    assert (
        {event.spec_version for event in after} == {same.spec_version} != {dip.event.spec_version}
    )

    read.clear()
    change_spec(book, "redline_rpm = 7600", "redline_rpm = 6900\nfatigue_exponent = 5")
    assert judge_engine(book, "E1").judged == ()
    change_spec(book, "limit_kpa = 180.0", "limit_kpa = 190.0")
    assert len(judge_engine(book, "E1").judged) == 1
    # first what every turn takes of rods and springs is summed anew: it goes by the redline
    assert read[1:] == [("rpm", "boost", "throttle")]


def test_what_another_judged_meanwhile_is_judged_again_as_a_whole(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two at once, by different limits: the events of a run are all by the limits of its key."""
    ingest_log(book, write_log(tmp_path, "a.csv", "2026-05-03T10:00:00Z"), FOR_E1)
    search = judging.detect_parts
    calls: list[tuple[str, ...]] = []

    def overtaken(*args: object, **given: object) -> object:
        calls.append(args[3])
        if len(calls) == 1:
            with book.register.writing() as session:
                events.replace_events(session, run_id, [], judged_by="other limits")
        return search(*args, **given)

    with book.register.reading() as session:
        (run_id,) = (record.run_id for record in runs.list_runs(session))
    monkeypatch.setattr("babbitt.jobs.detect.detect_parts", overtaken)
    change_spec(book, "redline_rpm = 7600", "redline_rpm = 6900")
    judge_engine(book, "E1")
    assert calls == [("over_rev",), tuple(KINDS)]
    with book.register.reading() as session:
        kinds = {dated.event.kind for dated in events.list_events(session)}
    assert kinds == {"over_rev", "low_oil_pressure"}
