import pytest

from babbitt.errors import LogRefusedError
from babbitt.ingest.text.decode import read_text
from babbitt.ingest.text.dialect import Dialect, find_dialect
from ingest_logs import source_of


def dialect_of(log: str) -> Dialect:
    return find_dialect(read_text(source_of(log)), "a.csv")


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_delimiter_is_found(delimiter: str) -> None:
    log = "time,rpm,boost\n0.0,1000,1.5\n0.1,1010,1.6\n".replace(",", delimiter)
    found = dialect_of(log)
    assert found.delimiter == delimiter
    assert found.headers == ("time", "rpm", "boost")
    assert found.decimal == "."


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_comma_is_found(delimiter: str) -> None:
    found = dialect_of("time|rpm\n0,0|1000\n0,1|1010,5\n".replace("|", delimiter))
    assert (found.delimiter, found.decimal) == (delimiter, ",")


def test_quoted_decimal_commas_between_commas_are_found() -> None:
    found = dialect_of('time,rpm\n"0,0","1000,5"\n"0,1","1010,5"\n')
    assert (found.delimiter, found.decimal, found.cells) == (",", ",", 2)


def test_quoted_thousands_are_not_taken_for_decimal_commas() -> None:
    assert dialect_of('time,rpm\n0,"7,512"\n1,"7,498"\n').decimal == "."


def test_two_columns_with_decimal_commas_are_no_comma_table() -> None:
    found = dialect_of("time;oil\n0;1,5\n1;2,5\n2;3,5\n")
    assert (found.delimiter, found.cells) == (";", 2)


def test_notes_above_the_header_are_kept_apart_and_lines_counted_from_one() -> None:
    found = dialect_of("Logger,7\nDate,2026-05-16\nTrack length,4.2,km\n\ntime,rpm\n0,1\n1,2\n")
    assert [note.cells[0] for note in found.notes] == ["Logger", "Date", "Track length"]
    assert (found.header_line, found.first_line) == (5, 6)


def test_units_row_is_found() -> None:
    found = dialect_of("time,rpm,oil pressure\ns,1/min,bar\n0,1,2\n1,2,3\n")
    assert found.units == ("s", "1/min", "bar")
    assert (found.header_line, found.first_line) == (1, 3)


def test_units_row_may_have_blanks_brackets_and_words_of_its_own() -> None:
    found = dialect_of("time,rpm,oil pressure,flow\n[s],,[bar],l/h\n0,1,2,3\n1,2,3,4\n")
    assert found.units == ("[s]", "", "[bar]", "l/h")


def test_header_of_unit_like_names_under_a_note_of_equal_width_is_the_header() -> None:
    found = dialect_of("Car,blue\ntime,rpm\n0,1\n1,2\n")
    assert found.headers == ("time", "rpm")
    assert found.units == ("", "")


@pytest.mark.parametrize("header", ["time,rpm,", "time,rpm"])
def test_trailing_delimiter_makes_no_column(header: str) -> None:
    found = dialect_of(f"{header}\n0,1,\n1,2,\n")
    assert (found.headers, found.cells) == (("time", "rpm"), 3)


def test_blank_last_column_with_a_name_is_a_column() -> None:
    assert dialect_of("time,rpm,gear\n0,1,\n1,2,\n").headers == ("time", "rpm", "gear")


def test_last_column_without_a_unit_is_not_a_trailing_delimiter() -> None:
    assert len(dialect_of("time,rpm,gear\ns,1/min,\n0,1,\n1,2,\n").headers) == 3


def test_comma_in_a_quoted_header_does_not_cut_it() -> None:
    assert dialect_of('time,"Oil Temp, °C"\n0,1\n1,2\n').headers == ("time", "Oil Temp, °C")


def test_rows_may_begin_with_blanks_of_slow_channels_and_hold_words() -> None:
    found = dialect_of("time,lap,a,b\n0,OUT,,\n1,OUT,1,2\n2,IN,3,4\n3,IN,3,4\n")
    assert found.first_line == 2
    assert found.textual == {1}


def test_first_row_is_where_the_text_says() -> None:
    text = read_text(source_of(b"note\n\ntime,rpm\r\n0.5,1\r\n0.6,2\r\n"))
    found = find_dialect(text, "a.csv")
    assert text.start[found.offset :].startswith(b"0.5,1")


