from dataclasses import dataclass

import numpy as np
import pytest

from babbitt.errors import LogRefusedError
from babbitt.ingest.text.cells import CellReader, Rows
from babbitt.ingest.text.decode import read_text
from babbitt.ingest.text.dialect import find_dialect
from babbitt.model.run import ChannelArray, FloatArray
from ingest_logs import csv_of, ramp, read, refused, source_of


@dataclass
class Table:
    rows: int
    time: FloatArray
    numbers: dict[int, ChannelArray]
    texts: tuple[int, ...]
    warnings: tuple[str, ...]
    blocks: list[Rows]


def cells_of(log: str | bytes, size: int = 1 << 20) -> Table:
    text = read_text(source_of(log))
    dialect = find_dialect(text, "a.csv")
    reader = CellReader(dialect, "a.csv", exact=[0])
    blocks = [
        reader.read(b.data, b.first_line)
        for b in text.blocks(dialect.offset, dialect.first_line, size)
    ]
    texts, blanks, warnings = reader.finish()
    numbers = {
        i: np.concatenate([block.numbers[i] for block in blocks])
        for i in reader.columns
        if i not in texts and i not in blanks
    }
    time = np.concatenate([block.exact[0] for block in blocks])
    return Table(reader.count, time, numbers, texts, warnings, blocks)


def test_numbers_are_read_as_float32_and_time_as_float64() -> None:
    table = cells_of("time,rpm\n1000000.001,1.5\n1000000.002,2.5\n")
    assert table.time.dtype == np.float64
    assert table.time.tolist() == [1000000.001, 1000000.002]
    assert table.numbers[1].dtype == np.float32
    assert table.numbers[1].tolist() == [1.5, 2.5]


@pytest.mark.parametrize("cell", ["", "-", "NaN", "N/A", "####", '""'])
def test_cells_that_stand_for_nothing_are_missing(cell: str) -> None:
    table = cells_of(f"time,rpm,boost\n0,1,1\n1,{cell},2\n2,3,3\n")
    assert np.isnan(table.numbers[1]).tolist() == [False, True, False]
    assert table.warnings == ()


def test_infinite_number_is_missing() -> None:
    assert np.isnan(cells_of("time,rpm\n0,1\n1,inf\n2,1e39\n3,2\n").numbers[1]).tolist() == [
        False,
        True,
        True,
        False,
    ]


def test_cell_that_is_no_number_is_missing_and_told_with_its_line() -> None:
    table = cells_of("note\ntime,rpm,boost\n0,1,1\n\n1,ERR,2\n2,err,3\n3,4,5\n4,5,6\n5,6,7\n")
    assert np.isnan(table.numbers[1]).tolist() == [False, True, True, False, False, False]
    assert table.numbers[2].tolist() == [1, 2, 3, 5, 6, 7]
    assert table.warnings == (
        "Column 'rpm': 2 cells are no numbers, and missing (the first in line 5: 'ERR').",
    )


def test_column_of_text_is_told_apart() -> None:
    table = cells_of("time,lap,rpm\n0,OUT,1\n1,OUT,2\n2,,3\n")
    assert table.texts == (1,)
    assert set(table.numbers) == {2}


def test_column_that_turns_to_numbers_after_the_head_is_read() -> None:
    rows = [f"{i},{'no fix' if i < 9000 else i},{i}" for i in range(20_000)]
    table = cells_of("time,speed,rpm\n" + "\n".join(rows))
    assert table.texts == ()
    assert table.numbers[1][9000:].tolist() == list(range(9000, 20_000))
    assert "9,000 cells are no numbers" in table.warnings[0]


@pytest.mark.parametrize(
    "log", ['time,rpm\n0,"7,512"\n1,"7,498"\n', "time;rpm\n0,5;7.512,0\n1,5;998,5\n2,5;999,5\n"]
)
def test_thousands_separators_are_never_read_as_decimal_marks(log: str) -> None:
    table = cells_of(log)
    assert table.numbers[1][0] == 7512.0


def test_quoted_decimal_commas_are_numbers() -> None:
    table = cells_of('time;rpm\r\n"0,5";"1000,5"\r\n"1,5";" 1010,5 "\r\n')
    assert table.time.tolist() == [0.5, 1.5]
    assert table.numbers[1].tolist() == [1000.5, 1010.5]


def test_text_in_windows_1252_beyond_the_head_does_no_harm() -> None:
    rows = b"".join(b"%d,ok,%d\n" % (i, i) for i in range(200_000))
    table = cells_of(b"time,state,rpm\n" + rows + b"200000,g\xe9n\xe9,x\n")
    assert table.rows == 200_001
    assert table.texts == (1,)
    assert "line 200002: 'x'" in table.warnings[0]


def test_rows_of_another_length_are_left_out_and_told_with_the_first_line() -> None:
    lines = [f"{i},{i}" for i in range(300)]
    lines[120] = "120,1,1"
    lines[200] = "200"
    table = cells_of("note\ntime,rpm\n\n" + "\n".join(lines) + "\n")
    assert table.rows == 298
    assert 120.0 not in table.numbers[1]
    assert table.warnings == (
        "2 rows were left out for having more or fewer than 2 cells (the first in line 124).",
    )
    assert [table.blocks[0].line_of(row) for row in (0, 119, 120, 297)] == [4, 123, 125, 303]


def test_one_row_cut_off_by_lost_power_is_let_pass() -> None:
    run = read(csv_of(["time", "rpm"], ramp(20)) + "2.0")
    assert len(run.time_s) == 20
    assert "1 row was left out for having more or fewer than 2 cells (the first in line 22)." in (
        run.info.warnings
    )


def test_many_ragged_rows_are_refused() -> None:
    log = csv_of(["time", "rpm"], ramp(100)) + "11,1,1\n12\n"
    assert "2 of 102 rows do not have the 2 cells of the others, the first in line 102" in str(
        refused(log)
    )


def test_row_too_long_to_parse_is_refused_in_a_sentence() -> None:
    log = "time,rpm\n" + "0,1\n" * 5 + '1,"' + "x" * 3_000_000 + '"\n'
    with pytest.raises(LogRefusedError, match="its rows cannot be told apart"):
        cells_of(log)
