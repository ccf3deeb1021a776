"""A logbook of one engine with two runs that have everything a trace can have. Invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from babbitt.detect.judge import detect
from babbitt.detect.watch import watched
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.model.engine_spec import parse_spec
from babbitt.model.kinds import KINDS
from babbitt.model.run import BAD, GOOD, MISSING, Run, RunInfo, Signal
from babbitt.register.records import engines, events, runs
from babbitt.totals.exposure import expose
from invented import SPEC
from run_files import write_run

TOML = SPEC + "[life]\n" + "".join(f"{kind} = 100.0\n" for kind in KINDS)
BUILT = datetime(2026, 1, 1, tzinfo=UTC)
AT = datetime(2026, 5, 2, 10, 0, tzinfo=UTC)
FIRST, SECOND = "r1".ljust(16, "0"), "r2".ljust(16, "0")
HZ = 50.0


def make_run_book(folder: Path) -> Logbook:
    """Engine E1 with two runs; what `detect` finds in them is recorded."""
    book = create_logbook(folder, settings_text())
    spec = parse_spec(TOML, source="test")
    with book.register.writing("Ann") as session:
        engines.add_engine(session, "E1", TOML, built_at=BUILT)
    for run_id, at in ((FIRST, AT), (SECOND, AT + timedelta(days=1))):
        run = a_run(run_id, at)
        path = book.root / book.run_name("E1", run_id)
        path.parent.mkdir(parents=True, exist_ok=True)
        write_run(run, path)
        with book.register.writing("Ann") as session:
            runs.record_run(session, run, expose(run, spec, watched(run, spec)))
            events.replace_events(session, run_id, detect(run, spec, None), judged_by="test")
    return book


def a_run(run_id: str = FIRST, at: datetime = AT) -> Run:
    """Sixty seconds at 5,000 1/min without those from 50 s to 55 s.

    An over-rev on power at 20 s, a spike of the ignition at 30 s, oil starvation in a left-hander
    at 40 s, and a second without oil temperature at 10 s.
    """
    time_s = np.arange(0.0, 60.0, 1.0 / HZ)
    time_s = time_s[(time_s < 50.0) | (time_s >= 55.0)]
    rpm = np.full(len(time_s), 5000.0)
    rpm[within(time_s, 20.0, 21.0)] = 7900.0
    pressure = 0.08 * rpm
    pressure[within(time_s, 40.0, 42.0)] = 100.0
    lateral = np.where(within(time_s, 39.0, 43.0), 1.0, 0.0)
    spiked = signal(rpm, "1/min")
    spike = int(np.searchsorted(time_s, 30.0))
    spiked.values[spike], spiked.flags[spike] = 13_000.0, BAD
    oil = signal(np.full(len(time_s), 95.0), "°C")
    lost = within(time_s, 10.0, 11.0)
    oil.values[lost], oil.flags[lost] = np.nan, MISSING
    info = RunInfo(
        run_id, "E1", at, "log", f"{run_id}.csv", run_id.ljust(64, "0"), (), (),
        ("Engine speed has 1 single-sample spike; not counted.",), 0.5,
    )  # fmt: skip
    return Run(
        info,
        time_s,
        {
            "rpm": spiked,
            "oil_pressure": signal(pressure, "kPa"),
            "oil_temperature": oil,
            "coolant_temperature": signal(np.full(len(time_s), 85.0), "°C"),
            "boost": signal(np.full(len(time_s), 120.0), "kPa"),
            "lateral_g": signal(lateral, "g"),
            "Pump <b>ratio</b>": signal(np.linspace(0.0, 1.0, len(time_s)), ""),
        },
    )


def within(time_s: np.ndarray, start_s: float, end_s: float) -> np.ndarray:
    return (time_s >= start_s) & (time_s < end_s)


def signal(values: np.ndarray, unit: str) -> Signal:
    return Signal(
        values.astype(np.float32), np.full(len(values), GOOD, np.uint8), unit, HZ, "header"
    )
