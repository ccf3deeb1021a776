"""babbitt import: part lists and records from before the logs, all of a file or nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from babbitt.errors import RegisterError
from babbitt.exchange import part_list, past_findings, past_history
from babbitt.exchange.files import as_written
from babbitt.exchange.rows import Faults, Row, Step
from babbitt.logbook.folder import Logbook
from babbitt.logbook.settings import zone
from babbitt.model.csv_rows import read_csv_rows
from babbitt.register import Session

What = Literal["parts", "history", "findings"]


@dataclass(frozen=True)
class _Sort:
    columns: tuple[str, ...]
    add: Callable[[Session, Sequence[Row], Faults], list[Step]]


_SORTS: dict[What, _Sort] = {
    "parts": _Sort(part_list.COLUMNS, part_list.add_part_list),
    "history": _Sort(past_history.COLUMNS, past_history.add_past_history),
    "findings": _Sort(past_findings.COLUMNS, past_findings.add_past_findings),
}


def import_rows(
    book: Logbook, text: str, *, source: str, what: What, who: str, dry_run: bool = False
) -> tuple[Step, ...]:
    """Add the records of a CSV file to the register; those that are there already stay as they are.

    A dry run goes the whole way, with every rule asked, and then takes all of it back.

    Args:
        book: the logbook; times without a zone are in its zone.
        text: of the file.
        source: its name, to quote in errors.
        what: sort of records.
        who: the name that the journal shows.
        dry_run: keep nothing.

    Returns:
        What became of each row, in the order of the lines.

    Raises:
        RegisterError: names every fault of the file, with line and column; nothing was added.
    """
    table = read_csv_rows(text, source=source, columns=_SORTS[what].columns)
    faults = Faults()
    for line, clause in table.faults.items():
        faults.add(line, clause)
    if not table.rows and not table.faults:
        raise RegisterError(
            f"{source} has no rows: write a header of {', '.join(_SORTS[what].columns)}, and rows "
            "below it."
        )
    rows = [
        Row(
            line,
            {column: as_written(cell) for column, cell in cells.items()},
            zone(book.settings.timezone),
            table.decimal_comma,
            faults,
        )
        for line, cells in table.rows.items()
    ]
    with book.register.writing(who) as session, session.begin_nested() as trial:
        steps = _SORTS[what].add(session, rows, faults)
        if faults.found:
            raise RegisterError(faults.sentence(source))
        if dry_run:
            trial.rollback()
    return tuple(steps)
