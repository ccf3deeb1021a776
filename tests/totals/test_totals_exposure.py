from dataclasses import replace

import numpy as np
import pytest

from babbitt.model.run import BAD, Run, Signal
from babbitt.totals.exposure import BOOST_EDGES_KPA, RPM_EDGES, expose
from totals_runs import INFO, SPEC, make_run

NAN = float("nan")
MINUTE_S = np.arange(6001) / 100.0


def exposed(time_s, **values):
    return expose(make_run(time_s, **values), SPEC, {})


def with_bad(run, channel, at):
    """The same run with samples of a channel flagged bad."""
    signal = run.signals[channel]
    flags = signal.flags.copy()
    flags[at] = BAD
    return Run(run.info, run.time_s, {**run.signals, channel: replace(signal, flags=flags)})


def test_constant_speed_gives_its_closed_form():
    exposure = exposed(MINUTE_S, rpm=6000.0)
    assert exposure.running_s == pytest.approx(60.0)
    assert exposure.revolutions == pytest.approx(6000.0)


@pytest.mark.parametrize("hz", [1, 10, 100])
def test_a_ramp_gives_its_closed_form_at_any_rate(hz):
    time_s = np.arange(60 * hz + 1) / hz
    exposure = exposed(time_s, rpm=2000.0 + 50.0 * time_s)
    assert exposure.revolutions == pytest.approx((2000.0 + 5000.0) / 2.0, rel=1e-6)


def test_a_gap_counts_for_nothing():
    time_s = MINUTE_S.copy()
    time_s[3000:] += 100.0
    exposure = exposed(time_s, rpm=6000.0)
    assert exposure.running_s == pytest.approx(59.99)
    assert exposure.revolutions == pytest.approx(5999.0)


def test_a_few_missing_samples_are_bridged_and_many_are_not():
    rpm = np.full(6001, 6000.0)
    rpm[1000:1010] = NAN
    assert exposed(MINUTE_S, rpm=rpm).running_s == pytest.approx(60.0)
    rpm[2000:3000] = NAN
    assert exposed(MINUTE_S, rpm=rpm).running_s == pytest.approx(60.0 - 10.01)


def test_an_engine_that_stands_still_runs_for_nothing():
    exposure = exposed(MINUTE_S, rpm=0.0, boost=0.0)
    assert (exposure.running_s, exposure.revolutions, exposure.starts) == (0.0, 0.0, 0)
    assert np.sum(exposure.table.seconds) == 0.0


def test_starts_are_the_changes_from_off_to_running():
    rpm = np.repeat([0, 250, 1100, 0, 1100, 0], 1000)
    assert exposed(MINUTE_S[:6000], rpm=rpm).starts == 2


def test_a_log_that_begins_running_holds_no_start():
    assert exposed(MINUTE_S, rpm=3000.0).starts == 0


def test_neither_a_gap_nor_a_bad_stretch_is_a_stop():
    time_s = MINUTE_S.copy()
    time_s[3000:] += 100.0
    run = with_bad(make_run(time_s, rpm=3000.0), "rpm", slice(1000, 1500))
    assert expose(run, SPEC, {}).starts == 0


def test_a_start_behind_a_bad_stretch_counts_once():
    rpm = np.repeat([0.0, NAN, 3000.0], 2000)
    assert exposed(MINUTE_S[:6000], rpm=rpm).starts == 1


def test_the_table_holds_all_running_time_with_usable_boost():
    rng = np.random.default_rng(1)
    rpm = rng.uniform(600.0, 13_000.0, 6001)
    boost = rng.uniform(-100.0, 500.0, 6001)
    boost[rng.integers(0, 6001, 200)] = NAN
    table = exposed(MINUTE_S, rpm=rpm, boost=boost).table
    on = ~np.isnan(boost)
    weights = np.full(6001, 0.01)
    weights[[0, -1]] = 0.005
    expected, _, _ = np.histogram2d(
        rpm[on].astype(np.float32),
        boost[on].astype(np.float32),
        bins=(RPM_EDGES, BOOST_EDGES_KPA),
        weights=weights[on],
    )
    np.testing.assert_allclose(table.seconds, expected, atol=1e-9)
    assert np.shape(table.seconds) == (len(RPM_EDGES) - 1, len(BOOST_EDGES_KPA) - 1)


