"""Fatigue of every turn, from logs to totals, against shares of life published elsewhere."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from babbitt.ingest.source import Instructions
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import ingest_log
from babbitt.logbook.folder import create_logbook, settings_text
from babbitt.model.exposure import WindowSums
from babbitt.model.records import Window
from babbitt.register.queries.sums import window_sums
from babbitt.register.records import engines
from invented import SPEC

REDLINE_RPM = 7600.0


def sums_of(folder: Path, *held: tuple[float, float], exponent: float = 5.0) -> WindowSums:
    """What an engine has taken that was held at speeds in 1/min for so many seconds, run by run."""
    book = create_logbook(folder / "book", settings_text())
    spec = SPEC.replace(
        "mechanical_rpm = 8300", f"mechanical_rpm = 8300\nfatigue_exponent = {exponent}"
    )
    with book.register.writing() as session:
        engines.add_engine(session, "E1", spec)
    for number, (rpm, seconds) in enumerate(held):
        t = np.arange(0.0, seconds + 1e-9, 0.5)
        lines = [f"Start,{datetime(2026, 5, 1 + number, tzinfo=UTC).isoformat()}", "Time (s),RPM"]
        # half a turn a minute either way: no sensor stands still
        lines += [f"{at:g},{rpm + (n % 2) - 0.5:g}" for n, at in enumerate(t)]
        log = folder / f"log{number}.csv"
        log.write_text("\n".join(lines) + "\n", encoding="utf-8")
        intake = ingest_log(book, log, Instructions(engine_id="E1"))
        assert intake.status == "ingested", intake.error
    assert judge_engine(book, "E1").failures == ()
    with book.register.reading() as session:
        (sums,) = window_sums(session, [Window("E1", None, None, "")])
    return sums


def test_shares_of_life_add_up_by_palmgren_and_miner(tmp_path: Path) -> None:
    """Three stresses with lives of 50,000, 6,500 and 1,000 h, held 40, 15 and 5 min a cycle, fail
    after 7400.37951 cycles (documentation of the Python library reliability, after Modarres, Amiri
    and Jackson 2017, pp. 33-37).

    A life in hours falls with the power 2 m + 1 of speed: by Basquin with the m-th of load, which
    grows with the square of speed, and by the turns that an hour has.
    """
    lives_h, held_min = np.array([50_000.0, 6_500.0, 1_000.0]), np.array([40.0, 15.0, 5.0])
    for part, exponent in (("rod_fatigue_s", 4.0), ("spring_fatigue_s", 8.0)):
        speeds_rpm = 5000.0 * (lives_h[0] / lives_h) ** (1.0 / (2.0 * exponent + 1.0))
        held = zip(speeds_rpm.tolist(), (60.0 * held_min).tolist(), strict=True)
        folder = tmp_path / part
        folder.mkdir()
        cycle_s = getattr(sums_of(folder, *held, exponent=4.0), part)
        life_s = 3600.0 * lives_h[0] * (5000.0 / (0.85 * REDLINE_RPM)) ** (2.0 * exponent + 1.0)
        assert life_s / cycle_s == pytest.approx(7400.37951, rel=2e-3)


def test_an_hour_near_the_redline_fatigues_more_than_one_far_below(tmp_path: Path) -> None:
    """Common practice, no source; no turn of either is past the redline."""
    sums = {}
    for share in (0.97, 0.70):
        folder = tmp_path / f"{share}"
        folder.mkdir()
        sums[share] = sums_of(folder, (share * REDLINE_RPM, 3600.0))
        assert sums[share].kinds["over_rev"].count == 0
        assert sums[share].running_s == pytest.approx(3600.0)
    assert sums[0.97].rod_fatigue_s > 20.0 * sums[0.70].rod_fatigue_s > 0.0
    assert sums[0.97].spring_fatigue_s > 100.0 * sums[0.70].spring_fatigue_s > 0.0
