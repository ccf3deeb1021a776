import numpy as np
import pyarrow as pa
import pytest

from babbitt.ingest.text.numerals import find_marks, is_blank, is_number, read_numbers


@pytest.mark.parametrize(
    ("cells", "delimiter", "decimal", "grouping"),
    [
        (["0.5", "1.5"], ",", ".", ""),
        (["0,5", "1,5"], ";", ",", ""),
        (["7.512", "7.498"], ";", ".", ""),
        (["7,512", "7,498"], ";", ",", ""),
        (["7,512", "7,498"], ",", ".", ","),
        (["0,100", "7,498"], ",", ",", ""),
        (["7.512,5", "998,5"], ";", ",", "."),
        (["7,512.5", "998.5"], "\t", ".", ","),
        (["1.234.567", "12"], ";", ",", "."),
        (["0.5", "7,512"], ";", ".", ","),
        (["0,5", "7.512"], ";", ",", "."),
        (["7 512", "0,5"], ";", ",", " "),
        (["7\u00a0512,5", "0,5"], ";", ",", "\u00a0"),
        (["7'512.5", "0.5"], ",", ".", "'"),
        (["998", "1.002", "7.498"], ";", ",", "."),
        (["99", "99.125", "98.875"], ";", ".", ""),
        (["1000", "1.002"], ";", ".", ""),
        (["12", "7"], ",", ".", ""),
        ([], ",", ".", ""),
    ],
)
def test_marks_are_found_by_what_cannot_be_otherwise(
    cells: list[str], delimiter: str, decimal: str, grouping: str
) -> None:
    marks = find_marks([cells], delimiter)
    assert (marks.decimal, marks.grouping) == (decimal, grouping)


def test_why_shows_an_example_of_grouped_thousands() -> None:
    assert "Thousands: grouped, as in '7,512'." in find_marks([["7,512"], ["0.5"]], ",").why


def test_numbers_grouped_by_the_rarer_of_two_marks_are_damage() -> None:
    marks = find_marks([["1,234.5", "2,345.5", "1.234,5"]], ";")
    assert (marks.decimal, marks.grouping) == (".", ",")
    values, wrong = read_numbers(pa.array(["1,234.5", "1.234,5"]), pa.float64(), ".", ",")
    assert values[0] == 1234.5
    assert wrong.tolist() == [False, True]


def test_numbers_blanks_and_neither_are_told_apart() -> None:
    cells = pa.array(["-7 512,5", " 3 ", "1e3", "", None, "####", "N/A", "7 51", "off", "1,2,3"])
    values, wrong = read_numbers(cells, pa.float32(), ",", " ")
    assert values.dtype == np.float32
    assert values[:3].tolist() == [-7512.5, 3.0, 1000.0]
    assert np.isnan(values[3:]).all()
    assert wrong.tolist() == [False] * 7 + [True] * 3


@pytest.mark.parametrize("cell", ["1", "-1.5", ".5", "5.", "1e-3", "7,512", "7 512.5", "1.234.567"])
def test_number_in_any_way_of_writing(cell: str) -> None:
    assert is_number(cell)


@pytest.mark.parametrize("cell", ["", "-", "1 2", "12:30", "0 512", "1,2,3", "abc", "1e", "٣"])
def test_what_is_no_number(cell: str) -> None:
    assert not is_number(cell)


@pytest.mark.parametrize("cell", ["", "-", "NaN", "N/A", "#", "########"])
def test_blank_cells(cell: str) -> None:
    assert is_blank(cell)
