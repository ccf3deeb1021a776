"""A logbook of two engines of one type: runs with oil starvation, builds, teardowns. Invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.model.engine_spec import parse_spec
from babbitt.model.event import CERTAIN, Event, event_id_of
from babbitt.model.exposure import Exposure, RunningTable
from babbitt.model.finding import Finding
from babbitt.model.kinds import KINDS
from babbitt.model.run import Run, RunInfo, Signal
from babbitt.register.records import builds, engines, events, runs, teardowns
from invented import SPEC
from run_files import write_run

LIFE = "[life]\n" + "".join(f"{kind} = 100.0\n" for kind in KINDS)
VERSION = parse_spec(SPEC, source="test").version()
BUILT = datetime(2026, 1, 1, tzinfo=UTC)
REFRESHED = BUILT + timedelta(days=30)
TAKEN_APART = REFRESHED - timedelta(hours=1)
NOW = BUILT + timedelta(days=50)


def make_book(folder: Path, *, engine_ids=("E1", "E2")) -> Logbook:
    """Engines of one refresh each: E1 starved in both builds, E2 spared."""
    book = create_logbook(folder, settings_text())
    for engine_id in engine_ids:
        with book.register.writing("Ann") as session:
            engines.add_engine(session, engine_id, SPEC + LIFE, built_at=BUILT)
            builds.add_refresh(session, engine_id, REFRESHED, "new bearings")
        for n in range(12):
            dose = 20.0 if engine_id == "E1" else 0.5
            add_run(book, engine_id, BUILT + timedelta(days=2 + 4 * n), dose)
        with book.register.writing("Ann") as session:
            found = finding("wiped", 3) if engine_id == "E1" else finding(None, 0)
            teardowns.record_teardown(
                session, engine_id, TAKEN_APART, [found, SOUND_RODS], earlier_build=True
            )
    return book


def finding(mode: str | None, grade: int, *, part="rod_bearing", position=None) -> Finding:
    return Finding(part, position, mode, grade, None, "replace" if grade else "reuse")


SOUND_RODS = finding(None, 0, part="rod")


def add_run(
    book: Logbook,
    engine_id: str,
    at: datetime,
    dose: float,
    *,
    spec_version=VERSION,
    blind=(),
    circuit=None,
) -> None:
    """Add an hour's run at 6,000 1/min, with one oil starvation in it."""
    run_id = f"{engine_id}-{at:%m%d}".ljust(16, "0")
    time_s = np.arange(0.0, 3600.0, 10.0)
    rpm = np.full(len(time_s), 6000.0, dtype=np.float32)
    info = RunInfo(
        run_id, engine_id, at, "log", f"{run_id}.csv", run_id.ljust(64, "0"), (), (), (), 20
    )
    flags = np.ones(len(time_s), np.uint8)
    run = Run(info, time_s, {"rpm": Signal(rpm, flags, "1/min", 0.1, "RPM")})
    path = book.root / book.run_name(engine_id, run_id)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_run(run, path)
    event = Event(
        event_id=event_id_of(run_id, "oil_starvation", 101.0),
        run_id=run_id,
        engine_id=engine_id,
        kind="oil_starvation",
        start_s=100.0,
        end_s=101.5,
        duration_s=1.5,
        peak=120.0,
        peak_s=101.0,
        peak_unit="kPa",
        dose=dose,
        dose_unit="rev",
        cause=None,
        side="left",
        direction="left",
        ended_by="release",
        confidence=CERTAIN,
        review=None,
        spec_version=spec_version,
    )
    exposure = Exposure(
        running_s=3600.0,
        revolutions=360_000.0,
        starts=1,
        heat_cycles=0.5,
        watched_s={kind: 3600.0 for kind in KINDS if kind not in blind},
        table=RunningTable((0.0, 8000.0), (0.0, 100.0), ((3600.0,),)),
        peak_rpm=6000.0,
        peak_mean_piston_speed_m_s=17.2,
        peak_piston_acceleration_m_s2=20_000.0,
        peak_oil_angle_left_deg=None,
        peak_oil_angle_right_deg=None,
        least_boiling_margin_k=None,
    )
    with book.register.writing("Ann") as session:
        runs.record_run(session, run, exposure, circuit=circuit)
        events.replace_events(session, run_id, [event], judged_by="test")
