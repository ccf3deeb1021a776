"""A sample of what `make laps` does at length: planted laps and corners are found."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from babbitt.laps.find import find_layout
from babbitt.laps.motion import motion_of
from babbitt.model.layout import Layout
from babbitt.model.run_windows import stretch
from lap_truth import score
from made_runs import line, make_run
from planted_circuits import CIRCUITS, CLIMB, Circuit, Logged, drive

BY_NAME = {circuit.name: circuit for circuit in CIRCUITS}
NEAR_S = {("lateral_g",): 0.5}
"""Error of a lap time by the channels that are logged; 0.2 s where speed or position is."""


def planted(circuit: Circuit, laps: int = 6, seed: int = 3, **how: object):
    return drive(circuit, laps, Logged(**how), np.random.default_rng(seed))


@pytest.mark.parametrize(
    "channels",
    [
        ("lateral_g",),
        ("lateral_g", "speed"),
        ("latitude", "longitude"),
        ("lap_number", "lateral_g"),
        ("distance", "lateral_g"),
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("name", BY_NAME)
def test_planted_laps_and_corners_are_found(name: str, channels: tuple[str, ...]) -> None:
    if (name, channels) == ("oval", ("lateral_g",)):
        pytest.skip("its halves are alike: nothing in such a log tells half a lap from a lap")
    how = {"hz": 20.0, "channels": channels, "sign": -1.0, "clock": 1.0005, "gps_gaps": 1}
    found = score(planted(BY_NAME[name], **how), np.random.default_rng(1))
    assert found.wrong == 0
    assert np.max(np.abs(found.errors_s)) <= NEAR_S.get(channels, 0.2)
    assert found.right >= 0.9 * found.events > 0


def test_a_climb_is_not_forced_into_laps() -> None:
    for channels in (("lateral_g",), ("lateral_g", "speed"), ("latitude", "longitude", "speed")):
        run = planted(CLIMB, laps=1, channels=channels).run
        assert find_layout(motion_of([run])) is None


def test_half_an_oval_is_no_lap() -> None:
    assert find_layout(motion_of([planted(BY_NAME["oval"]).run])) is None


def test_pulls_on_a_rolling_road_are_no_laps() -> None:
    pulls = line(*[(10.0 * k, 20.0 if k % 2 else 200.0) for k in range(60)])
    noise = np.random.default_rng(1).normal(0.0, 0.03, 590 * 20 + 1)
    run = make_run(590.0, 20.0, speed=pulls, lateral_g=noise)
    assert find_layout(motion_of([run])) is None


def test_a_log_without_any_of_it_has_no_laps() -> None:
    assert find_layout(motion_of([make_run(60.0, without=("lateral_g",))])) is None
    assert find_layout(motion_of([])) is None


def test_a_stop_makes_a_lap_one_with_a_pit_stop() -> None:
    run = planted(BY_NAME["club"], channels=("lateral_g", "speed"), pit_stop=True).run
    layout = find_layout(motion_of([run]))
    assert layout is not None
    kinds = [lap.kind for lap in layout.laps]
    assert kinds.count("pit") == 1
    assert (kinds[0], kinds[-1]) == ("standing", "standing")
    edges = [(lap.start_s, lap.end_s) for lap in layout.laps]
    assert all(before[1] == after[0] for before, after in pairwise(edges))


def test_corners_are_the_same_over_runs_whatever_tells_the_laps() -> None:
    first = find_layout(motion_of([planted(BY_NAME["club"], channels=("lateral_g", "speed")).run]))
    assert first is not None
    for channels in (("lateral_g",), ("lateral_g", "speed")):
        again = planted(BY_NAME["club"], seed=8, channels=channels)
        layout = find_layout(motion_of([again.run]), first)
        assert layout is not None
        assert layout.known_course
        directions = [(corner.number, corner.direction) for corner in layout.corners]
        assert directions == [(corner.number, corner.direction) for corner in first.corners]
        # The same corner of the road has the same number in both runs.
        tight = max(first.corners, key=lambda corner: corner.lateral_g * (corner.length_m or 0.0))
        at = [
            0.5 * (each.start_s + each.end_s)
            for each in layout.passes
            if each.corner == tight.number
        ]
        assert len(set(np.interp(at, again.time_s, again.corner).round())) == 1


def test_a_run_elsewhere_has_corners_of_its_own() -> None:
    first = find_layout(motion_of([planted(BY_NAME["club"]).run]))
    layout = find_layout(motion_of([planted(BY_NAME["hairpins"]).run]), first)
    assert layout is not None
    assert not layout.known_course


def test_a_layout_is_kept_as_text() -> None:
    channels = ("latitude", "longitude", "lateral_g", "speed")
    layout = find_layout(motion_of([planted(BY_NAME["short"], channels=channels).run]))
    assert layout is not None
    assert Layout.from_json(layout.to_json()) == replace(layout)


def test_shares_of_a_lap_grow_along_it() -> None:
    layout = find_layout(motion_of([planted(BY_NAME["club"]).run]))
    assert layout is not None
    lap = layout.whole_laps[1]
    shares = layout.share_at(np.linspace(lap.start_s, lap.end_s - 0.01, 200))
    assert np.all(np.diff(shares) > 0.0)
    assert shares[[0, -1]] == pytest.approx([0.0, 1.0], abs=0.01)
    assert np.isnan(layout.share_at([layout.laps[0].start_s])).all()


def test_motion_in_parts_is_that_of_the_whole() -> None:
    run = planted(BY_NAME["short"], hz=50.0, channels=("lateral_g", "speed")).run
    half = run.samples // 2
    parts = [stretch(run, 0, half), stretch(run, half, run.samples)]
    whole, joined = motion_of([run]), motion_of(parts)
    assert len(joined.time_s) == pytest.approx(len(whole.time_s), abs=1)
    assert whole.travelled_m is not None
    assert joined.travelled_m is not None
    assert joined.travelled_m[-1] == pytest.approx(whole.travelled_m[-1], rel=1e-4)
