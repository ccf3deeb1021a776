"""A logbook of a large fleet: runs with every kind of harm, builds, teardowns. Invented, seeded."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from season import SPEC
from sqlalchemy import insert

from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.model.damage_modes import parts
from babbitt.model.engine_spec import parse_spec
from babbitt.model.event import CERTAIN
from babbitt.model.kinds import KINDS
from babbitt.register.records import engines
from babbitt.register.tables.models import (
    EventRow,
    ExposureRow,
    ExposureWatchRow,
    RefreshRow,
    RunRow,
)
from babbitt.register.tables.part_models import FindingRow, TeardownRow

BUILT = datetime(2024, 1, 1, tzinfo=UTC)
BUILD_LASTS = timedelta(days=60)
RUNS_A_BUILD = 8
LIFE = 100.0
TOML = SPEC + "[life]\n" + "".join(f"{kind} = {LIFE}\n" for kind in KINDS)


def make_fleet(folder: Path, *, engine_count: int, teardowns_each: int) -> Logbook:
    """Make a logbook of engines of one type, each taken apart at the end of all builds but one."""
    book = create_logbook(folder, settings_text())
    rng = np.random.default_rng(5)
    rows: dict[Any, list[dict[str, Any]]] = {
        table: []
        for table in (
            RefreshRow,
            RunRow,
            ExposureRow,
            ExposureWatchRow,
            EventRow,
            TeardownRow,
            FindingRow,
        )
    }
    with book.register.writing() as session:
        for engine in range(engine_count):
            engine_id = f"E{engine:02d}"
            engines.add_engine(session, engine_id, TOML, built_at=BUILT)
            for build in range(teardowns_each + 1):
                began = BUILT + build * BUILD_LASTS
                if build:
                    rows[RefreshRow].append({"engine_id": engine_id, "at": began, "note": ""})
                for run in range(RUNS_A_BUILD):
                    run_id = f"{engine:03d}{build:02d}{run:03d}".ljust(16, "0")
                    at = began + BUILD_LASTS * (run + 0.5) / (RUNS_A_BUILD + 1)
                    _add_run(rows, rng, engine_id, run_id, at)
                if build < teardowns_each:
                    number = len(rows[TeardownRow]) + 1
                    at = began + BUILD_LASTS - timedelta(days=1)
                    rows[TeardownRow].append(
                        {"id": number, "engine_id": engine_id, "at": at, "note": ""}
                    )
                    rows[FindingRow] += [_finding(rng, number, name) for name in parts()]
        for table, values in rows.items():
            session.execute(insert(table), values)
    return book


def _add_run(
    rows: Any, rng: np.random.Generator, engine_id: str, run_id: str, at: datetime
) -> None:
    rows[RunRow].append(
        {
            "run_id": run_id,
            "engine_id": engine_id,
            "started_at": at,
            "ended_at": at + timedelta(minutes=20),
            "start_basis": "log",
            "duration_s": 1200.0,
            "samples": 120_000,
            "source_name": f"{run_id}.csv",
            "source_sha256": run_id.ljust(64, "0"),
            "dialect": [],
            "conversions": [],
            "warnings": [],
            "channels": [],
            "ingested_at": at,
            "unlogged": False,
            "judged_by": "today",
        }
    )
    rows[ExposureRow].append(
        {
            "run_id": run_id,
            "running_s": 1200.0,
            "revolutions": 90_000.0,
            "starts": 1,
            "heat_cycles": 0.5,
        }
    )
    rows[ExposureWatchRow] += [
        {"run_id": run_id, "kind": kind, "watched_s": 1190.0} for kind in KINDS
    ]
    version = parse_spec(TOML, source="benchmark").version()
    for n, kind in enumerate(KINDS):
        if rng.random() < 0.3:
            rows[EventRow].append(
                {
                    "run_id": run_id,
                    "event_id": f"{run_id[:8]}{n:04d}",
                    "kind": kind,
                    "start_s": 60.0 * n,
                    "end_s": 60.0 * n + 2.0,
                    "duration_s": 2.0,
                    "peak": 1.0,
                    "peak_s": 60.0 * n + 1.0,
                    "peak_unit": KINDS[kind].unit,
                    "dose": float(rng.lognormal(2.0, 1.2)),
                    "dose_unit": KINDS[kind].dose_unit,
                    "cause": "on_power" if kind == "over_rev" else None,
                    "side": None,
                    "direction": None,
                    "ended_by": "release",
                    "confidence": CERTAIN.to_json(),
                    "review": None,
                    "spec_version": version,
                }
            )


def _finding(rng: np.random.Generator, teardown: int, part: str) -> dict[str, Any]:
    damaged = bool(rng.random() < 0.06)
    return {
        "teardown_id": teardown,
        "part": part,
        "position": None,
        "damage_mode": next(iter(parts()[part].modes)) if damaged else None,
        "grade": 3 if damaged else 0,
        "disposition": "replace" if damaged else "reuse",
        "note": "",
        "photos": [],
    }
