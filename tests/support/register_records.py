"""Records to put into a register: one of each sort, with what a test cares about as arguments."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from babbitt.model.engine_spec import parse_spec
from babbitt.model.event import CERTAIN, Event, event_id_of
from babbitt.model.exposure import Exposure, RunningTable
from babbitt.model.finding import Finding
from babbitt.model.kinds import KINDS
from babbitt.model.run import Run, RunInfo, Signal
from babbitt.register.records import engines, events, runs

SPEC = """
[engine]
type = "short-stroke four"
cylinders = 4
bore_mm = 86.0
stroke_mm = 86.0
rod_length_mm = 143.0
idle_rpm = 1100
[over_rev]
redline_rpm = 7600
mechanical_rpm = 8300
[oil_temperature]
limit_c = 135.0
[coolant_temperature]
limit_c = 108.0
[boost]
limit_kpa = 180.0
"""
OTHER_SPEC = SPEC.replace("7600", "7400")
VERSION = parse_spec(SPEC, source="test").version()
BUILT = datetime(2026, 1, 1, tzinfo=UTC)
MAY = datetime(2026, 5, 2, 10, 0, tzinfo=UTC)


def a_run(run_id="r1", *, engine_id="E-1", at=MAY, minutes=10.0, basis="log"):
    """Return a run of two samples that lasts `minutes`."""
    info = RunInfo(
        run_id=run_id,
        engine_id=engine_id,
        started_at=at,
        start_basis=basis,
        source_name=f"{run_id}.csv",
        source_sha256=run_id.ljust(64, "0"),
        dialect=("UTF-8", "comma"),
        conversions=("oil pressure: psi to kPa",),
        warnings=("no boost",),
        max_gap_s=0.5,
    )
    two = np.zeros(2, np.float32)
    rpm = Signal(two, np.ones(2, np.uint8), "1/min", 50.0, "RPM")
    return Run(info, np.array([0.0, 60.0 * minutes]), {"rpm": rpm})


def an_exposure(**changes):
    """Return the exposure of ten minutes' running in which every kind was watched."""
    exposure = Exposure(
        running_s=600.0,
        revolutions=40_000.0,
        starts=1,
        heat_cycles=0.5,
        watched_s=dict.fromkeys(KINDS, 500.0),
        table=RunningTable((0.0, 4000.0, 8000.0), (0.0, 100.0), ((250.0,), (350.0,))),
        peak_rpm=7700.0,
        peak_mean_piston_speed_m_s=22.1,
        peak_piston_acceleration_m_s2=36_000.0,
        peak_oil_angle_left_deg=50.0,
        peak_oil_angle_right_deg=None,
        least_boiling_margin_k=21.5,
    )
    return replace(exposure, **changes)


def an_event(run_id="r1", *, kind="over_rev", start_s=100.0, end_s=102.0, peak_s=101.0, **changes):
    """Return an event with a dose of 10."""
    event = Event(
        event_id=event_id_of(run_id, kind, peak_s),
        run_id=run_id,
        engine_id="E-1",
        kind=kind,
        start_s=start_s,
        end_s=end_s,
        duration_s=end_s - start_s,
        peak=7800.0,
        peak_s=peak_s,
        peak_unit=KINDS[kind].unit,
        dose=10.0,
        dose_unit=KINDS[kind].dose_unit,
        cause="on_power" if kind == "over_rev" else None,
        side=None,
        direction=None,
        ended_by="release",
        confidence=CERTAIN,
        review=None,
        spec_version=VERSION,
    )
    return replace(event, **changes)


def add_engine(register, engine_id="E-1", built_at=BUILT):
    with register.writing() as session:
        engines.add_engine(session, engine_id, SPEC, built_at=built_at)


def add_run(register, run_id="r1", found=(), *, exposure=None, **about):
    """Record a run, and the events found in it."""
    with register.writing() as session:
        runs.record_run(session, a_run(run_id, **about), exposure or an_exposure())
        events.replace_events(session, run_id, found, judged_by="test")


def days(n):
    return timedelta(days=n)


def minutes(n):
    return timedelta(minutes=n)


def write(register, what, /, *args, who="Ann", **kwargs):
    """Call a function of the register in a transaction of its own, and return what it returns."""
    with register.writing(who) as session:
        return what(session, *args, **kwargs)


def read(register, what, /, *args, **kwargs):
    with register.reading() as session:
        return what(session, *args, **kwargs)


def a_finding(part="rod_bearing", position="2", mode="wiped", grade=3, **changes):
    finding = Finding(
        part=part,
        position=position,
        damage_mode=mode,
        grade=grade,
        measurement=None,
        disposition="replace" if grade >= 3 else "reuse",
    )
    return replace(finding, **changes)
