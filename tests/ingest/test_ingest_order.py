"""Rows sent twice, out of order or begun anew: what is read is what a sound log would hold."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.ingest.text import parse
from ingest_logs import csv_of, read, refused

HEADERS = ["time (s)", "rpm", "boost [kPa]"]


def rows(count: int = 300, begin: int = 0) -> list[tuple[str, int, float]]:
    """Rows of 20 Hz in which no two are alike."""
    return [(f"{i / 20:.2f}", 2000 + begin + i, i % 37 + 0.5) for i in range(count)]


@pytest.fixture(params=[1 << 22, 400])
def block_bytes(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setattr(parse, "BLOCK_BYTES", request.param)
    monkeypatch.setattr("babbitt.ingest.text.decode._TAIL_BYTES", 100)
    return int(request.param)


@pytest.mark.usefixtures("block_bytes")
@pytest.mark.parametrize(("at", "size"), [(5, 1), (50, 4), (100, 12), (280, 12)])
def test_a_block_sent_twice_counts_once(at: int, size: int) -> None:
    sound = rows()
    run = read(csv_of(HEADERS, [*sound[: at + size], *sound[at : at + size], *sound[at + size :]]))
    np.testing.assert_allclose(run.time_s, np.arange(300) / 20, atol=1e-9)
    np.testing.assert_array_equal(run.signals["rpm"].values, 2000 + np.arange(300))
    assert sum("sent twice" in w or "the time of a row before" in w for w in run.info.warnings) == 1


@pytest.mark.usefixtures("block_bytes")
def test_rows_out_of_order_within_a_second_are_sorted() -> None:
    mixed = rows()
    for at in range(10, 280, 9):
        mixed[at : at + 6] = mixed[at : at + 6][::-1]
    run = read(csv_of(HEADERS, mixed))
    np.testing.assert_array_equal(run.signals["rpm"].values, 2000 + np.arange(300))
    assert any("out of order by up to 0.25 s" in w for w in run.info.warnings)


@pytest.mark.usefixtures("block_bytes")
def test_a_logger_that_began_anew_is_one_run_with_a_gap() -> None:
    run = read(csv_of(HEADERS, [*rows(100), *rows(100, 500), *rows(100, 900)]))
    assert len(run.time_s) == 300
    steps = np.diff(run.time_s)
    assert np.flatnonzero(steps > run.info.max_gap_s).tolist() == [99, 199]
    assert sum("restarted without a clock" in w for w in run.info.warnings) == 2


def test_the_same_standstill_before_and_after_a_restart_is_not_a_repeat() -> None:
    still = [(f"{i / 20:.2f}", 0, 0.0) for i in range(40)]
    driven = [(f"{(40 + i) / 20:.2f}", 3000 + i, 9.5) for i in range(60)]
    other = [(time, rpm + 700, 3.5) for time, rpm, _ in driven]
    assert len(read(csv_of(HEADERS, [*still, *driven, *still, *other])).time_s) == 200


def test_a_block_at_times_sent_before_with_other_values_is_refused() -> None:
    sound = rows()
    other = [(time, 9000, 99.0) for time, _, _ in sound[100:140]]
    error = refused(csv_of(HEADERS, [*sound[:140], *other, *sound[140:]]))
    assert "time runs backwards in line 142, by 1.95 s" in str(error)


def test_a_coarse_clock_that_begins_in_the_middle_of_a_second_keeps_its_step() -> None:
    log = csv_of(HEADERS, [(f"{(i + 6) // 10}", 2000 + i, i % 37 + 0.5) for i in range(200)])
    run = read(log)
    np.testing.assert_allclose(np.diff(run.time_s), 0.1, atol=1e-9)
