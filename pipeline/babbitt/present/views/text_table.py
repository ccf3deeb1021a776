"""A table in words, as pages and reports show it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TextTable:
    """A table as it is shown.

    Attributes:
        columns: heads, with the unit once.
        rows: cells.
        caption: what it shows.
        left: so many columns are set left, the others right.
        empty: sentence that stands in place of a table without rows.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    left: int = 1
    empty: str = ""
