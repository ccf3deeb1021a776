"""Logs whose table is written in every way: separators, headers, cells."""

from __future__ import annotations

import numpy as np

from dialects.form import COUNT, HOT, NAMES, OIL, PLAIN, RPM, TIME_S, Form, comma, rows, text


def separators() -> list[Form]:
    quoted = [[f'"{cell}"' for cell in row] for row in rows(number=comma)]
    for i, row in enumerate(quoted):
        row[0] = f'"{TIME_S[i]:.1f}"'.replace(".", ",")
    semicolons = rows(lambda i: f"{TIME_S[i]:.1f}".replace(".", ","), comma)
    plain = text([NAMES, *rows()])
    return [
        Form("commas", "commas, decimal points", plain.encode(), PLAIN),
        Form(
            "semicolons",
            "semicolons, decimal commas",
            text([NAMES, *semicolons], ";").encode(),
            PLAIN,
        ),
        Form("tabs", "tabs", text([NAMES, *rows()], "\t").encode(), PLAIN),
        Form(
            "quoted_commas",
            "decimal commas in quotes between commas",
            text([[f'"{name}"' for name in NAMES], *quoted]).encode(),
            PLAIN,
        ),
        Form(
            "trailing_delimiter",
            "every line ends in a delimiter",
            text([[*cells, ""] for cells in (NAMES, *rows())]).encode(),
            PLAIN,
        ),
        Form(
            "utf8_mark",
            "UTF-8 with byte-order mark, CRLF",
            plain.replace("\n", "\r\n").encode("utf-8-sig"),
            PLAIN,
        ),
        Form("utf16", "UTF-16 with byte-order mark", plain.encode("utf-16"), PLAIN),
        Form(
            "windows_1252",
            "Windows-1252, lines end in CR alone",
            plain.replace("\n", "\r").encode("cp1252"),
            PLAIN,
        ),
    ]


def headers() -> list[Form]:
    bare = ("Time", "RPM", "Oil Press", "Oil Temp")
    glued = [[f"{t}s", f"{n}RPM", f"{p}kPa", f"{c}°C"] for t, n, p, c in rows(number=comma)]
    spaced = [[f"{t}s", f"{n}RPM", f"{p} kPa", f"{c}C"] for t, n, p, c in rows()]
    glued = [[row[0].replace(".", ","), *row[1:]] for row in glued]
    units = ("s", "1/min", "kPa", "°C")
    notes = [["Vehicle", "Car 7"], ["Comment", "wet, second set"], [""]]
    spare = [[*row, f"{i % 4}", f"{i}"] for i, row in enumerate(rows())]
    parted = [[row[0], "55.00", *row[1:]] for row in rows()]
    wide = [
        [*row, *(f"{(i * 7 + k) % 50}" for k in range(296))] for i, row in enumerate(rows(count=10))
    ]
    return [
        Form(
            "notes_above", "notes above the header", text([*notes, NAMES, *rows()]).encode(), PLAIN
        ),
        Form("units_row", "names above units", text([bare, units, *rows()]).encode(), PLAIN),
        Form(
            "names_sources_units",
            "names above sources above units",
            text([bare, ("Logger", "ECU", "Analog", "ECU"), units, *rows()]).encode(),
            PLAIN,
        ),
        Form(
            "names_units_sources",
            "names above units above sources",
            text([bare, units, ("Logger", "ECU", "Analog", "ECU"), *rows()]).encode(),
            PLAIN,
        ),
        Form(
            "empty_brackets",
            "brackets without a unit, which a row below states",
            text([[f"{name} []" for name in bare], units, *rows()]).encode(),
            PLAIN,
        ),
        Form(
            "glued_units",
            "a unit behind every value",
            text([bare, *spaced]).encode(),
            PLAIN,
        ),
        Form(
            "glued_units_decimal_commas",
            "the same with decimal commas",
            text([bare, *glued], ";").encode(),
            PLAIN,
        ),
        Form(
            "groups",
            "groups above names, which repeat without them",
            text(
                [
                    ("", "Gearbox", "Engine", "", ""),
                    ("Time [s]", "Oil Temp [°C]", "RPM", "Oil Press [kPa]", "Oil Temp [°C]"),
                    *parted,
                ]
            ).encode(),
            PLAIN | {"gearbox_oil_temp_c": np.full(COUNT, 55.0)},
        ),
        Form(
            "groups_names_units",
            "groups that only say where channels come from, above names above units",
            text([("Logger", "ECU", "ECU", "Sensors"), bare, units, *rows()]).encode(),
            PLAIN,
        ),
        Form(
            "repeated_names",
            "two columns of one name that no harm is judged by",
            text([(*NAMES, "Brake", "Brake"), *spare]).encode(),
            PLAIN | {"brake": np.arange(COUNT) % 4, "brake_2": np.arange(COUNT)},
        ),
        Form(
            "repeated_oil_pressure",
            "two columns of one name that harm is judged by",
            text([(*NAMES[:3], NAMES[2]), *rows()]).encode(),
            refused="both name oil_pressure",
        ),
        Form(
            "nameless_columns",
            "columns without a name, in the middle and at the end",
            text(
                [
                    (*NAMES[:3], "", NAMES[3]),
                    *[[*r[:3], f"{i}", r[3], "7"] for i, r in enumerate(rows())],
                ]
            ).encode(),
            PLAIN | {"column_4": np.arange(COUNT), "column_6": np.full(COUNT, 7)},
        ),
        Form(
            "wide",
            "300 columns",
            text([(*NAMES, *(f"Ch {k}" for k in range(296))), *wide]).encode(),
            {name: values[:10] for name, values in PLAIN.items()}
            | {"ch_295": (np.arange(10) * 7 + 295) % 50},
            TIME_S[:10],
        ),
    ]


