from datetime import UTC, date, timedelta, timezone

import pytest

from pipeline.ingest.dates import Moment, note_of_start, read_date, read_moment, zone_of
from pipeline.ingest.dialect import Line


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
