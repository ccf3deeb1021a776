"""Expected oil pressure: the summary of a run, the surface of a build."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from babbitt.detect.pressure import (
    PressureBin,
    PressureSummary,
    PressureSurface,
    floor_line_kpa,
    learn_surface,
    steady_pressure,
)
from made_runs import line, make_run, make_spec, pulse

SPEC = make_spec("[oil_pressure]\nfloor_kpa_per_1000rpm = 40\n")


def true_kpa(rpm, oil_c):
    """A pump in proportion to speed, oil that thins with heat, and a soft relief valve."""
    free = 0.11 * rpm * np.exp(-(oil_c - 90.0) / 60.0)
    return free / (1.0 + (free / 560.0) ** 6) ** (1 / 6)


def make_bins(rng, *, noise=0.0, oil_c=(60.0, 110.0), rpm=(1000.0, 7500.0), seconds=4.0):
    """One bin at a random point of each cell."""
    cells = np.mgrid[rpm[0] : rpm[1] : 250.0, oil_c[0] : oil_c[1] : 5.0].reshape(2, -1).T
    points = cells + rng.random(cells.shape) * (250.0, 5.0)
    kpa = true_kpa(*points.T) * (1 + noise * rng.standard_normal(len(points)))
    return [PressureBin(seconds, r, c, p, 1.0) for (r, c), p in zip(points, kpa, strict=True)]


def learned(bins, run_id="r1"):
    return learn_surface([PressureSummary(run_id, tuple(bins))], SPEC)


GRID = np.meshgrid(np.linspace(1000, 7500, 53), np.linspace(60, 110, 41), indexing="ij")


def worst_error(surface):
    rpm, oil_c = (axis.ravel().astype(np.float32) for axis in GRID)
    return np.abs(surface.expected(rpm, oil_c) / true_kpa(rpm, oil_c) - 1).max()


def test_clean_physics_is_met_within_one_percent():
    assert worst_error(learned(make_bins(np.random.default_rng(1)))) < 0.01


def test_one_bin_in_ten_may_be_far_off():
    rng = np.random.default_rng(2)
    bins = make_bins(rng, noise=0.003)
    for k in rng.choice(len(bins), len(bins) // 10, replace=False):
        b = bins[k]
        bins[k] = PressureBin(b.seconds, b.rpm, b.oil_c, b.kpa * rng.uniform(0.3, 0.8), 1.0)

    assert worst_error(learned(bins)) < 0.015


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.0, 0.2), st.floats(0.3, 1.0))
def test_it_never_falls_with_speed_nor_rises_with_temperature(seed, noise, kept):
    rng = np.random.default_rng(seed)
    bins = [b for b in make_bins(rng, noise=noise) if rng.random() < kept]
    surface = learned(bins)

    rpm, oil_c = np.meshgrid(np.arange(0, 9000, 100), np.arange(-20, 160, 2.5), indexing="ij")
    shape = rpm.shape
    kpa = surface.expected(np.float32(rpm.ravel()), np.float32(oil_c.ravel())).reshape(shape)
    slack = 1e-3  # kPa, float32 rounding
    assert (np.diff(kpa, axis=0) >= -slack).all()
    assert (np.diff(kpa, axis=1) <= slack).all()


def expected_at(surface, rpm, oil_c):
    return float(surface.expected(np.float32([rpm]), np.float32([oil_c]))[0])


def test_faster_or_colder_than_seen_it_stays_as_it_is():
    surface = learned(make_bins(np.random.default_rng(1)))

    assert expected_at(surface, 12000, 90) == pytest.approx(true_kpa(7500, 90), rel=0.02)
    assert expected_at(surface, 2000, -10) == pytest.approx(true_kpa(2000, 60), rel=0.10)


def test_where_nothing_slower_and_hotter_was_seen_no_more_than_the_floor_line_is_expected():
    surface = learned(make_bins(np.random.default_rng(1), rpm=(4000.0, 7500.0)))

    assert expected_at(surface, 3000, 100) <= 40 * 3.001
    assert expected_at(surface, 6000, 140) <= 40 * 6.001
    assert expected_at(surface, 5000, 100) == pytest.approx(true_kpa(5000, 100), rel=0.01)


def test_an_unknown_temperature_expects_no_more_than_any_other():
    surface = learned(make_bins(np.random.default_rng(1)))

    assert expected_at(surface, 6000, np.nan) == expected_at(surface, 6000, 200)


def test_lost_engine_speed_gives_a_number_all_the_same():
    surface = learned(make_bins(np.random.default_rng(1)))

    assert np.isfinite(expected_at(surface, np.nan, 90))


def test_a_surface_survives_json_to_the_last_bit():
    surface = learned(make_bins(np.random.default_rng(1), noise=0.01))
    again = PressureSurface.from_json(surface.to_json())

    assert again.key == surface.key
    assert again.learned_from == surface.learned_from
    assert np.array_equal(again.kpa, surface.kpa)


def test_the_key_follows_the_values_not_the_runs():
    bins = make_bins(np.random.default_rng(1))

    assert learned(bins, "r1").key == learned(bins, "r2").key
    assert learned(bins).key != learned(bins[1:]).key


def test_a_summary_survives_json():
    summary = PressureSummary("r1", tuple(make_bins(np.random.default_rng(1))[:3]))

    assert PressureSummary.from_json(summary.to_json()) == summary


def test_few_data_teach_nothing():
    bins = make_bins(np.random.default_rng(1))

    assert learn_surface([], SPEC) is None
    assert learned(bins[:5]) is None
    assert learned([b for b in bins if b.rpm < 2500]) is None
    assert learned([b for b in bins if 5000 < b.rpm < 6000]) is None
    assert learned(make_bins(np.random.default_rng(1), seconds=0.1)) is None


def test_the_first_runs_that_suffice_teach_and_no_later_one():
    bins = make_bins(np.random.default_rng(1))
    order = np.random.default_rng(3).permutation(len(bins))
    parts = [
        PressureSummary(f"r{k}", tuple(bins[i] for i in part))
        for k, part in enumerate(np.array_split(order, 40))
    ]
    surface = learn_surface(parts, SPEC)
    more = learn_surface([*parts, PressureSummary("late", parts[0].bins)], SPEC)

    assert 1 < len(surface.learned_from) < 40
    assert surface.learned_from == tuple(f"r{k}" for k in range(len(surface.learned_from)))
    assert more.key == surface.key


def test_a_constant_oil_temperature_teaches_for_that_temperature():
    bins = [
        PressureBin(10.0, rpm, 90.0, true_kpa(rpm, 90.0), 1.0) for rpm in range(2600, 7000, 250)
    ]

    assert expected_at(learned(bins), 5000, 90) == pytest.approx(true_kpa(5000, 90), rel=0.01)


def test_runs_without_steady_running_are_passed_over():
    bins = tuple(make_bins(np.random.default_rng(1)))
    surface = learn_surface([PressureSummary("none", ()), PressureSummary("r1", bins)], SPEC)

    assert surface.learned_from == ("r1",)


def test_the_floor_line_ends_at_relief():
    kpa = floor_line_kpa(np.float32([0, 2500, 7000, 20000]), SPEC.oil_pressure)

    assert kpa.tolist() == pytest.approx([0, 100, 280, 550])


def seconds_of(summary):
    return sum(b.seconds for b in summary.bins)


def test_a_steady_run_is_summed_up_in_one_bin():
    (b,) = steady_pressure(make_run(20, rpm=6010.0), SPEC).bins

    assert (b.rpm, b.oil_c, b.kpa) == pytest.approx((6010.0, 100.0, 450.0))
    assert b.seconds == pytest.approx(20, abs=1.0)


def test_bins_hold_means_of_their_own_samples():
    run = make_run(60, rpm=line((0, 3000), (60, 6000)), oil_pressure=lambda t: 300 + 2 * t)

    for b in steady_pressure(run, SPEC).bins:
        assert b.kpa == pytest.approx(300 + 2 * (b.rpm - 3000) / 50, rel=1e-3)


@pytest.mark.parametrize(
    "change",
    [
        {"lateral_g": 1.0},
        {"rpm": 0.0},
        {"oil_pressure": 0.0},
        {"rpm": lambda t: 5000 + 1000 * np.sin(2 * np.pi * t / 3)},
        {"bad": {"oil_pressure": slice(None)}},
        {"bad": {"oil_temperature": slice(None)}},
        {"without": ["oil_temperature"]},
        {"without": ["oil_pressure"]},
        {"without": ["rpm"]},
    ],
)
def test_what_is_not_steady_is_left_out(change):
    assert seconds_of(steady_pressure(make_run(20, **change), SPEC)) <= 2.0


def test_the_lookback_and_priming_are_left_out():
    cornering = make_run(20, lateral_g=pulse(0.0, 1.0, 0.0, 10.0))
    started = make_run(20, rpm=pulse(0.0, 6000.0, 10.0, 30.0))

    assert seconds_of(steady_pressure(cornering, SPEC)) == pytest.approx(8.5, abs=1.0)
    assert seconds_of(steady_pressure(started, SPEC)) == pytest.approx(7.0, abs=1.0)


def test_a_gap_is_not_steady_running():
    t = np.concatenate([np.arange(0, 5, 0.1), np.arange(60, 65, 0.1)])

    assert seconds_of(steady_pressure(make_run(time_s=t, hz=10), SPEC)) == pytest.approx(
        10, abs=1.5
    )


def test_a_gap_of_years_is_summed_as_one_of_a_minute():
    def summed(resumes_s: float) -> PressureSummary:
        t = np.concatenate([np.arange(0, 20, 0.1), resumes_s + np.arange(0, 20, 0.1)])
        return steady_pressure(make_run(time_s=t, hz=10), SPEC)

    assert summed(80.0).bins
    assert summed(1e9).bins == summed(80.0).bins


def test_a_few_starved_blocks_do_not_move_a_bin():
    run = make_run(60, oil_pressure=pulse(450.0, 200.0, 20.0, 24.0))

    (b,) = steady_pressure(run, SPEC).bins

    assert b.kpa == pytest.approx(450.0)


def test_a_run_shorter_than_a_block_has_no_bins():
    assert steady_pressure(make_run(0.2), SPEC).bins == ()


def test_a_summary_is_small():
    run = make_run(600, 20, rpm=line((0, 2500), (300, 7400), (600, 2500)))

    assert len(steady_pressure(run, SPEC).to_json()) < 10_000
    assert json.loads(steady_pressure(run, SPEC).to_json())["run_id"] == "r1"


def test_what_was_fitted_to_the_same_is_not_fitted_again():
    runs = [PressureSummary("r2", tuple(make_bins(np.random.default_rng(1))))]
    first = learned(make_bins(np.random.default_rng(1)), "r1")
    bent = PressureSurface.from_json(replace(first, kpa=first.kpa + 1.0).to_json())
    again = learn_surface(runs, SPEC, bent)

    assert np.array_equal(again.kpa, first.kpa + 1.0)
    assert again.learned_from == ("r2",)


@pytest.mark.parametrize("other", ["older program", "other steady running", "other limits"])
def test_what_was_fitted_to_anything_else_is_fitted_again(other):
    bins = make_bins(np.random.default_rng(1))
    spec = SPEC
    if other == "other steady running":
        bins[0] = replace(bins[0], kpa=bins[0].kpa + 5.0)
    if other == "other limits":
        limits = SPEC.oil_pressure.model_copy(update={"floor_kpa_per_1000rpm": 30.0})
        spec = SPEC.model_copy(update={"oil_pressure": limits})
    runs = [PressureSummary("r1", tuple(bins))]
    known = learned(make_bins(np.random.default_rng(1)))
    known = replace(known, kpa=known.kpa + 1.0)
    if other == "older program":
        known = replace(known, fitted_to="")

    assert learn_surface(runs, spec, known).key == learn_surface(runs, spec).key != known.key
