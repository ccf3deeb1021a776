"""A run searched part by part has the events of the whole, wherever it is cut."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from babbitt.detect import parts
from babbitt.detect.judge import detect
from babbitt.detect.parts import detect_parts
from babbitt.detect.pressure import PressureSurface, SteadySum, steady_pressure
from babbitt.detect.watch import watched, watched_in
from babbitt.model.run import BAD, FloatArray, Run
from babbitt.model.run_windows import stretch, windows
from babbitt.totals.exposure import ExposureSum, expose
from made_runs import make_run, make_spec

SPEC = make_spec()
SURFACE = PressureSurface(
    np.arange(1.0, 33.0) * 250.0,
    np.arange(4.0, 26.0) * 5.0,
    np.linspace(60.0, 520.0, 32)[:, np.newaxis] - np.linspace(0.0, 50.0, 22),
    ("r0",),
)


def hectic_run(seed: int, *, seconds: float = 240.0, hz: float = 20.0) -> Run:
    """Everything that ever happens to an engine, at random: harm, gaps, stops, lost channels."""
    rng = np.random.default_rng(seed)
    steps = np.full(round(seconds * hz), 1.0 / hz)
    steps[rng.integers(1, len(steps), 4)] += rng.choice([0.3, 1.0, 8.0, 30.0], 4)
    time_s = np.cumsum(steps) - steps[0]

    def between(low: float, high: float, every_s: float) -> FloatArray:
        knots = np.arange(0.0, time_s[-1] + every_s, every_s)
        return np.interp(time_s, knots, rng.uniform(low, high, len(knots)))

    rpm = between(3500.0, 8000.0, 3.0)
    pressure = between(80.0, 520.0, 4.0)
    for at_s in rng.uniform(0.0, time_s[-1], 3):
        off_s = rng.choice([0.4, 6.0, 20.0])
        rpm[(time_s > at_s) & (time_s < at_s + off_s)] = 0.0
        pressure[(time_s > at_s) & (time_s < at_s + off_s + rng.choice([0.5, 2.5, 5.0]))] = 10.0
    bad = {}
    for name in ("rpm", "oil_pressure", "oil_temperature", "lateral_g", "boost"):
        lost = np.zeros(len(time_s), dtype=np.bool_)
        for at_s in rng.uniform(0.0, time_s[-1], 4):
            lost |= (time_s >= at_s) & (time_s < at_s + rng.choice([0.05, 0.5, 5.0, 25.0]))
        bad[name] = lost
    return make_run(
        time_s=time_s,
        hz=hz,
        bad=bad,
        native_hz={"oil_temperature": 2.0},
        rpm=rpm,
        oil_pressure=pressure,
        oil_temperature=between(40.0, 140.0, 25.0),
        coolant_temperature=between(70.0, 115.0, 12.0),
        boost=between(20.0, 200.0, 5.0),
        lateral_g=between(-1.2, 1.2, 2.0),
        speed=between(20.0, 250.0, 4.0),
    )


def parts_of(run: Run, cuts: list[int]) -> list[Run]:
    inside = sorted({cut for cut in cuts if 0 < cut < run.samples})
    return [stretch(run, a, b) for a, b in pairwise([0, *inside, run.samples])]


@pytest.mark.parametrize("surface", [None, SURFACE], ids=["floor", "surface"])
@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    cuts=st.lists(st.integers(1, 4800), min_size=1, max_size=12),
)
def test_events_are_those_of_the_whole_run(
    surface: PressureSurface | None, seed: int, cuts: list[int]
) -> None:
    run = hectic_run(seed)
    assert detect_parts(parts_of(run, cuts), SPEC, surface) == detect(run, SPEC, surface)


def test_a_hectic_run_has_events_of_every_kind_and_is_really_cut(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = hectic_run(7, seconds=1200.0)
    whole = detect(run, SPEC, SURFACE)
    assert len({event.kind for event in whole}) == 8
    searched = []

    def counted(some: Run, **given: Any) -> tuple[object, ...]:
        searched.append(some.samples)
        return detect(some, **given)

    monkeypatch.setattr(parts, "detect", counted)
    assert detect_parts(parts_of(run, list(range(2000, 24_000, 2000))), SPEC, SURFACE) == whole
    assert len(searched) > 3
    assert max(searched) < run.samples


def test_an_event_that_never_ends_is_one() -> None:
    run = make_run(60.0, coolant_temperature=120.0)
    (event,) = detect_parts(parts_of(run, [500, 1500, 2500]), SPEC, None)
    assert (event.kind, event.start_s, event.end_s) == ("coolant_overheat", 0.0, 60.0)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    cuts=st.lists(st.integers(1, 4800), min_size=1, max_size=12),
)
def test_sums_over_the_parts_are_those_of_the_whole_run(seed: int, cuts: list[int]) -> None:
    run = hectic_run(seed)
    total, steady, seconds = ExposureSum(SPEC), SteadySum(SPEC), []
    for window in windows(parts_of(run, cuts)):
        total.add(window)
        seconds.append(watched_in(window, SPEC))
        steady.add(window)
    assert steady.summary("r1") == steady_pressure(run, SPEC)
    summed = {kind: sum(each[kind] for each in seconds) for kind in seconds[0]}
    assert summed == pytest.approx(watched(run, SPEC))
    found, expected = total.exposure(summed), expose(run, SPEC, summed)
    np.testing.assert_allclose(found.table.seconds, expected.table.seconds)
    for name in ("running_s", "revolutions"):
        assert getattr(found, name) == pytest.approx(getattr(expected, name))
    for name in ("starts", "heat_cycles", "peak_rpm", "least_boiling_margin_k"):
        assert getattr(found, name) == getattr(expected, name)


def test_parts_shorter_than_what_must_be_in_sight_are_summed_up_too() -> None:
    run = hectic_run(3)
    total = ExposureSum(SPEC)
    for window in windows(parts_of(run, list(range(1, 4800, 23)))):
        total.add(window)
    expected = expose(run, SPEC, {})
    found = total.exposure({})
    assert (found.starts, found.peak_rpm) == (expected.starts, expected.peak_rpm)
    assert found.running_s == pytest.approx(expected.running_s)


def test_bad_rpm_at_a_cut_does_not_make_a_start() -> None:
    lost = slice(1000, 3000)
    run = make_run(120.0, bad={"rpm": lost})
    assert set(run.signals["rpm"].flags[lost].tolist()) == {BAD}
    total = ExposureSum(SPEC)
    for window in windows(parts_of(run, [2000, 3000])):
        total.add(window)
    assert total.exposure({}).starts == 0
