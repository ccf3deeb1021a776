"""A log gives the same run to the last bit, whatever blocks it is read in and kept in."""

from __future__ import annotations

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from babbitt.ingest import read as reading
from babbitt.ingest.columns import store
from babbitt.ingest.source import Instructions
from babbitt.ingest.text import parse
from babbitt.model.run import BAD, Run
from ingest_logs import csv_of, read, refused, source_of

HEADERS = ["Time (s)", "RPM", "Oil Press [bar]", "Coolant [°C]", "Lateral g", "lap"]


def log_of(seed: int, *, rows: int = 250, decimal: str = ".") -> str:
    """A log with everything that keeps rows apart: blanks, words, repeats, cuts, gaps, faults."""
    rng = np.random.default_rng(seed)
    steps = rng.choice(
        [0.02, 0.02, 0.02, 0.02, 0.0, 1.5], rows, p=[0.3, 0.3, 0.2, 0.18, 0.01, 0.01]
    )
    time_s = np.cumsum(steps)
    rpm = 4000 + 2500 * np.sin(time_s / 3) + rng.normal(0, 20, rows)
    rpm[rng.integers(0, rows, 3)] = 15_900
    ragged = rng.integers(1, rows)
    table = []
    for i in range(rows):
        cells = [f"{time_s[i]:.2f}", f"{rpm[i]:.0f}", f"{2 + rpm[i] / 2000:.3f}", "", "", "OUT"]
        if i % 10 == 0:
            cells[3] = f"{80 + i / 50:.1f}"
        if i % 3 == 0:
            cells[4] = f"{np.sin(time_s[i]):.3f}"
        if rng.random() < 0.02:
            cells[2] = str(rng.choice(["", "ERR", "NaN", "inf", "1e39"]))
        if i in (ragged, rows - 1):
            cells = cells[:3]
        table.append([cell.replace(".", decimal) for cell in cells])
    return csv_of(HEADERS, table, ";" if decimal == "," else ",")


def same(one: Run, two: Run) -> None:
    assert one.info == two.info
    np.testing.assert_array_equal(one.time_s, two.time_s)
    assert list(one.signals) == list(two.signals)
    for name, signal in one.signals.items():
        other = two.signals[name]
        np.testing.assert_array_equal(signal.values.view(np.uint32), other.values.view(np.uint32))
        np.testing.assert_array_equal(signal.flags, other.flags)
        assert (signal.unit, signal.native_hz) == (other.unit, other.native_hz)


@settings(max_examples=20, deadline=None)
@given(
    seed=st.integers(0, 1000),
    size=st.integers(300, 12_000),
    ending=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-16", "cp1252"]),
    decimal=st.sampled_from([".", ","]),
)
def test_any_block_size_gives_the_same_run(
    seed: int, size: int, ending: str, encoding: str, decimal: str
) -> None:
    data = log_of(seed, decimal=decimal).replace("\n", ending).encode(encoding)
    whole = read(data)
    with pytest.MonkeyPatch.context() as small:
        small.setattr(parse, "BLOCK_BYTES", size)
        small.setattr("babbitt.ingest.text.decode._TAIL_BYTES", 200)
        same(read(data), whole)


@pytest.mark.parametrize("time", ["clock", "date", "zoned"])
def test_clock_times_do_not_depend_on_blocks(time: str, monkeypatch: pytest.MonkeyPatch) -> None:
    stamps = {
        "clock": lambda s: f"{(23 + s // 3600) % 24:02d}:{s // 60 % 60:02d}:{s % 60:02d}.5",
        "date": lambda s: (
            f"{15 + (s + 82_800) // 86_400}.05.2026 {(23 + s // 3600) % 24:02d}:"
            f"{s // 60 % 60:02d}:{s % 60:02d}"
        ),
        "zoned": lambda s: f"2026-05-15T{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}+02:00",
    }
    log = csv_of(["time", "rpm"], [(stamps[time](i * 60), 2000 + i % 97) for i in range(900)])
    whole = read(log)
    assert whole.duration_s == 899 * 60.0
    monkeypatch.setattr(parse, "BLOCK_BYTES", 500)
    monkeypatch.setattr("babbitt.ingest.text.decode._TAIL_BYTES", 100)
    same(read(log), whole)


def test_lines_are_told_right_in_any_block(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [(f"{i / 100:.2f}", 2000 + i % 97, "x" if i == 700 else 5) for i in range(900)]
    rows[800] = ("2.00", 2000, 5)
    log = "note\n" + csv_of(["time (s)", "rpm", "boost [kPa]"], rows)
    monkeypatch.setattr(parse, "BLOCK_BYTES", 600)
    monkeypatch.setattr("babbitt.ingest.text.decode._TAIL_BYTES", 100)
    assert "time runs backwards in line 803" in str(refused(log))
    rows[800] = ("8.00", 2000, 5)
    log = "note\n" + csv_of(["time (s)", "rpm", "boost [kPa]"], rows)
    (said,) = (w for w in read(log).info.warnings if "no number" in w)
    assert "the first in line 703: 'x'" in said


def test_samples_beyond_the_memory_limit_are_read_back_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    log = log_of(5)
    whole = read(log)
    monkeypatch.setattr(store, "MEMORY_BYTES", 2000)
    monkeypatch.setattr(parse, "BLOCK_BYTES", 3000)
    same(read(log), whole)


def test_a_run_in_parts_has_the_flags_and_sentences_of_the_whole(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Faults lie across every border between parts; what is around a part is in sight."""
    rows = []
    for i in range(6000):
        rpm = 3000 + 40 * (i % 13)
        pressure = 300.0 + i % 7
        if 1900 <= i < 2150 or 3990 <= i < 4010:
            pressure = 1400.0
        coolant = f"{80 + (i % 400) / 20:.1f}" if i % 10 == 0 else ""
        rows.append((f"{i / 20:.2f}", rpm, f"{pressure:.1f}", coolant))
    log = csv_of(["time (s)", "RPM", "Oil Press [kPa]", "Coolant [°C]"], rows)
    whole = read(log)
    assert (whole.signals["oil_pressure"].flags[1900:2150] == BAD).all()
    monkeypatch.setattr(reading, "MOST_SAMPLES", 1000)
    same(read(log), whole)


def test_many_channels_are_read_in_shorter_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    headers = ["time (s)", "rpm", *(f"sensor {n}" for n in range(298))]
    rows = [
        (f"{i / 10:.1f}", 2000 + i % 97, *((i * n) % 101 for n in range(298))) for i in range(300)
    ]
    run = read(csv_of(headers, rows))
    assert len(run.signals) == 299
    monkeypatch.setattr(reading, "PART_BYTES", 100_000)
    same(read(csv_of(headers, rows)), run)


def test_asking_for_a_column_does_not_read_it(monkeypatch: pytest.MonkeyPatch) -> None:
    log = parse.parse_log(source_of(log_of(1)), Instructions("NB-01"))
    with log.numbers.store as samples:

        def never(*_: object) -> None:
            raise AssertionError("it was read")

        monkeypatch.setattr(samples, "column", never)
        assert 1 in log.numbers
        assert 99 not in log.numbers
