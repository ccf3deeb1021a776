"""Totals of a large logbook against those of a small one."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from ratios import paired_seconds
from season import SPEC
from sqlalchemy import insert

from babbitt.commands.totals import totals_of
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.model.event import CERTAIN
from babbitt.model.kinds import KINDS
from babbitt.register.records import builds, engines
from babbitt.register.tables.models import EventRow, ExposureRow, ExposureWatchRow, RunRow

ENGINES = 50
BUILDS = 4
EVENTS_PER_RUN = 8
ROUNDS = 15
BUILT = datetime(2024, 1, 1, tzinfo=UTC)
BUILD_LASTS = timedelta(days=90)


def make_book(folder: Path, runs: int) -> Logbook:
    """Make a logbook of `runs` spread evenly over ENGINES and BUILDS."""
    book = create_logbook(folder, settings_text())
    spec = SPEC + "[life]\n" + "".join(f"{kind} = 1000.0\n" for kind in KINDS)
    ids = [f"E{n:02d}" for n in range(ENGINES)]
    with book.register.writing() as session:
        for engine_id in ids:
            engines.add_engine(session, engine_id, spec, built_at=BUILT)
            for n in range(1, BUILDS):
                builds.add_refresh(session, engine_id, BUILT + n * BUILD_LASTS)
        for n in range(runs):
            add_run(session, f"r{n:015d}", ids[n % ENGINES], n // ENGINES, runs // ENGINES)
    return book


def add_run(session, run_id: str, engine_id: str, place: int, places: int) -> None:
    began = BUILT + BUILDS * BUILD_LASTS * ((place + 0.5) / places)
    session.execute(
        insert(RunRow).values(
            run_id=run_id,
            engine_id=engine_id,
            started_at=began,
            ended_at=began + timedelta(minutes=10),
            start_basis="log",
            duration_s=600.0,
            samples=60_000,
            source_name=f"{run_id}.csv",
            source_sha256=run_id.ljust(64, "0"),
            dialect=[],
            conversions=[],
            warnings=[],
            channels=[],
            ingested_at=began,
            unlogged=False,
            judged_by="today",
        )
    )
    session.execute(
        insert(ExposureRow).values(
            run_id=run_id, running_s=580.0, revolutions=55_000.0, starts=1, heat_cycles=0.5
        )
    )
    session.execute(
        insert(ExposureWatchRow),
        [{"run_id": run_id, "kind": kind, "watched_s": 580.0} for kind in KINDS],
    )
    session.execute(
        insert(EventRow),
        [
            {
                "run_id": run_id,
                "event_id": f"{run_id[-8:]}{n:04d}",
                "kind": kind,
                "start_s": 60.0 * n,
                "end_s": 60.0 * n + 2.0,
                "duration_s": 2.0,
                "peak": 1.0,
                "peak_s": 60.0 * n + 1.0,
                "peak_unit": KINDS[kind].unit,
                "dose": 3.0,
                "dose_unit": KINDS[kind].dose_unit,
                "ended_by": "release",
                "confidence": CERTAIN.to_json(),
                "spec_version": "today",
            }
            for n in range(EVENTS_PER_RUN)
            for kind in [KINDS[n % len(KINDS)]]
        ],
    )


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> tuple[Logbook, Logbook]:
    folder = tmp_path_factory.mktemp("books")
    return make_book(folder / "large", 10_000), make_book(folder / "small", 200)


@pytest.mark.parametrize("engine_id", ["E07", None], ids=["one engine", "all engines"])
def test_totals_do_not_grow_with_the_logbook(benchmark, keep_row, books, engine_id) -> None:
    large, small = books
    found = benchmark.pedantic(totals_of, args=(large, engine_id), rounds=3)
    assert all(each.runs == 10_000 / ENGINES / BUILDS for each in found)
    pairs = paired_seconds(
        lambda: totals_of(large, engine_id), lambda: totals_of(small, engine_id), rounds=ROUNDS
    )
    which = "one engine" if engine_id else "all 50 engines"
    keep_row(
        f"totals of {which}: 10,000 runs / 200 runs",
        [ours / baseline for ours, baseline in pairs],
        reach=2.0,
        aim=1.2,
    )
