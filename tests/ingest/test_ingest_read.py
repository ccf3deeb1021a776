import contextlib
import gc
import mmap
from pathlib import Path

import numpy as np
import pytest

from babbitt.errors import LogRefusedError
from babbitt.ingest.preview import preview_log
from babbitt.ingest.read import Instructions, ReadSource, read_log
from babbitt.model.run import BAD, GOOD, run_from_table, run_to_table
from ingest_logs import MODIFIED, csv_of, preview, ramp, read, refused, source_of

FULL = [
    "Time (s)",
    "RPM",
    "Oil Press [psi]",
    "Oil Temp [°C]",
    "Coolant Temp [°C]",
    "Boost [kPa]",
    "Lateral g",
]


def full_rows(count: int = 50) -> list[tuple[object, ...]]:
    return [
        (f"{i / 10:.1f}", 3000 + 7 * i, 60 + i % 3, 90 + i / 10, 80 + i / 10, i, i % 5 / 10)
        for i in range(count)
    ]


def test_whole_log_becomes_a_run() -> None:
    run = read(csv_of(FULL, full_rows()), started=MODIFIED)
    assert list(run.signals) == [
        "rpm",
        "oil_pressure",
        "oil_temperature",
        "coolant_temperature",
        "boost",
        "lateral_g",
    ]
    assert run.info.run_id == "r" + run.info.source_sha256[:15]
    assert (run.info.engine_id, run.info.source_name) == ("NB-01", "run7.csv")
    assert run.info.warnings == ()
    assert run.info.max_gap_s == 0.5
    for signal in run.signals.values():
        assert (signal.values.dtype, signal.flags.dtype) == (np.float32, np.uint8)
        assert set(signal.flags.tolist()) == {GOOD}
        assert signal.native_hz == pytest.approx(10.0)


def test_run_survives_its_table() -> None:
    run = read(csv_of(FULL, full_rows()))
    again = run_from_table(run_to_table(run))
    assert again.info == run.info
    np.testing.assert_array_equal(again.time_s, run.time_s)
    for name, signal in run.signals.items():
        np.testing.assert_array_equal(again.signals[name].values, signal.values)


def test_channels_keep_the_order_of_the_log() -> None:
    log = csv_of(["time", "gear", "oil press [bar]", "rpm"], [(0.0, 1, 3, 900), (0.1, 1, 4, 910)])
    assert list(read(log).signals) == ["gear", "oil_pressure", "rpm"]


def test_what_cannot_be_watched_is_said_once() -> None:
    run = read(csv_of(["time", "rpm", "boost [kPa]"], [(0.0, 900, 1), (0.1, 910, 2)]))
    assert run.info.warnings[-1] == (
        "Not in this log, so not watched: oil pressure (oil starvation, low oil pressure, dry "
        "start); oil temperature (oil overheat, cold load); coolant temperature (coolant "
        "overheat); lateral acceleration (oil starvation)."
    )


def test_text_and_blank_columns_are_left_out_and_named() -> None:
    rows = [(f"{i / 10}", 900 + i, "OUT", "") for i in range(9)]
    run = read(csv_of(["time", "rpm", "lap", "oil press [bar]"], rows))
    assert list(run.signals) == ["rpm"]
    assert "Left out as text, not numbers: 'lap'." in run.info.warnings
    assert "Left out as blank throughout: 'oil press [bar]'." in run.info.warnings


def test_faults_of_sensors_are_flagged_and_said() -> None:
    rows = full_rows(200)
    rows[100] = (*rows[100][:1], 15900, *rows[100][2:])
    run = read(csv_of(FULL, rows), started=MODIFIED)
    assert run.signals["rpm"].flags[100] == BAD
    assert any("Engine speed" in warning and "spike" in warning for warning in run.info.warnings)


def test_stuck_engine_speed_is_found_though_nothing_else_tells_that_it_turns() -> None:
    rows = [(i / 10, 3000 if 100 <= i < 400 else 3000 + i % 7) for i in range(500)]
    run = read(csv_of(["Time (s)", "RPM"], rows))
    assert set(run.signals["rpm"].flags[100:400].tolist()) == {BAD}
    assert any("Engine speed stuck at 3,000" in warning for warning in run.info.warnings)


def test_slow_channels_are_brought_to_the_rows_of_the_log() -> None:
    rows = [
        (f"{i / 10:.1f}", 3000 + i, f"{80 + i / 10:.1f}" if i % 5 == 0 else "") for i in range(51)
    ]
    coolant = read(csv_of(["time", "rpm", "coolant [C]"], rows)).signals["coolant_temperature"]
    np.testing.assert_allclose(coolant.values, 80 + np.arange(51) / 10, rtol=1e-6)
    assert coolant.native_hz == pytest.approx(2.0)


def test_gear_of_a_slow_channel_is_held() -> None:
    rows = [(f"{i / 10:.1f}", 3000 + i, 2 + i // 5 if i % 5 == 0 else "") for i in range(21)]
    gear = read(csv_of(["time", "rpm", "gear"], rows)).signals["gear"]
    assert gear.values.tolist() == [2 + i // 5 for i in range(21)]


@pytest.mark.parametrize(
    ("column", "says"),
    [("ON", "the column of rpm, 'rpm', holds text"), ("", "the column of rpm, 'rpm', is blank")],
)
def test_unusable_engine_speed_is_refused(column: str, says: str) -> None:
    assert says in str(
        refused(csv_of(["time", "rpm", "boost [kPa]"], [(i, column, i) for i in range(9)]))
    )


@pytest.mark.parametrize("log", ["", "time,rpm\n", "time,rpm\n0.0,1\n5.0,2\n3.0,2\n"])
def test_bytes_can_be_unmapped_after_a_refusal(log: str, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(log + " ")
    with path.open("rb") as file:
        mapped = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    view = memoryview(mapped)
    source = ReadSource("log.csv", view, "0" * 64, MODIFIED)
    with pytest.raises(LogRefusedError) as caught:
        read_log(source, Instructions("E"))
    with contextlib.suppress(LogRefusedError):
        preview_log(source, Instructions())
    assert str(caught.value).startswith("log.csv: ")
    view.release()
    mapped.close()


def test_bytes_can_be_unmapped_after_reading(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(csv_of(["time", "rpm"], ramp()))
    with path.open("rb") as file:
        mapped = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    view = memoryview(mapped)
    run = read_log(ReadSource("log.csv", view, "0" * 64, MODIFIED), Instructions("E"))
    gc.collect()
    view.release()
    mapped.close()
    assert run.signals["rpm"].values[1] == 2037.0


def test_same_bytes_are_the_same_run_whatever_they_are_called() -> None:
    log = csv_of(["time", "rpm"], ramp())
    source = source_of(log)
    other = ReadSource("other.csv", source.data, source.sha256, source.modified_at)
    instructions = Instructions("NB-01")
    assert read_log(source, instructions).info.run_id == read_log(other, instructions).info.run_id


def test_a_preview_agrees_with_what_is_read() -> None:
    log = csv_of(FULL, full_rows())
    run, found = read(log, started=MODIFIED), preview(log, started=MODIFIED)
    assert found.problems == ()
    assert found.started_at == run.info.started_at
    assert found.duration_s == run.duration_s
    assert found.dialect == run.info.dialect
    assert [view.name for view in found.columns] == ["time", *run.signals]
