import pytest

from babbitt.ingest.text.decode import read_text
from babbitt.ingest.text.dialect import find_dialect
from babbitt.ingest.text.footer import Footer, find_footer
from ingest_logs import source_of

HEADER = "time,rpm,boost\n"
ROWS = "".join(f"{5 + i / 10},{1000 + i},{i}\n" for i in range(30))


def footer_of(rows: str, header: str = HEADER, time: int | None = 0) -> Footer:
    log = (header + rows).encode()
    dialect = find_dialect(read_text(source_of(log)), "a.csv")
    return find_footer(log[dialect.offset :], dialect.first_line, dialect, time)


@pytest.mark.parametrize(
    "footer",
    [
        "end of log\n",
        "\nSamples: 30\n",
        "Min,1000,0\nMax,1029,29\n",
        ",1014.5,14.5\n",
        "Average,1014.5,\n\nchecked by,someone,\n",
        "0.0,0,0\n" * 3,
        "0.0,0,0\n",
        "0.0,0,0\nend of log",
    ],
)
def test_lines_below_the_rows_are_found(footer: str) -> None:
    found = footer_of(ROWS + footer)
    assert (HEADER + ROWS + footer).encode()[len(HEADER) :][: found.offset].strip() == (
        ROWS.strip().encode()
    )
    assert found.lines == len([line for line in footer.splitlines() if line])
    assert found.sentence().endswith("left out.")


@pytest.mark.parametrize(
    "end",
    [
        "",
        "8.0,1030",
        "8.0,1030,\n",
        "8.0,,\n",
        "8.0,1030,30\n" * 3,
        "8.0,0,0\n",
        "7.95,0,0\n8.0,0,0\n",
    ],
)
def test_rows_to_the_end_are_left_alone(end: str) -> None:
    found = footer_of(ROWS + end)
    assert (found.offset, found.lines) == (len(ROWS + end), 0)
    assert found.sentence() == ""


def test_footer_names_its_lines() -> None:
    assert footer_of(ROWS + "Min,1,2\nMax,3,4\n").sentence() == (
        "The last 2 lines, from line 32 on, are no samples; left out."
    )
    assert footer_of(ROWS + "end\n").sentence() == "The last line, line 32, is no sample; left out."


def test_long_footer_is_found_to_its_first_line() -> None:
    found = footer_of(ROWS + "0.0,0,0\n" * 2000)
    assert (found.offset, found.lines, found.first_line) == (len(ROWS), 2000, 32)


@pytest.mark.parametrize(
    "stamp", ["00:05.{i:03d}", "14:05:06.{i:03d}", "2026-05-16T14:05:06.{i:03d}Z", "{i} ticks"]
)
def test_times_of_any_sort_are_no_footer(stamp: str) -> None:
    rows = "".join(f"{stamp.format(i=i)},{1000 + i},{i}\n" for i in range(30))
    assert footer_of(rows).lines == 0


def test_still_engine_just_after_midnight_is_no_footer() -> None:
    rows = "".join(f"23:59:{10 + i},{1000 + i},{i}\n" for i in range(30))
    assert footer_of(rows + "00:00:00,0,0\n").lines == 0


def test_without_a_time_column_only_text_is_a_footer() -> None:
    assert footer_of(ROWS + "end,of,log\n", time=None).lines == 1
    assert footer_of(ROWS + "Min,1000,0\n", time=None).lines == 0
