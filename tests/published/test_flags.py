"""Quality flags against published vocabulary and cases, and against ioos_qc on the same data."""

import warnings

import numpy as np
import pytest

from babbitt.ingest.quality.checks import flat_line, gross_range, merge, rate_of_change, spike
from babbitt.model.run import BAD, GOOD, MISSING, NOT_EVALUATED, SUSPECT

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of the packages that ioos_qc imports
    from ioos_qc import qartod

pytestmark = pytest.mark.published

NAN = float("nan")
SPIKES = [10, 12, 999.99, 13, 15, 40, 9, 9]
RATES = [2, 10, 2.1, 3, 4, 5, 7, 10, 0, 2, 2.2, 2]
FLATS = [1, 2, 2.0001, 2, 2.0001, 2, 2.0001, 2, 4, 5, 3, 3.0001, 3.0005, 3.00001]
OIL_PSI = [62, 61, 60, 60, 5, 59, 58, 58, 58, 58, 58, 160, NAN, 57]


def values_of(numbers):
    return np.array(numbers, np.float32)


def seconds(numbers):
    return np.arange(len(numbers), dtype=float)


def at_1_hz(numbers):
    """Times as ioos_qc takes them: it cuts steps down to whole seconds."""
    return np.datetime64("2025-01-01T00:00:00") + np.arange(len(numbers)) * np.timedelta64(1, "s")


def test_flag_values_are_those_of_the_iode_primary_vocabulary():
    """IODE primary-level flags (NERC vocabulary L34), which QARTOD adopts."""
    assert [GOOD, NOT_EVALUATED, SUSPECT, BAD, MISSING] == [1, 2, 3, 4, 9]
    flags = qartod.QartodFlags
    theirs = [flags.GOOD, flags.UNKNOWN, flags.SUSPECT, flags.FAIL, flags.MISSING]
    assert [int(flag) for flag in theirs] == [1, 2, 3, 4, 9]


def test_gross_range():
    """The case of ioos_qc's project test test_range_check_mixed; the missing value is added."""
    readings = [5, 10, 15, 20, 25, 30, 35, 40, 45, 51, NAN]
    ours = gross_range(values_of(readings), (10, 50), (20, 40))
    assert ours.tolist() == [4, 3, 3, 1, 1, 1, 1, 1, 3, 4, 9]
    theirs = qartod.gross_range_test(readings, fail_span=(10, 50), suspect_span=(20, 40))
    np.testing.assert_array_equal(ours, np.ma.filled(theirs))


def test_spike_is_the_differential_form():
    """The data of ioos_qc's QartodSpikeTest.

    By the mean of the neighbours the published flags are 2, 4, 4, 4, 1, 3, 1, 2: the neighbours of
    a spike are flagged with it. Ours is the differential form, in which it stands alone.
    """
    ours = spike(seconds(SPIKES), values_of(SPIKES), (25, 50))
    assert ours.tolist() == [2, 1, 4, 1, 1, 1, 1, 2]
    theirs = qartod.spike_test(SPIKES, 25, 50, method="differential")
    np.testing.assert_array_equal(ours, np.ma.filled(theirs))


@pytest.mark.parametrize("seed", range(5))
def test_spike_agrees_with_ioos_qc_on_random_data_with_blanks(seed):
    rng = np.random.default_rng(seed)
    readings = rng.normal(0.0, 30.0, 200).round(1)
    readings[rng.integers(0, 200, 12)] = NAN
    ours = spike(seconds(readings), values_of(readings), (25, 50))
    theirs = qartod.spike_test(values_of(readings), 25, 50, method="differential")
    np.testing.assert_array_equal(ours, np.ma.filled(theirs))


def test_rate_of_change():
    """Data and flags of ioos_qc's project test test_rate_of_change, with a fail limit added."""
    suspect_only = rate_of_change(seconds(RATES), values_of(RATES), (5, np.inf))
    assert suspect_only.tolist() == [1, 3, 3, 1, 1, 1, 1, 1, 3, 1, 1, 1]
    both = rate_of_change(seconds(RATES), values_of(RATES), (5, 9))
    assert both.tolist() == [1, 3, 3, 1, 1, 1, 1, 1, 4, 1, 1, 1]
    theirs = qartod.rate_of_change_test(RATES, at_1_hz(RATES), 5, 9)
    np.testing.assert_array_equal(both, np.ma.filled(theirs))


