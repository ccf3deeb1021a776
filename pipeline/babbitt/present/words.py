"""How values read to a person: units, times and tables of the command line."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from rich import box
from rich.table import Table

from babbitt.errors import BabbittError
from babbitt.logbook.settings import Settings, zone
from babbitt.model.channels import channels
from babbitt.model.damage_modes import parts
from babbitt.model.units import Unit, parse

NOTHING = "–"
"""Stands where a value is unknown."""

CAUTION = (
    "This supports, and never replaces, the judgement of the engine's builder and the rules of the "
    "series; limits are your own. An engine that may let go at speed is a fire and a track hazard: "
    "when in doubt, pull it."
)


@dataclass(frozen=True)
class Reader:
    """Who reads: their units and their time zone.

    Attributes:
        system: "metric" or "imperial".
        timezone: in which instants are shown.
    """

    system: str
    timezone: tzinfo

    def value(self, value: float | None, unit: str) -> tuple[str, str]:
        """Return a canonical value and its unit as this reader is shown them."""
        shown = self.unit(unit)
        if value is None:
            return NOTHING, shown.symbol if shown else unit
        if shown is None:
            return number(value), unit
        factor, offset = shown.from_canonical()
        return number(value * factor + offset), shown.symbol

    def dose(self, dose: float | None, unit: str) -> tuple[str, str]:
        """Return a dose and its unit; a temperature in a dose is a difference, without offset."""
        base, dot, rest = unit.partition("·")
        shown = self.unit(base) if dot else None
        if dose is None or shown is None:
            return (NOTHING if dose is None else number(dose)), unit
        return number(dose * shown.from_canonical()[0]), f"{shown.symbol}{dot}{rest}"

    def unit(self, unit: str) -> Unit | None:
        """Return the unit in which this reader is shown a canonical unit; None: as it is."""
        if self.system == "metric":
            return parse(unit)
        return next(
            (c.shown[self.system] for c in channels().values() if c.unit.symbol == unit), None
        )

    def instant(self, at: datetime | None) -> str:
        """Return an instant in this reader's zone, to the minute."""
        if at is None:
            return NOTHING
        return f"{at.astimezone(self.timezone):%d %b %Y %H:%M}".lstrip("0")

    def day(self, at: datetime | None) -> str:
        """Return the day of an instant in this reader's zone."""
        return NOTHING if at is None else f"{at.astimezone(self.timezone):%d %b %Y}".lstrip("0")


_TEXT_COLUMNS = {
    *("what", "where", "finding", "measured", "took", "service", "records", "log"),
    *("remark", "remarks", "header", "known by", "note"),
}
"""Columns that give way where the terminal is narrow, but not below _NARROWEST."""

_NARROWEST = 12

_FIGURE_GAP = re.compile(r"(?<=\d) (?=[^\W\d]|[%°])")

_BLOCKS = "▁▂▃▄▅▆▇█"


def reader_of(settings: Settings) -> Reader:
    """Return the reader that a logbook's settings describe."""
    return Reader(settings.units, zone(settings.timezone))


def number(value: float, digits: int = 3) -> str:
    """Return a value to `digits` significant figures, thousands set off, no digit left out."""
    if abs(value) >= 10 ** (digits - 1):
        return f"{value:,.0f}"
    text = f"{value:.{digits}g}"
    return "0" if float(text) == 0 else text


def as_measured(value: float | None, beside: Iterable[float | None] = ()) -> str:
    """Return a measured value with every digit that was written down: 54.996 is no 55.

    Args:
        value: None: nothing was measured.
        beside: what stands beside it, to be written to as many decimals.
    """
    if value is None:
        return NOTHING
    texts = [f"{each:.9g}" for each in (value, *beside) if each is not None]
    decimals = max(len(text.partition(".")[2]) for text in texts)
    return texts[0] if any("e" in text for text in texts) else f"{value:.{decimals}f}"


def short(record_id: str) -> str:
    """Return the beginning of an id, enough to type; any unique beginning is accepted."""
    return record_id[:9]


def share(value: float | None) -> str:
    """Return a share as whole per cent."""
    return NOTHING if value is None else f"{100 * value:.0f} %"


def duration(seconds: float | None) -> str:
    """Return a duration as a mechanic writes it: 48 s, 12 min 30 s, 3 h 12 min."""
    if seconds is None:
        return NOTHING
    if seconds < 60:
        return f"{seconds:.3g} s"
    minutes, rest = divmod(round(seconds), 60)
    if minutes < 60:
        return f"{minutes} min {rest:02d} s"
    return f"{minutes // 60} h {minutes % 60:02d} min"


def clock(seconds: float) -> str:
    """Return a place in a run as minutes and seconds: 4:07.3."""
    minutes, rest = divmod(round(seconds * 10), 600)
    return f"{minutes}:{rest / 10:04.1f}"


def trace(values: Sequence[float | None]) -> str:
    """Return a curve as block characters, one a value, from the least to the greatest of them.

    Where there is no value stands a blank.
    """
    known = [value for value in values if value is not None]
    if not known:
        return ""
    least, span = min(known), max(known) - min(known)
    step = span / (len(_BLOCKS) - 1) or 1.0
    return "".join(
        " " if value is None else _BLOCKS[round((value - least) / step)] for value in values
    )


def unbroken(text: str) -> str:
    """Return a text in which no line breaks between a figure and the word or sign after it."""
    return _FIGURE_GAP.sub("\N{NO-BREAK SPACE}", text)


def table(title: str, *columns: str, left: int = 1) -> Table:
    """Return an empty table: hairlines only, the columns after the first `left` set right."""
    made = Table(
        title=title or None,
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        header_style="",
    )
    for index, name in enumerate(columns):
        made.add_column(
            name,
            justify="left" if index < left else "right",
            overflow="fold",
            no_wrap=name not in _TEXT_COLUMNS,
            min_width=_NARROWEST if name in _TEXT_COLUMNS else None,
        )
    return made


def place(part: str, positions: Sequence[str | None]) -> str:
    """Return a part and where it sits: rod bearing 2, turbo bearing exhaust, head gasket."""
    where = ", ".join(position for position in positions if position is not None)
    return f"{parts()[part].title} {where}".rstrip()


def faults_in_words(faults: Mapping[str, BabbittError]) -> list[str]:
    """Return why nothing can be said of engines, a sentence each."""
    return [f"Nothing can be said of {name}: {error}" for name, error in faults.items()]
