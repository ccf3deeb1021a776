"""babbitt compare: two runs by place."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from babbitt.commands.common import JsonOption, LogbookOption, open_from, out, print_json
from babbitt.present.words import NOTHING, Reader, reader_of, table

if TYPE_CHECKING:
    from babbitt.laps.compare import CornerChange

RunArgument = Annotated[
    str, typer.Argument(metavar="RUN_ID", help="A run, or the beginning of its id.")
]


def compare(
    context: typer.Context,
    one: RunArgument,
    other: Annotated[str, typer.Argument(metavar="RUN_ID", help="Another at the same circuit.")],
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Say in which corners oil pressure is lower than before, at like speed and temperature."""
    # scipy, which comparing needs, is slow to import
    from babbitt.jobs.compare import compare_runs
    from babbitt.present.place_words import corner_title, pressure_by_place

    book = open_from(context, logbook)
    found = compare_runs(book, one, other)
    if as_json:
        print_json(
            {
                "earlier": found.earlier.run_id,
                "later": found.later.run_id,
                "corners": [
                    asdict(each) | {"name": found.names.get(each.corner)} for each in found.corners
                ],
            }
        )
        return
    reader = reader_of(book.settings)
    out.print(
        f"{found.later.engine_id}, {reader.instant(found.later.started_at)}, against "
        f"{found.earlier.engine_id}, {reader.instant(found.earlier.started_at)}, in whole laps at "
        "like engine speed and oil temperature."
    )
    out.print(pressure_by_place(found.corners, found.names, reader))
    unit = reader.value(0.0, "kPa")[1]
    listing = table(
        "",
        "corner",
        *(f"before, {unit}", f"after, {unit}", f"change, {unit}", "90 %", "passes", "verdict"),
        left=1,
    )
    for each in found.corners:
        listing.add_row(
            corner_title(each.corner, found.names),
            reader.value(each.before_kpa, "kPa")[0],
            reader.value(each.after_kpa, "kPa")[0],
            reader.value(each.change_kpa, "kPa")[0],
            _interval(each, reader),
            f"{each.before} and {each.after}",
            each.word,
        )
    out.print(listing)


def _interval(each: CornerChange, reader: Reader) -> str:
    if each.low_kpa is None or each.high_kpa is None:
        return NOTHING
    low, high = (reader.value(value, "kPa")[0] for value in (each.low_kpa, each.high_kpa))
    return f"{low} to {high}"
