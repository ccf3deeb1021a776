"""Oil starvation and low oil pressure: what counts, what does not, and how much."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from babbitt.detect import oil_pressure
from babbitt.detect.conditions import conditions_of
from babbitt.detect.oil_pressure import oil_deficits
from babbitt.detect.pressure import PressureSurface
from babbitt.model.event import CERTAIN, Reason, confidence_of
from babbitt.model.run import SUSPECT
from made_runs import line, make_run, make_spec, pulse

# Floor 50 kPa per 1,000 1/min: 300 kPa at 6,000. Expected: 450 kPa there; starved below 337.5.
SPEC = make_spec("[oil_pressure]\nfloor_kpa_per_1000rpm = 50\n")
RPM_KNOTS, OIL_C_KNOTS = np.arange(1000.0, 9000, 250), np.array([20.0, 160.0])
SURFACE = PressureSurface(
    RPM_KNOTS, OIL_C_KNOTS, np.repeat(0.075 * RPM_KNOTS, 2).reshape(-1, 2), ("r0",)
)
LEFT = pulse(0.0, 1.0, 3.0, 9.0)
RIGHT = pulse(0.0, -1.0, 3.0, 9.0)
# Below 337.5 kPa for 1 s, down to 225: half of what is expected.
DIP = line((4.0, 450.0), (5.0, 225.0), (6.0, 450.0))
# The mean square of a share from 1/4 to 1/2, over 1/2.
DIP_DOSE = 100.0 * (0.5**3 - 0.25**3) / (3 * 0.25) / 0.5


def found(run, surface=SURFACE, spec=SPEC):
    return oil_deficits(run, spec, surface, conditions_of(run, spec))


def one(run, surface=SURFACE, spec=SPEC):
    (event,) = found(run, surface, spec)
    return event


@pytest.mark.parametrize("hz", [10, 20, 100])
def test_starvation_has_its_closed_form_at_any_rate(hz):
    event = one(make_run(10, hz, lateral_g=LEFT, oil_pressure=DIP))

    assert (event.kind, event.side, event.confidence) == ("oil_starvation", "left", CERTAIN)
    assert (event.start_s, event.end_s) == pytest.approx((4.5, 5.5), abs=1e-5)
    # 100 revolutions a second; the missing share rises from 1/4 to 1/2 and falls back.
    assert event.dose == pytest.approx(DIP_DOSE, rel=1e-5)
    assert (event.peak, event.peak_s, event.peak_unit) == (225.0, 5.0, "kPa")


def test_the_side_is_the_way_the_corner_turned():
    assert one(make_run(10, lateral_g=RIGHT, oil_pressure=DIP)).side == "right"


def test_within_the_lookback_it_is_still_the_corners():
    event = one(make_run(10, lateral_g=pulse(0.0, 1.0, 1.0, 3.5), oil_pressure=DIP))

    assert (event.kind, event.side) == ("oil_starvation", "left")


@pytest.mark.parametrize(("doubted", "confidence"), [(0.6, "low"), (0.3, "high")])
def test_an_event_mostly_of_suspect_samples_has_low_confidence(doubted, confidence):
    run = make_run(10, lateral_g=LEFT, oil_pressure=DIP)
    flags = run.signals["oil_pressure"].flags
    flags[(run.time_s >= 4.5) & (run.time_s < 4.5 + doubted)] = SUSPECT
    event = one(run)

    assert event.confidence.level == confidence
    assert (Reason("perhaps_unplugged") in event.confidence.reasons) == (confidence == "low")
    assert event.dose == pytest.approx(DIP_DOSE, rel=1e-5)


def test_away_from_corners_it_is_low_oil_pressure():
    event = one(make_run(10, oil_pressure=DIP))

    assert (event.kind, event.side) == ("low_oil_pressure", None)
    assert event.dose == pytest.approx(DIP_DOSE, rel=1e-5)


@pytest.mark.parametrize("lateral_g", [0.0, 1.0])
def test_once_the_surface_is_learned_the_floor_line_no_longer_applies(lateral_g):
    # Expected is 450 kPa, the floor line 600: an engine that never had more has lost nothing.
    spec = make_spec("[oil_pressure]\nfloor_kpa_per_1000rpm = 100\nrelief_kpa = 600\n")
    run = make_run(10, lateral_g=lateral_g, oil_pressure=450.0)

    assert found(run, spec=spec) == ()
    assert [each.kind for each in found(run, None, spec)] == ["low_oil_pressure"] * (not lateral_g)


def test_a_deficit_that_outlasts_its_corner_is_one_event():
    run = make_run(10, lateral_g=LEFT, oil_pressure=pulse(450.0, 250.0, 8.0, 20.0))

    event = one(run)

    assert event.kind == "oil_starvation"
    assert (event.end_s, event.ended_by) == (10.0, "end_of_run")


def test_a_deficit_that_runs_into_a_corner_stays_what_it_opened_as():
    run = make_run(10, lateral_g=LEFT, oil_pressure=pulse(450.0, 250.0, 2.0, 6.0))

    assert one(run).kind == "low_oil_pressure"


@pytest.mark.parametrize(("recovered_to", "events"), [(305.0, 1), (315.0, 2)])
def test_a_recovery_short_of_release_does_not_split(recovered_to, events):
    # The floor line is 300 kPa, release 310.
    pressure = line(
        (2, 450), (3, 290), (4, 290), (4.1, recovered_to), (5, recovered_to), (5.1, 290)
    )

    assert len(found(make_run(8, 100, oil_pressure=pressure), surface=None)) == events


def test_less_than_the_minimum_duration_is_nothing():
    run = make_run(10, 100, lateral_g=LEFT, oil_pressure=line((4.9, 450), (5, 225), (5.1, 450)))

    assert found(run) == ()


@pytest.mark.parametrize("surface", [SURFACE, None])
@pytest.mark.parametrize("rpm", [1100.0, 1500.0, 2400.0])
def test_slow_running_is_judged_by_half_of_what_is_expected(rpm, surface):
    expected = rpm * (0.075 if surface else 0.05)

    assert found(make_run(10, rpm=rpm, oil_pressure=0.55 * expected), surface) == ()
    event = one(make_run(10, rpm=rpm, oil_pressure=0.4 * expected), surface)
    assert (event.kind, event.duration_s) == ("low_oil_pressure", 10.0)
    assert event.dose == pytest.approx(10 * rpm / 60 * 0.6**2 / 0.5, rel=1e-4)


def test_a_deficit_ends_where_the_engine_stops():
    rpm = line((4, 6000), (5, 0))
    event = one(make_run(10, rpm=rpm, oil_pressure=pulse(450.0, 0.0, 3.0, 20.0)))

    assert event.end_s == pytest.approx(5.0 - 0.75 * 1100 / 6000, abs=0.02)
    assert event.ended_by == "release"


def test_a_pump_that_is_tired_everywhere_is_not_starved_in_corners():
    run = make_run(10, lateral_g=LEFT, oil_pressure=0.7 * 450.0)
    tired = replace(conditions_of(run, SPEC), straight=0.72)
    (event,) = oil_deficits(run, SPEC, SURFACE, tired)

    assert (event.kind, event.direction) == ("low_oil_pressure", None)


def test_what_a_tired_pump_loses_more_in_a_corner_is_starvation():
    # Half of the expected pressure, of which 72 % is there when going straight.
    run = make_run(10, lateral_g=1.0, oil_pressure=225.0)
    tired = replace(conditions_of(run, SPEC), straight=0.72)
    (event,) = oil_deficits(run, SPEC, SURFACE, tired)

    assert (event.kind, event.direction) == ("oil_starvation", "left")
    assert event.dose == pytest.approx(10 * 100 * (1.0 - 0.5 / 0.72) ** 2 / 0.5, rel=1e-4)


def test_in_esses_the_corner_before_the_pressure_moved_is_named():
    esses = line((3.0, 0), (3.1, 1.2), (4.3, 1.2), (4.4, -1.2), (6.0, -1.2))
    event = one(make_run(10, lateral_g=esses, oil_pressure=DIP))  # opens at 4.5 s

    assert (event.side, event.direction) == ("left", "left")


@pytest.mark.parametrize(
    ("thrown", "direction"),
    [
        ({"longitudinal_g": pulse(0.0, -1.1, 3.0, 9.0)}, "braking"),
        ({"longitudinal_g": pulse(0.0, 0.9, 3.0, 9.0)}, "accelerating"),
        ({"speed": line((3.0, 250.0), (8.0, 90.0))}, "braking"),
        ({"speed": line((3.0, 20.0), (8.0, 180.0))}, "accelerating"),
    ],
)
def test_oil_runs_away_when_braking_and_accelerating_too(thrown, direction):
    event = one(make_run(10, oil_pressure=DIP, **thrown))

    assert (event.kind, event.side, event.direction) == ("oil_starvation", None, direction)


def test_a_jump_of_speed_across_a_gap_is_no_braking():
    t = np.concatenate([np.arange(0, 4, 0.02), np.arange(34, 44, 0.02)])
    dip = pulse(450.0, 225.0, 34.2, 36.0)
    event = one(make_run(time_s=t, speed=line((4, 250), (34, 60)), oil_pressure=dip))

    assert (event.kind, event.direction) == ("low_oil_pressure", None)


def test_priming_after_a_start_is_nothing():
    run = make_run(10, rpm=pulse(0.0, 3000.0, 2.0, 20.0), oil_pressure=line((4.0, 0), (4.5, 250)))

    assert found(run) == ()


def test_shutdown_is_nothing():
    rpm = line((4, 2400), (5, 0))
    run = make_run(10, rpm=rpm, oil_pressure=line((4, 200), (6, 0)))

    assert found(run) == ()


def test_an_unplugged_sensor_flagged_bad_is_nothing():
    unplugged = pulse(450.0, 0.0, 4.0, 6.0)
    run = make_run(
        10, lateral_g=LEFT, oil_pressure=unplugged, bad={"oil_pressure": slice(200, 301)}
    )

    assert found(run) == ()


def test_a_real_event_beside_a_failed_sensor_is_found():
    pressure = line((2.0, 450), (2.5, 225), (3.0, 450))
    run = make_run(10, lateral_g=1.0, oil_pressure=pressure, bad={"oil_pressure": slice(200, 501)})

    assert one(run).peak == 225.0


def test_a_single_bad_sample_inside_does_not_split():
    whole = one(make_run(10, lateral_g=LEFT, oil_pressure=DIP))
    event = one(make_run(10, lateral_g=LEFT, oil_pressure=DIP, bad={"oil_pressure": [240]}))

    assert event.dose == pytest.approx(whole.dose, rel=1e-6)


def test_lost_engine_speed_inside_does_not_split():
    whole = one(make_run(10, lateral_g=LEFT, oil_pressure=DIP))
    event = one(make_run(10, lateral_g=LEFT, oil_pressure=DIP, bad={"rpm": [240, 241]}))

    assert event.dose == pytest.approx(whole.dose, rel=1e-6)


def test_blanks_are_nothing():
    run = make_run(10, lateral_g=LEFT, oil_pressure=pulse(450.0, np.nan, 4.0, 6.0))

    assert found(run) == ()


def test_a_clock_jump_ends_it_and_its_time_does_not_count():
    t = np.concatenate([np.arange(0, 5, 0.02), np.arange(60, 65, 0.02)])
    run = make_run(time_s=t, lateral_g=1.0, oil_pressure=pulse(450.0, 225.0, 4.0, 61.0))

    before, after = found(run)

    assert (before.end_s, before.ended_by) == (pytest.approx(4.98), "gap")
    assert before.duration_s + after.duration_s == pytest.approx(2.0, abs=0.05)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("surface", [SURFACE, None])
def test_working_limits_out_only_where_they_matter_changes_nothing(seed, surface, monkeypatch):
    rng = np.random.default_rng(seed)
    samples = 401
    run = make_run(
        20,
        20,
        rpm=rng.uniform(2000, 8000, samples).round(),
        oil_pressure=rng.choice([100.0, 250.0, 320.0, 335.0, 345.0, 400.0, 600.0], samples),
        lateral_g=np.repeat(rng.choice([-1.0, 0.0, 1.0], 21), 20)[:samples],
        bad={"oil_pressure": rng.random(samples) < 0.2, "rpm": rng.random(samples) < 0.1},
    )
    quick = found(run, surface)
    monkeypatch.setattr(
        oil_pressure, "_may_be_near", lambda pressure, *_: np.ones(len(pressure), dtype=bool)
    )

    assert quick == found(run, surface)
    assert quick


def test_before_the_surface_is_known_the_floor_line_is_expected():
    # Floor 300 kPa: starved below 225.
    assert found(make_run(10, lateral_g=1.0, oil_pressure=230.0), surface=None) == ()

    event = one(make_run(10, lateral_g=1.0, oil_pressure=150.0), surface=None)

    assert event.dose == pytest.approx(10 * 100 * 0.5, rel=1e-5)
    assert event.confidence == confidence_of([Reason("pressure_not_learned")])


def test_without_lateral_acceleration_it_is_low_oil_pressure_and_uncertain():
    event = one(make_run(10, oil_pressure=DIP, without=["lateral_g"]))

    assert event.kind == "low_oil_pressure"
    assert event.confidence == confidence_of([Reason("no_lateral_g")])


def test_lateral_acceleration_lost_at_the_opening_is_uncertain():
    run = make_run(10, lateral_g=LEFT, oil_pressure=DIP, bad={"lateral_g": slice(100, 300)})

    assert one(run).confidence == confidence_of([Reason("no_lateral_g")])


def test_without_oil_temperature_the_hottest_is_expected_and_uncertain():
    cooling = np.column_stack((0.1 * RPM_KNOTS, 0.05 * RPM_KNOTS))  # 300 kPa at 6,000 when hottest
    surface = PressureSurface(RPM_KNOTS, OIL_C_KNOTS, cooling, ("r0",))
    run = {"lateral_g": 1.0, "without": ["oil_temperature"]}

    assert found(make_run(10, oil_pressure=230.0, **run), surface) == ()
    event = one(make_run(10, oil_pressure=220.0, **run), surface)
    assert event.confidence == confidence_of([Reason("no_oil_temperature")])


def test_several_doubts_are_all_named():
    event = one(make_run(10, oil_pressure=100.0, without=["lateral_g"]), surface=None)

    assert event.confidence == confidence_of(
        [Reason("pressure_not_learned"), Reason("no_lateral_g")]
    )
