"""A logbook of three engines for the pages of engines; everything in it is invented.

E1 was refreshed once, is starved of oil in every run, and loses 2 % of its oil pressure an hour.
E2 was never refreshed, and ran without harm. E3 never ran.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from babbitt.detect.pressure import PressureBin, PressureSummary, learn_surface
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.model.engine_spec import parse_spec
from babbitt.model.event import CERTAIN, Event, event_id_of
from babbitt.model.exposure import Exposure, RunningTable
from babbitt.model.kinds import KINDS
from babbitt.model.records import SurfaceRecord
from babbitt.model.run import Run, RunInfo, Signal
from babbitt.register import Session
from babbitt.register.records import builds, engines, events, runs
from babbitt.register.records.fitments import fit_part
from babbitt.register.records.parts import add_part
from invented import SPEC

LIFE = "[life]\n" + "".join(f"{kind} = 100.0\n" for kind in KINDS)
TOML = SPEC + LIFE + "[decision]\naccepted_risk = 0.07\n"
SPEC_OF_BOOK = parse_spec(TOML, source="test")
BUILT = datetime(2026, 1, 1, tzinfo=UTC)
REFRESHED = BUILT + timedelta(days=30)
NOW = REFRESHED + timedelta(days=20)
RUNS = 6
HOUR_S = 3600.0
LOSS_AN_HOUR = 0.02
SERVICE = "\n[service.rod_bearing]\nrunning_h = 4\n"


def make_engine_book(folder: Path, register: str = "") -> Logbook:
    """Make the logbook of this module; its register lies in it, or at an address."""
    kept = f'register = "{register}"\n' if register else ""
    book = create_logbook(folder, kept + settings_text() + SERVICE)
    with book.register.writing("Ann") as session:
        for name in ("E1", "E2", "E3"):
            engines.add_engine(session, name, TOML, built_at=BUILT)
        builds.add_refresh(session, "E1", REFRESHED, "new bearings")
        for position in ("1", "2", "3", "4"):
            add_part(session, f"RB-{position}", "rod_bearing")
            fit_part(session, f"RB-{position}", "E1", position=position, at=REFRESHED)
        for n in range(RUNS):
            add_run(session, "E1", REFRESHED + timedelta(days=1 + n), doses=(8.0,), hours=n + 0.5)
            add_run(session, "E2", BUILT + timedelta(days=40 + n))
        (_, build) = builds.builds_of(session, "E1")
        summaries = [summary(f"E1-{n}", 0.0) for n in range(2)]
        surface = learn_surface(summaries, SPEC_OF_BOOK)
        assert surface is not None
        builds.save_surface(session, build, SurfaceRecord(surface.to_json(), surface.key))
    return book


def add_run(
    session: Session,
    engine_id: str,
    at: datetime,
    *,
    doses: tuple[float, ...] = (),
    hours: float | None = None,
    blind: tuple[str, ...] = (),
    circuit: str | None = None,
) -> str:
    """Add an hour's run with an oil starvation for each dose; `hours` gives it steady pressure."""
    run_id = f"{engine_id}-{at:%Y%m%d%H}".ljust(16, "0")
    info = RunInfo(
        run_id, engine_id, at, "log", f"{run_id}.csv", run_id.ljust(64, "0"), (), (), (), 20
    )
    rpm = Signal(np.full(3, 6000, np.float32), np.ones(3, np.uint8), "1/min", 0.1, "RPM")
    run = Run(info, np.array([0.0, 1800.0, HOUR_S]), {"rpm": rpm})
    exposure = Exposure(
        running_s=HOUR_S,
        revolutions=360_000.0,
        starts=1,
        heat_cycles=0.5,
        watched_s={kind: HOUR_S for kind in KINDS if kind not in blind},
        table=RunningTable(
            (0.0, 6000.0, 7000.0, 16_000.0),
            (-105.0, 0.0, 100.0, 600.0),
            ((600.0, 0.0, 0.0), (0.0, 2400.0, 0.0), (0.0, 0.0, 600.0)),
        ),
        peak_rpm=7200.0,
        peak_mean_piston_speed_m_s=None,
        peak_piston_acceleration_m_s2=None,
        peak_oil_angle_left_deg=None,
        peak_oil_angle_right_deg=None,
        least_boiling_margin_k=None,
    )
    runs.record_run(session, run, exposure, circuit=circuit)
    found = [starvation(run_id, engine_id, 900.0 * (n + 1), dose) for n, dose in enumerate(doses)]
    events.replace_events(session, run_id, found, judged_by="test")
    if hours is not None:
        text = summary(run_id, hours * LOSS_AN_HOUR).to_json()
        builds.save_steady_pressure(session, run_id, f"key\n{text}")
    return run_id


def summary(run_id: str, loss: float) -> PressureSummary:
    """Steady pressure that lost a share of what the fresh engine has."""
    bins = [
        PressureBin(30.0, rpm, oil_c, (0.08 * rpm - (oil_c - 90.0)) * (1.0 - loss), 1.0)
        for rpm in np.arange(3000.0, 7001.0, 250.0).tolist()
        for oil_c in (85.0, 95.0, 105.0)
    ]
    return PressureSummary(run_id, tuple(bins))


def starvation(run_id: str, engine_id: str, at_s: float, dose: float) -> Event:
    """An oil starvation in a left-hander."""
    return Event(
        event_id=event_id_of(run_id, "oil_starvation", at_s + 1.0),
        run_id=run_id,
        engine_id=engine_id,
        kind="oil_starvation",
        start_s=at_s,
        end_s=at_s + 1.5,
        duration_s=1.5,
        peak=120.0,
        peak_s=at_s + 1.0,
        peak_unit="kPa",
        dose=dose,
        dose_unit="rev",
        cause=None,
        side="left",
        direction="left",
        ended_by="release",
        confidence=CERTAIN,
        review=None,
        spec_version=SPEC_OF_BOOK.version(),
    )
