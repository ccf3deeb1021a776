from datetime import UTC, date, timedelta, timezone

import pytest

from babbitt.ingest.text.dialect import Line
from babbitt.ingest.time.dates import (
    Moment,
    ambiguous_date,
    note_of_start,
    read_date,
    read_dates,
    read_moment,
    zone_of,
)


def notes(*lines: tuple[str, ...]) -> list[Line]:
    return [Line(number, cells, 0, len(cells)) for number, cells in enumerate(lines, 1)]


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("2026-05-16", [date(2026, 5, 16)]),
        ("2026/5/6", [date(2026, 5, 6)]),
        ("20260516", [date(2026, 5, 16)]),
        ("16.05.2026", [date(2026, 5, 16)]),
        ("05/16/2026", [date(2026, 5, 16)]),
        ("5/5/2026", [date(2026, 5, 5)]),
        ("16 May 2026", [date(2026, 5, 16)]),
        ("16-May-2026", [date(2026, 5, 16)]),
        ("May 16, 2026", [date(2026, 5, 16)]),
        ("04/03/2026", [date(2026, 3, 4), date(2026, 4, 3)]),
        ("16.05.69", [date(1969, 5, 16)]),
        ("16/05/26", [date(2026, 5, 16), date(2016, 5, 26)]),
        ("5/6/07", [date(2007, 6, 5), date(2007, 5, 6)]),
        ("03-04-05", [date(2005, 4, 3), date(2005, 3, 4), date(2003, 4, 5)]),
        ("16-May-26", [date(2026, 5, 16)]),
        ("31.02.2026", []),
        ("16 Ma 2026", []),
        ("16/05-2026", []),
        ("0026-05-16", []),
        ("soon", []),
    ],
)
def test_date_has_every_reading_that_it_can_have(text: str, readings: list[date]) -> None:
    assert list(read_date(text, None)) == readings


def test_stated_order_settles_a_date() -> None:
    assert read_date("04/03/2026", "day-first") == (date(2026, 3, 4),)
    assert read_date("04/03/2026", "month-first") == (date(2026, 4, 3),)
    assert read_date("16/05/2026", "month-first") == ()
    assert read_date("26-05-16", "year-first") == (date(2026, 5, 16),)
    assert read_date("2026-05-16", "month-first") == (date(2026, 5, 16),)


def test_one_date_settles_the_order_of_all() -> None:
    assert read_dates(["12/05/2026", "13/05/2026"], None) == (
        (date(2026, 5, 12),),
        (date(2026, 5, 13),),
    )
    assert [len(each) for each in read_dates(["11/05/2026", "12/05/2026", "soon"], None)] == [
        2,
        2,
        0,
    ]


def test_refusal_of_a_date_names_its_readings_and_what_settles_it() -> None:
    error = ambiguous_date("03-04-05", read_date("03-04-05", None), 7, "a.csv")
    for said in ("'03-04-05' in line 7", "3 April 2005 or 4 March 2005 or 5 April 2003"):
        assert said in str(error)
    assert [each.value for each in error.remedies] == ["day-first", "month-first", "year-first"]


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-05-16", Moment(1, "2026-05-16", None, None)),
        ("2026-05-16 14:05:06.5", Moment(1, "2026-05-16", 50706.5, None)),
        ("2026-05-16T14:05:06Z", Moment(1, "2026-05-16", 50706.0, UTC)),
        (
            "2026-05-16T14:05:06+02:00",
            Moment(1, "2026-05-16", 50706.0, timezone(timedelta(hours=2))),
        ),
        ("Saturday, 16 May 2026, 14:05", Moment(1, "16 May 2026", 50700.0, None)),
        ("14:05:06,25", Moment(1, "", 50706.25, None)),
        ("14:05", Moment(1, "", 50700.0, None)),
        ("2:05:06 PM", Moment(1, "", 50706.0, None)),
        ("12:05 a.m.", Moment(1, "", 300.0, None)),
        ("16/05/26 12:00 pm", Moment(1, "16/05/26", 43200.0, None)),
    ],
)
def test_moment_is_a_date_a_clock_time_or_both(text: str, moment: Moment) -> None:
    assert read_moment(text, 1) == moment


@pytest.mark.parametrize("text", ["", "Someone 3", "100", "3.14", "blue", "-"])
def test_other_text_is_no_moment(text: str) -> None:
    assert read_moment(text, 1) is None


@pytest.mark.parametrize(
    ("text", "hours"), [("Z", 0), ("UTC", 0), ("+02:00", 2), ("-0530", -5.5), ("+09", 9)]
)
def test_zone_is_its_offset(text: str, hours: float) -> None:
    assert zone_of(text).utcoffset(None) == timedelta(hours=hours)


def test_date_and_clock_of_two_notes_are_put_together() -> None:
    found = note_of_start(notes(("Driver", "A"), ("Date", "2026-05-16"), ("Time", "14:05:06")))
    assert found == Moment(2, "2026-05-16", 50706.0, None)


@pytest.mark.parametrize(
    "line", [("# Recorded: 2026-05-16 14:05:06",), ("Session start", "2026-05-16", "14:05:06")]
)
def test_start_in_one_note_is_found(line: tuple[str, ...]) -> None:
    assert note_of_start(notes(("Date", "2020-01-01"), line)) == Moment(
        2, "2026-05-16", 50706.0, None
    )


def test_notes_of_other_things_start_nothing() -> None:
    assert note_of_start(notes(("Birthday", "2026-05-16"), ("Best lap", "1:45.2"))) is None
    assert note_of_start([]) is None