def test_rate_of_change_at_10_hz_needs_no_scaling():
    """The same data ten times as fast against ten times the limits: the same flags."""
    fast = rate_of_change(seconds(RATES) / 10, values_of(RATES), (50, 90))
    assert fast.tolist() == [1, 3, 3, 1, 1, 1, 1, 1, 4, 1, 1, 1]


def test_flat_line_flags_the_whole_stretch():
    """The data of ioos_qc's project test test_flat_line_check.

    Published: 1, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1, 1, 1, 3: flags begin once the limit has passed. Ours
    cover the whole stretch with the worst that it came to.
    """
    published = [1, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1, 1, 1, 3]
    theirs = qartod.flat_line_test(FLATS, at_1_hz(FLATS), 3, 5, 0.01)
    assert np.ma.filled(theirs).tolist() == published
    ours = flat_line(seconds(FLATS), values_of(FLATS), 0.01, 3, 5)
    assert ours.tolist() == [1, 4, 4, 4, 4, 4, 4, 4, 1, 1, 3, 3, 3, 3]


@pytest.mark.parametrize("seed", range(5))
def test_flat_line_agrees_with_ioos_qc_where_a_stretch_has_lasted_the_limit(seed):
    rng = np.random.default_rng(seed)
    readings = np.repeat(rng.integers(0, 5, 60), rng.integers(1, 9, 60)).astype(float)
    ours = flat_line(seconds(readings), values_of(readings), 0.0, 3, 5)
    theirs = np.ma.filled(qartod.flat_line_test(readings, at_1_hz(readings), 3, 5, 1e-9))
    edges = np.flatnonzero(np.diff(readings)) + 1
    for ours_here, theirs_here in zip(np.split(ours, edges), np.split(theirs, edges), strict=True):
        assert set(ours_here) == {theirs_here.max()}


def test_merge():
    """The vectors of ioos_qc's project test test_qc_compare.

    Published: 1, 3, 3, 4, 3, 1, 2, 9, where good and not evaluated hide a missing sample. Ours
    keeps what any check found missing; all else agrees.
    """
    vectors = [
        np.array(v, np.uint8)
        for v in (
            [1, 1, 1, 9, 1, 1, 9, 9],
            [2, 1, 1, 1, 1, 1, 9, 9],
            [1, 3, 3, 4, 3, 1, 2, 9],
        )
    ]
    theirs = np.ma.filled(qartod.qartod_compare(vectors))
    assert theirs.tolist() == [1, 3, 3, 4, 3, 1, 2, 9]
    ours = merge(*vectors)
    missing = np.any(np.array(vectors) == MISSING, axis=0)
    assert ours[missing].tolist() == [MISSING] * 3
    np.testing.assert_array_equal(ours[~missing], theirs[~missing])


def test_an_oil_pressure_channel_through_all_four_checks():
    """A made-up series; flags by the definitions of the cases above.

    By the published forms: spike (mean of neighbours) 2, 1, 1, 3, 4, 3, 1, 1, 1, 1, 4, 2, 9, 2 and
    flat line 1, 1, 1, 1, 1, 1, 1, 1, 1, 3, 4, 1, 9, 1; range and rate are the same.
    """
    time_s, values = seconds(OIL_PSI), values_of(OIL_PSI)
    in_range = gross_range(values, (0, 150), (10, 120))
    spikes = spike(time_s, values, (20, 50))
    rates = rate_of_change(time_s, values, (20, 50))
    flats = flat_line(time_s, values, 0.5, 3, 4)
    assert in_range.tolist() == [1, 1, 1, 1, 3, 1, 1, 1, 1, 1, 1, 4, 9, 1]
    assert spikes.tolist() == [2, 1, 1, 1, 4, 1, 1, 1, 1, 1, 1, 2, 9, 2]
    assert rates.tolist() == [1, 1, 1, 1, 4, 4, 1, 1, 1, 1, 1, 4, 9, 1]
    assert flats.tolist() == [1, 1, 1, 1, 1, 1, 4, 4, 4, 4, 4, 1, 9, 1]
    merged = merge(in_range, spikes, rates, flats)
    assert merged.tolist() == [1, 1, 1, 1, 4, 4, 4, 4, 4, 4, 4, 4, 9, 1]