def test_table_under_very_long_notes_is_found() -> None:
    notes = "a remark of no use\n" * 5000
    assert dialect_of(f"{notes}time,rpm\n0,1\n1,2\n").header_line == 5001


def test_why_says_what_was_decided() -> None:
    why = " ".join(dialect_of("time;rpm\ns;1/min\n0,5;1\n1,5;2\n").why)
    for said in ("semicolons", "Decimal mark: comma", "Header: line 1; rows from line 3", "line 2"):
        assert said in why


@pytest.mark.parametrize(
    ("log", "says"),
    [
        ("time,rpm\n", "there is a header in line 1 and not one sample under it"),
        ("made by,x\n\nTime (s);RPM\n", "there is a header in line 3 and not one sample under it"),
        ("Dear Sir,\nno log here\n", "no table of numbers with commas, semicolons or tabs"),
        ("0,1\n1,2\n2,3\n", "no line above line 1, the first with numbers, names its 2 columns"),
        ("note\n0,1,2\n1,2,3\n", "no line above line 2, the first with numbers"),
        ("time,rpm\n0,5,1000,5\n0,6,1001,5\n", "names its 4 columns"),
    ],
)
def test_log_without_a_table_is_refused(log: str, says: str) -> None:
    with pytest.raises(LogRefusedError, match=says):
        dialect_of(log)


def test_row_of_groups_is_neither_header_nor_note() -> None:
    found = dialect_of("note,1\n,Engine,,Gearbox\ntime,rpm,oil temp,oil temp\n0,1,2,3\n1,2,3,4\n")
    assert found.headers == ("time", "Engine rpm", "Engine oil temp", "Gearbox oil temp")
    assert (found.header_line, found.first_line) == (3, 4)
    assert [note.cells[0] for note in found.notes] == ["note"]
    assert "Groups: in line 2, put before the names." in found.why


@pytest.mark.parametrize(
    "above", ["Vehicle,Car 7,,", "Engine,NB-01,,", "Rev 3,a,b,c", "Driver,A,B,C", "Engine,,,"]
)
def test_note_as_wide_as_the_table_is_no_row_of_groups(above: str) -> None:
    found = dialect_of(f"{above}\ntime,rpm,boost,gear\n0,1,2,3\n1,2,3,4\n")
    assert found.headers == ("time", "rpm", "boost", "gear")
    assert len(found.notes) == 1


def test_last_columns_may_have_no_name_unless_decimal_commas_cut_them() -> None:
    assert dialect_of("time,rpm\n0.5,1,7\n0.6,2,8\n").headers == ("time", "rpm", "")
    assert dialect_of("time;rpm\n5;1;7\n6;2;8\n").headers == ("time", "rpm", "")
    with pytest.raises(LogRefusedError, match="names its 3 columns"):
        dialect_of("time,rpm\n5,1,7\n6,2,8\n")


def test_two_words_of_a_note_are_no_header_above_units() -> None:
    found = dialect_of("Sample rate,100 Hz\nSample,RPM\n1,900\n2,910\n")
    assert found.headers == ("Sample", "RPM")


def test_headers_are_tidied_and_cut_off() -> None:
    found = dialect_of(f'time,"Oil\n Press [kPa]",{"x" * 300}\n0.5,1,2\n0.6,2,3\n')
    assert found.headers[:2] == ("time", "Oil Press [kPa]")
    assert len(found.headers[2]) < 100
    assert found.first_line == 3


def test_grouped_thousands_are_numbers_of_a_row() -> None:
    found = dialect_of("time;rpm\n0,5;7 512\n0,6;7 498\n")
    assert (found.decimal, found.grouping, found.textual) == (",", " ", frozenset())


def test_few_rows_in_the_first_bytes_make_it_look_further() -> None:
    wide = ",".join(f"c{i}" for i in range(2000))
    row = ",".join("1.5" for _ in range(2000))
    assert len(dialect_of(f"time,{wide}\n" + f"0,{row}\n" * 30).rows) == 30


def test_marks_that_come_once_the_engine_runs_are_found() -> None:
    still = "".join(f"{i / 10},0,0\n" for i in range(3000))
    running = "".join(f'{300 + i / 10},"{1000 + i:,}",1\n' for i in range(2000))
    assert dialect_of("time,rpm,gear\n" + still + running).grouping == ","