def test_the_table_puts_an_edge_into_the_cell_above():
    table = exposed(MINUTE_S, rpm=3500.0, boost=20.0).table
    row, column = np.argwhere(np.array(table.seconds) > 0.0)[0]
    assert (table.rpm_edges[row], table.boost_edges_kpa[column]) == (3500.0, 20.0)


def test_the_table_without_boost_is_empty():
    assert np.sum(exposed(MINUTE_S, rpm=3500.0).table.seconds) == 0.0


def test_peaks_come_from_usable_samples_only():
    rpm = np.full(6001, 6000.0)
    rpm[100], rpm[200] = 14_900.0, 8000.0
    run = with_bad(make_run(MINUTE_S, rpm=rpm), "rpm", 100)
    exposure = expose(run, SPEC, {})
    assert exposure.peak_rpm == 8000.0
    assert exposure.peak_mean_piston_speed_m_s == pytest.approx(22.93333, rel=1e-6)
    assert exposure.peak_piston_acceleration_m_s2 == pytest.approx(39548.73, rel=1e-6)


def test_oil_tilts_in_either_corner():
    exposure = exposed(MINUTE_S, rpm=3000.0, lateral_g=np.linspace(-1.5, 1.0, 6001))
    assert exposure.peak_oil_angle_left_deg == pytest.approx(45.0)
    assert exposure.peak_oil_angle_right_deg == pytest.approx(56.31, abs=0.001)


def test_a_car_that_never_turned_right_tilted_no_oil_there():
    exposure = exposed(MINUTE_S, rpm=3000.0, lateral_g=np.linspace(0.2, 1.0, 6001))
    assert exposure.peak_oil_angle_right_deg == 0.0


def test_margin_to_boiling_at_cap_pressure():
    """121.962 °C at 1.1 bar gauge: IAPWS-IF97."""
    exposure = exposed(MINUTE_S, rpm=3000.0, coolant_temperature=np.linspace(80, 101.962, 6001))
    assert exposure.least_boiling_margin_k == pytest.approx(20.0, abs=0.001)


def test_a_warming_up_is_half_a_heat_cycle():
    exposure = exposed(MINUTE_S, rpm=3000.0, coolant_temperature=np.linspace(20, 90, 6001))
    assert exposure.heat_cycles == 0.5


def test_what_a_missing_channel_would_have_told_is_none():
    exposure = exposed(MINUTE_S, rpm=3000.0)
    assert exposure.heat_cycles is None
    assert exposure.least_boiling_margin_k is None
    assert exposure.peak_oil_angle_left_deg is None
    assert exposure.peak_oil_angle_right_deg is None


def test_a_channel_with_no_usable_sample_tells_nothing():
    run = make_run(MINUTE_S, rpm=3000.0, coolant_temperature=90.0)
    exposure = expose(with_bad(run, "coolant_temperature", slice(None)), SPEC, {})
    assert exposure.heat_cycles is None
    assert exposure.least_boiling_margin_k is None


def test_a_run_without_engine_speed():
    exposure = exposed(MINUTE_S, coolant_temperature=90.0)
    assert exposure.running_s == 0.0
    assert exposure.peak_rpm is None
    assert exposure.peak_mean_piston_speed_m_s is None
    assert exposure.peak_piston_acceleration_m_s2 is None


def test_watched_time_is_handed_on():
    watched = {"over_rev": 12.5}
    assert expose(make_run(MINUTE_S, rpm=3000.0), SPEC, watched).watched_s == watched


def test_the_run_is_not_changed():
    run = make_run(MINUTE_S, rpm=3000.0, boost=50.0)
    before = {name: signal.values.copy() for name, signal in run.signals.items()}
    expose(run, SPEC, {})
    for name, values in before.items():
        np.testing.assert_array_equal(run.signals[name].values, values)


def test_a_run_of_one_sample():
    signal = Signal(np.array([3000], np.float32), np.array([1], np.uint8), "1/min", 1.0, "RPM")
    exposure = expose(Run(INFO, np.zeros(1), {"rpm": signal}), SPEC, {})
    assert (exposure.running_s, exposure.peak_rpm) == (0.0, 3000.0)