def cells() -> list[Form]:
    blanks = ["", "NaN", "-", "N/A", "####", "n/a", "#N/A", "null"]
    blanked = [
        [*row[:2], blanks[i // 3] if i % 3 == 1 and i < 24 else row[2], row[3]]
        for i, row in enumerate(rows())
    ]
    hollow = OIL.copy()
    hollow[[i for i in range(24) if i % 3 == 1]] = np.nan
    slow = [[*row[:3], row[3] if i % 5 == 0 else ""] for i, row in enumerate(rows())]
    english = [[row[0], f'"{RPM[i]:,.0f}"', *row[2:]] for i, row in enumerate(rows())]
    german = rows(lambda i: f"{TIME_S[i]:.1f}".replace(".", ","), comma)
    french = [
        [row[0], f"{RPM[i]:,.0f}".replace(",", "\u00a0"), *row[2:]] for i, row in enumerate(german)
    ]
    german = [
        [row[0], f"{RPM[i]:,.0f}".replace(",", "."), *row[2:]] for i, row in enumerate(german)
    ]
    doubled = [row for i, row in enumerate(rows()) for _ in range(1 + (i % 7 == 3))]
    return [
        Form(
            "blanks",
            "blank cells, written in eight ways",
            text([NAMES, *blanked]).encode(),
            PLAIN | {"oil_pressure": hollow},
        ),
        Form(
            "slow_channel",
            "a channel of a fifth of the rate, blank between",
            text([NAMES, *slow]).encode(),
            PLAIN | {"oil_temperature": np.where(np.arange(COUNT) <= 25, HOT, np.nan)},
        ),
        Form(
            "thousands_commas",
            "thousands grouped with commas, in quotes",
            text([NAMES, *english]).encode(),
            PLAIN,
        ),
        Form(
            "thousands_points",
            "thousands grouped with points beside decimal commas",
            text([NAMES, *german], ";").encode(),
            PLAIN,
        ),
        Form(
            "thousands_spaces",
            "thousands grouped with no-break spaces",
            text([NAMES, *french], ";").encode("cp1252"),
            PLAIN,
        ),
        Form(
            "doubled_rows",
            "some rows stand twice",
            text([NAMES, *doubled]).encode(),
            PLAIN,
            warned="4 rows repeat the time of a row before, with the same values",
        ),
    ]
