"""Logs whose time is written in every way, and those that were interrupted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from babbitt.logbook.settings import Profile
from dialects.form import COUNT, HOT, NAMES, PLAIN, RPM, START, TIME_S, Form, rows, stamps, text

BERLIN = ZoneInfo("Europe/Berlin")


def clocks() -> list[Form]:
    clock = ("Time", *NAMES[1:])
    before_midnight = START.replace(hour=23, minute=59, second=58, microsecond=500_000)
    end_of_month = START.replace(day=31, hour=23, minute=59, second=58, microsecond=500_000)
    summer_ends = datetime(2026, 10, 25, 0, 59, 58, 500_000, tzinfo=UTC)
    summer_begins = datetime(2026, 3, 29, 0, 59, 58, 500_000, tzinfo=UTC)
    twice = text(
        [("Date", *clock), *[["05/06/2026", *row] for row in rows(stamps("%H:%M:%S.%f"))]]
    ).encode()
    short_year = text([clock, *rows(stamps("%y-%m-%d %H:%M:%S.%f"))]).encode()
    started = {"started": START}
    seconds = START.timestamp()
    whole = [*rows(lambda i: f"{i // 10 + 1000}"), *rows(lambda i: f"{i // 10 + 1003}")[::-1]]
    for i, row in enumerate(whole[COUNT:]):
        row[0] = f"{i // 10 + 1003}"
    return [
        Form(
            "plural_time",
            "a time column by a plural name, in milliseconds since 1970",
            text(
                [
                    ("timestamps", *NAMES[1:]),
                    *rows(lambda i: f"{seconds * 1000 + i * 100:.0f}"),
                ]
            ).encode(),
            PLAIN,
            started=START,
        ),
        Form(
            "compound_time_nanoseconds",
            "a time column by a compound name, in nanoseconds since 1970",
            text(
                [
                    ("run_time", *NAMES[1:]),
                    *rows(lambda i: f"{int(seconds) * 10**9 + i * 10**8}"),
                ]
            ).encode(),
            PLAIN,
            started=START,
        ),
        Form(
            "epoch_seconds_stated",
            "seconds since 1970, with their unit in the header",
            text([NAMES, *rows(lambda i: f"{seconds + i / 10:.1f}")]).encode(),
            PLAIN,
            started=START,
        ),
        Form(
            "coarse_clock",
            "a clock of whole seconds for ten samples a second",
            text([NAMES, *whole]).encode(),
            {name: np.concatenate([v, v[::-1]]) for name, v in PLAIN.items()},
            np.arange(2 * COUNT) / 10,
            warned="Its clock tells only steps of 1 s, too coarse to order samples",
        ),
        Form(
            "one_instant",
            "a clock so coarse that all rows share an instant",
            text([NAMES, *rows(lambda i: "1778940000")]).encode(),
            refused="all its 30 rows stand at one instant",
        ),
        Form(
            "one_instant_and_rate",
            "the same, with the rate stated",
            text([NAMES, *rows(lambda i: "1778940000")]).encode(),
            PLAIN,
            given={"units": {"time": "10 Hz"}},
        ),
        Form(
            "milliseconds",
            "time in milliseconds",
            text([("Time [ms]", *NAMES[1:]), *rows(lambda i: f"{i * 100}")]).encode(),
            PLAIN,
        ),
        Form(
            "time_without_unit",
            "time in whole numbers that may be milliseconds or seconds",
            text([clock, *rows(lambda i: f"{i * 100}")]).encode(),
            refused="may be milliseconds or seconds",
        ),
        Form(
            "clock_over_midnight",
            "a clock without a date, over midnight",
            text([clock, *rows(stamps("%H:%M:%S.%f", before_midnight))]).encode(),
            PLAIN,
        ),
        Form(
            "iso_utc",
            "ISO 8601 in UTC",
            text([clock, *rows(stamps("%Y-%m-%dT%H:%M:%S.%fZ"))]).encode(),
            PLAIN,
            started=START,
        ),
        Form(
            "iso_offset",
            "ISO 8601 with an offset from UTC",
            text(
                [clock, *rows(stamps("%Y-%m-%dT%H:%M:%S.%f+02:00", START + timedelta(hours=2)))]
            ).encode(),
            PLAIN,
            started=START,
        ),
        Form(
            "date_apart",
            "a column of dates and one of clock times, over midnight",
            text(
                [
                    ("Date", *clock),
                    *[
                        [stamps("%Y-%m-%d", before_midnight)(i), *row]
                        for i, row in enumerate(rows(stamps("%H:%M:%S.%f", before_midnight)))
                    ],
                ]
            ).encode(),
            PLAIN,
            started=before_midnight,
        ),
        Form(
            "date_beside_elapsed",
            "a column of dates beside seconds elapsed, the clock time in a note",
            text(
                [
                    ("Start time", "14:05:06"),
                    ("Date", *NAMES),
                    *[["16 May 2026", *row] for row in rows()],
                ]
            ).encode(),
            PLAIN,
            started=START,
        ),
        Form(
            "am_pm",
            "clock times with AM and PM, over noon",
            text(
                [
                    clock,
                    *rows(
                        stamps(
                            "%Y-%m-%d %I:%M:%S.%f %p", START.replace(hour=11, minute=59, second=58)
                        )
                    ),
                ]
            ).encode(),
            PLAIN,
            started=START.replace(hour=11, minute=59, second=58),
        ),
        Form(
            "day_first_by_the_31st",
            "dates in figures whose order the 31st settles",
            text([clock, *rows(stamps("%d/%m/%Y %H:%M:%S.%f", end_of_month))]).encode(),
            PLAIN,
            started=end_of_month,
        ),
        Form(
            "day_or_month_first",
            "a date that may be day-first or month-first",
            twice,
            refused="may be 5 June 2026 or 6 May 2026: say which is meant",
        ),
        Form(
            "month_first_said",
            "the same, with the order in a profile",
            twice,
            PLAIN,
            started=START.replace(month=5, day=6),
            given={"profile": Profile(dates="month-first")},
        ),
        Form(
            "two_digit_year",
            "a year of two digits that may be a day",
            short_year,
            refused="may be 26 May 2016 or 16 May 2026",
        ),
        Form(
            "two_digit_year_said",
            "the same, with the start stated",
            short_year,
            PLAIN,
            started=START,
            given=started,
        ),
        Form(
            "summer_time_ends",
            "a clock that goes back an hour as summer time ends",
            text([clock, *rows(stamps("%Y-%m-%d %H:%M:%S.%f", summer_ends, BERLIN))]).encode(),
            PLAIN,
            started=summer_ends,
            given={"zone": BERLIN},
        ),
        Form(
            "summer_time_begins",
            "a clock that goes on an hour as summer time begins",
            text([clock, *rows(stamps("%Y-%m-%d %H:%M:%S.%f", summer_begins, BERLIN))]).encode(),
            PLAIN,
            started=summer_begins,
            given={"zone": BERLIN},
        ),
    ]


def samples() -> list[Form]:
    rate = ("Sample rate", "10 Hz")
    numbered = ("Sample", *NAMES[1:])
    lost = [row for i, row in enumerate(rows(lambda i: f"{1000 + i}")) if not 10 <= i < 20]
    kept = np.r_[0:10, 20:COUNT]
    slow_s = np.arange(6) / 2 + 0.03
    apart = [
        [*row[:2], *(("", "") if i >= 6 else (f"{slow_s[i]:.2f}", f"{HOT[i]:.2f}"))]
        for i, row in enumerate(rows())
    ]
    both_s = np.unique(np.concatenate([TIME_S, slow_s]))
    merged = {
        "rpm": np.interp(both_s, TIME_S, RPM),
        "oil_temperature": np.where(
            (both_s >= slow_s[0]) & (both_s <= slow_s[-1]),
            np.interp(both_s, slow_s, HOT[:6]),
            np.nan,
        ),
    }
    return [
        Form(
            "sample_numbers",
            "numbers of samples and a rate in the notes, some samples lost",
            text([rate, numbered, *lost]).encode(),
            {name: values[kept] for name, values in PLAIN.items()},
            TIME_S[kept],
            warned="gap",
        ),
        Form(
            "no_time",
            "no time at all, and an interval in the notes",
            text([("Interval [ms]", "100"), NAMES[1:], *[row[1:] for row in rows()]]).encode(),
            PLAIN,
        ),
        Form(
            "no_time_nor_rate",
            "numbers of samples without a rate",
            text([numbered, *rows(lambda i: f"{i}")]).encode(),
            refused="no column is named as time",
        ),
        Form(
            "own_times",
            "each channel behind a time column of its own, at its own rate",
            text([("Time [s]", "RPM", "Time [s]", "Oil Temp [°C]"), *apart]).encode(),
            merged,
            both_s,
        ),
        Form(
            "own_times_named",
            "the same, each time column named after its channel",
            text([("t RPM [s]", "RPM", "t Oil Temp [s]", "Oil Temp [°C]"), *apart]).encode(),
            merged,
            both_s,
        ),
    ]


def endings() -> list[Form]:
    elapsed = [NAMES, *rows()]
    back = [[first[0], *other[1:]] for first, other in zip(rows(), rows()[::-1], strict=True)]
    there_and_back = {name: np.concatenate([v, v[::-1]]) for name, v in PLAIN.items()}
    later_s = np.concatenate([TIME_S, TIME_S + TIME_S[-1] + 10])
    other = [[f"{1.5 + i / 10:.1f}", "900", "1", "1"] for i in range(9)]
    block = rows()
    shuffled = [*block[:7], block[9], block[7], block[8], *block[10:]]
    noted = [("Start", "2026-05-16 14:05:06"), ("Unit", "3")]
    again = [("Start", "2026-05-16 14:15:06"), ("Unit", "3")]
    clock = ("Time", *NAMES[1:])
    dated = [clock, *rows(stamps("%Y-%m-%d %H:%M:%S.%f"))]
    later = [clock, *rows(stamps("%Y-%m-%d %H:%M:%S.%f", START + timedelta(minutes=10)))]
    twice = {name: np.concatenate([values, values]) for name, values in PLAIN.items()}
    gap_s = np.concatenate([TIME_S, TIME_S + 600])
    sums = [("Min", "870", "320.00", "88.00"), ("Max", "1943", "392.50", "95.25"), ("end of log",)]
    zeros = [["0.0", "0", "0.00", "0.00"]] * 5
    whole = text(elapsed).encode()
    return [
        Form(
            "restarted_by_date",
            "a logger restarted: its header comes again, the dates go on",
            text([*dated, *later]).encode(),
            twice,
            gap_s,
            START,
            warned="gap",
        ),
        Form(
            "restarted_by_notes",
            "a logger restarted: its notes and header come again, its time from zero",
            text([*noted, *elapsed, *again, *elapsed]).encode(),
            twice,
            gap_s,
            START,
            warned="gap",
        ),
        Form(
            "restarted_without_clock",
            "the same, and no start is noted",
            text([*elapsed, NAMES, *back]).encode(),
            there_and_back,
            later_s,
            warned="The logger was restarted without a clock in line 33",
        ),
        Form(
            "restarted_from_zero",
            "time starts again at zero, without a header",
            text([*elapsed, *back]).encode(),
            there_and_back,
            later_s,
            warned="The logger was restarted without a clock in line 32",
        ),
        Form(
            "sent_twice",
            "a block of rows sent twice",
            text([NAMES, *block[:20], *block[8:20], *block[20:]]).encode(),
            PLAIN,
            warned="12 rows were sent twice (from line 22 on)",
        ),
        Form(
            "whole_log_twice",
            "the whole log twice, its header, too",
            text([*elapsed, *elapsed]).encode(),
            PLAIN,
            warned="30 rows were sent twice (from line 33 on)",
        ),
        Form(
            "out_of_order",
            "rows out of order within a second",
            text([NAMES, *shuffled]).encode(),
            PLAIN,
            warned="2 rows stood out of order by up to 0.2 s (the first in line 10)",
        ),
        Form(
            "clock_set_back",
            "time goes back, to where neither the log began nor the same rows stand",
            text([*elapsed, *other]).encode(),
            refused="time runs backwards in line 32, by 1.4 s",
        ),
        Form(
            "other_columns",
            "a header of other columns comes",
            text([*elapsed, (NAMES[0], NAMES[2], NAMES[1], NAMES[3]), *rows()]).encode(),
            refused="in line 32 a header of other columns comes",
        ),
        Form(
            "sums_below",
            "sums and a remark below the rows",
            text([*elapsed, *sums]).encode(),
            PLAIN,
            warned="The last 3 lines, from line 32 on, are no samples",
        ),
        Form(
            "unfilled_rows",
            "constant rows at the end, of a file laid out before it was filled",
            text([*elapsed, *zeros]).encode(),
            PLAIN,
            warned="The last 5 lines, from line 32 on, are no samples",
        ),
        Form(
            "cut_off",
            "the last row cut off as the power went",
            whole[:-9],
            {name: values[:-1] for name, values in PLAIN.items()},
            TIME_S[:-1],
            warned="line 31",
        ),
        Form(
            "zero_bytes",
            "zero bytes at the end, as the power went",
            whole + bytes(512),
            PLAIN,
            warned="Zero bytes",
        ),
    ]
