"""Numbers as logs write them: which mark is the decimal one, and which groups the thousands."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from babbitt.ingest.text.wording import shown

DecimalMark = Literal[".", ","]

BLANK_CELLS = (
    "",
    "-",
    "--",
    "---",
    "NaN",
    "nan",
    "NAN",
    "N/A",
    "n/a",
    "#N/A",
    "NA",
    "null",
    "NULL",
)
"""Cells that stand for no value; so do those of number signs alone, as spreadsheets fill them."""

SPACES = " '’\u00a0\u2009\u202f"
"""Blanks and apostrophes that group thousands, and nothing else."""

_SPOKEN = {".": "point", ",": "comma"}
_EXPONENT = r"(?:[eE][+-]?\d+)?"
_all_signs = re.compile(r"#+")
_plain = re.compile(rf"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+){_EXPONENT}", re.ASCII)
_GROUPED = rf"[+-]?[1-9]\d{{0,2}}(?:(?P<mark>[.,{SPACES}])\d{{3}})(?:(?P=mark)\d{{3}})*"
_grouped = re.compile(_GROUPED, re.ASCII)
_grouped_and_decimal = re.compile(
    rf"{_GROUPED}(?!(?P=mark))(?P<decimal>[.,])\d*{_EXPONENT}", re.ASCII
)
_MANY = 2
"""More than one mark of a kind in a number, and it groups thousands."""


@dataclass(frozen=True)
class Marks:
    """How the numbers of a log are written.

    Attributes:
        decimal: the decimal mark.
        grouping: every mark that groups thousands, "" where none was seen.
        why: on what grounds, a line each.
    """

    decimal: DecimalMark
    grouping: str
    why: tuple[str, ...]


def is_blank(cell: str) -> bool:
    """Whether a cell stands for no value."""
    return cell in BLANK_CELLS or _all_signs.fullmatch(cell) is not None


def is_number(cell: str) -> bool:
    """Whether a cell is a number in any way of writing."""
    return any(form.fullmatch(cell) for form in (_plain, _grouped, _grouped_and_decimal))


def find_marks(columns: Sequence[Sequence[str]], delimiter: str) -> Marks:
    """Find the decimal mark and the marks between thousands.

    A mark between thousands shows by standing more than once in a number or before the decimal
    mark in it; or where numbers of a column below 1,000 have no mark, and those above have one that
    would make them smaller; or where every number with a comma, and none with a point, could be
    grouped between commas as delimiters. Nothing else is taken for one: "7.512" alone is a decimal.

    Args:
        columns: cells of each column of the rows looked at.
        delimiter: between cells.
    """
    numbers = [cell for column in columns for cell in column if is_number(cell)]
    sure = Counter(mark for cell in numbers if (mark := _surely_groups(cell)))
    if sure["."] and sure[","]:  # no log is written so: the rarer is damage, and will be missing
        del sure["." if sure["."] < sure[","] else ","]
    grouping = "".join(sorted(sure))
    seen = {mark: [cell for cell in numbers if mark in cell] for mark in ".,"}
    for mark, other in (".,", ",."):
        if mark in grouping or other in grouping or not _may_all_group(seen[mark], mark):
            continue
        beside_decimals = bool(seen[other]) and not _may_all_group(seen[other], other)
        between_delimiters = mark == delimiter and not seen[other]
        if beside_decimals or between_delimiters or _leaves_out_small(columns, mark):
            grouping += mark
    decimals = {mark: 0 if mark in grouping else len(cells) for mark, cells in seen.items()}
    decimal: DecimalMark = "," if decimals[","] > decimals["."] or "." in grouping else "."
    count = decimals[decimal]
    why = [
        f"Decimal mark: {_SPOKEN[decimal]}, in {count:,} of the numbers looked at."
        if count
        else f"Decimal mark: none in the numbers looked at; {_SPOKEN[decimal]} taken."
    ]
    if grouping:
        example = next(cell for cell in numbers if any(mark in cell for mark in grouping))
        why.append(f"Thousands: grouped, as in {shown(example)}.")
    return Marks(decimal, grouping, tuple(why))


def number_pattern(decimal: DecimalMark, grouping: str = "") -> str:
    """Return the regular expression of a number.

    Args:
        decimal: its decimal mark.
        grouping: every mark that may group its thousands.
    """
    decimals = rf"(?:[{decimal}]\d*)?"
    whole = r"\d+"
    if grouping:
        whole = rf"(?:\d+|[1-9]\d{{0,2}}(?:[{grouping}]\d{{3}})+)"
    return rf"[+-]?(?:{whole}{decimals}|[{decimal}]\d+){_EXPONENT}"


def read_numbers(
    cells: pa.Array | pa.ChunkedArray, kind: pa.DataType, decimal: DecimalMark, grouping: str
) -> tuple[npt.NDArray[np.floating], npt.NDArray[np.bool_]]:
    """Read cells as numbers.

    Args:
        cells: strings; shape (rows,).
        kind: float32 or float64.
        decimal: their decimal mark.
        grouping: every mark that may group their thousands.

    Returns:
        The numbers, NaN where there is none; shape (rows,). Where a cell is neither a number nor
        blank; shape (rows,).
    """
    trimmed = pc.utf8_trim_whitespace(cells)
    fits = pc.match_substring_regex(trimmed, f"^(?:{number_pattern(decimal, grouping)})$")
    fits = pc.fill_null(fits, False)
    blank = pc.fill_null(pc.match_substring_regex(trimmed, _blank_pattern()), True)
    texts = pc.if_else(fits, trimmed, None)
    for mark in grouping:
        texts = pc.replace_substring(texts, mark, "")
    if decimal == ",":
        texts = pc.replace_substring(texts, ",", ".")
    values = pc.cast(texts, kind).to_numpy(zero_copy_only=False)
    wrong = pc.invert(pc.or_(fits, blank)).to_numpy(zero_copy_only=False)
    return values, wrong


def _blank_pattern() -> str:
    return f"^(?:{'|'.join(re.escape(cell) for cell in BLANK_CELLS)}|#+)$"


def _surely_groups(cell: str) -> str:
    """Return the mark that groups the thousands of a number beyond doubt, "" where none does."""
    if match := _grouped_and_decimal.fullmatch(cell):
        return match["mark"]
    match = _grouped.fullmatch(cell)
    if match and (match["mark"] in SPACES or cell.count(match["mark"]) >= _MANY):
        return match["mark"]
    return ""


def _may_all_group(cells: Sequence[str], mark: str) -> bool:
    """Whether there are cells, and the mark can group thousands in every one of them."""
    return bool(cells) and all(
        match is not None and match["mark"] == mark for match in map(_grouped.fullmatch, cells)
    )


def _leaves_out_small(columns: Sequence[Sequence[str]], mark: str) -> bool:
    """Whether a column has whole numbers below 1,000 bare, and only greater ones with the mark.

    Read as decimals the marked ones would all be smaller than the bare ones.
    """
    for column in columns:
        marked = [cell for cell in column if mark in cell and is_number(cell)]
        bare = [abs(int(cell)) for cell in column if re.fullmatch(r"[+-]?[1-9]\d*", cell)]
        if not marked or not bare or max(bare) >= 1000:
            continue
        if max(abs(float(cell.replace(mark, "."))) for cell in marked) < min(bare):
            return True
    return False
