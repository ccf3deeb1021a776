"""Findings while they are entered: a draft that a browser keeps, and the findings it makes.

Every change returns a new draft; what cannot be is said when the findings are asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from babbitt.errors import RegisterError
from babbitt.model.csv_rows import read_number
from babbitt.model.damage_modes import grades, mode_named, part_named
from babbitt.model.engine_layout import EngineLayout
from babbitt.model.finding import PHOTO_NAME, Finding, FindingFields, describe_fault
from babbitt.model.part_records import FindingRecord
from babbitt.model.plain_text import capital, parse_instant
from babbitt.model.positions import positions_of
from babbitt.present.words import place

EVERY = "every"
"""Position of a finding of all like parts."""

_LAST_REUSED = 2
"""Up to this grade a part is fitted again, unless someone says otherwise."""


class _Kept(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class DraftPhoto(_Kept):
    """A photo that is set aside.

    Attributes:
        name: its file name there.
        thumbnail: data URL of it made small.
        taken_as: its file name as it came.
    """

    name: str
    thumbnail: str
    taken_as: str


class Entry(_Kept):
    """A finding as far as it is entered.

    Attributes:
        n: tells it from others of its draft.
        part: kind of part.
        position: of model/positions.py; "": there is one; `EVERY`: all of them.
        mode: damage mode; "": none is chosen, or sound for all.
        grade: None: not given yet.
        disposition: "": not given yet.
        measured: name of what was measured; "": nothing.
        value: as typed.
        low: as typed.
        high: as typed.
        note: in the builder's words.
        photos: set aside.
    """

    n: int
    part: str
    position: str
    mode: str = ""
    grade: int | None = None
    disposition: str = ""
    measured: str = ""
    value: str = ""
    low: str = ""
    high: str = ""
    note: str = ""
    photos: tuple[DraftPhoto, ...] = ()

    @property
    def where(self) -> str:
        """The part and its position in words."""
        if self.position == EVERY:
            return f"every {part_named(self.part).title}"
        return place(self.part, (self.position or None,))


class Draft(_Kept):
    """A teardown as far as it is entered.

    Attributes:
        entries: its findings, in the order of their entry.
        day: when it was, YYYY-MM-DD; "": not given yet.
        hour: HH:MM; "": not given yet.
        note: how much was taken apart, and why.
        earlier: it was before the newest refresh.
        reason: of a correction, for the journal.
    """

    entries: tuple[Entry, ...] = ()
    day: str = ""
    hour: str = ""
    note: str = ""
    earlier: bool = False
    reason: str = ""

    def entry(self, n: int) -> Entry:
        """Return the entry `n`.

        Raises:
            RegisterError: it was taken out.
        """
        for entry in self.entries:
            if entry.n == n:
                return entry
        raise RegisterError("That finding was taken out of the draft: choose its part again.")

    def entries_at(self, part: str, position: str) -> tuple[Entry, ...]:
        """Return the entries on one part."""
        return tuple(e for e in self.entries if (e.part, e.position) == (part, position))

    def begun(self, part: str, position: str, **fields: Any) -> tuple[Draft, int]:
        """Return the draft with one more entry, and its number."""
        n = max((entry.n for entry in self.entries), default=0) + 1
        entry = Entry(n=n, part=part, position=position, **fields)
        return self.model_copy(update={"entries": (*self.entries, entry)}), n

    def changed(self, n: int, **fields: Any) -> Draft:
        """Return the draft with fields of an entry changed."""
        before = self.entry(n)
        after = before.model_copy(update=fields)
        entries = tuple(after if entry is before else entry for entry in self.entries)
        return self.model_copy(update={"entries": entries})

    def without(self, n: int) -> Draft:
        """Return the draft without an entry."""
        left = tuple(entry for entry in self.entries if entry.n != n)
        return self.model_copy(update={"entries": left})

    def graded(self, n: int, grade: int) -> Draft:
        """Return the draft with an entry graded.

        The only damage mode of a part need not be chosen; a sound part has none. What becomes of
        the part follows the grade where nobody chose it.
        """
        entry = self.entry(n)
        modes = list(part_named(entry.part).modes)
        mode = entry.mode or (modes[0] if grade > 0 and len(modes) == 1 else "")
        if grade == 0 and entry.grade != 0:
            mode = ""
        disposition = entry.disposition
        if disposition in ("", _usual(entry.grade)):
            disposition = _usual(grade)
        return self.changed(n, grade=grade, mode=mode, disposition=disposition)

    def others_sound(self, part: str, positions: Sequence[str]) -> Draft:
        """Return the draft with every position of a part that has no entry found sound."""
        draft = self
        for position in positions:
            if not draft.entries_at(part, position):
                draft, _ = draft.begun(part, position, grade=0, disposition=_usual(0))
        return draft


@dataclass(frozen=True)
class Checked:
    """What a draft makes.

    Attributes:
        findings: of the entries that are whole.
        faults: number of each other entry -> what is missing, a sentence.
    """

    findings: tuple[Finding, ...]
    faults: dict[int, str]


def draft_from(data: Any) -> Draft:
    """Read a draft that a browser kept.

    Raises:
        RegisterError: it is none, or is of another version of this program.
    """
    try:
        draft = Draft.model_validate(data or {})
        for entry in draft.entries:
            if entry.mode:
                mode_named(entry.part, entry.mode)
            part_named(entry.part)
    except ValidationError as error:
        raise RegisterError(
            "The draft that this browser kept cannot be read by this program: start it over."
        ) from error
    return draft


def draft_of(record: FindingRecord, layout: EngineLayout) -> Draft:
    """Return a recorded finding of an engine as a draft of one entry, to correct it."""
    finding, measured = record.finding, record.finding.measurement
    position = finding.position or (EVERY if positions_of(finding.part, layout) else "")
    draft, _ = Draft().begun(
        finding.part,
        position,
        mode=finding.damage_mode or "",
        grade=finding.grade,
        disposition=finding.disposition,
        note=finding.note,
        measured=measured.name if measured else "",
        value=_typed(measured.value) if measured else "",
        low=_typed(measured.low) if measured else "",
        high=_typed(measured.high) if measured else "",
    )
    return draft


def check(draft: Draft) -> Checked:
    """Return the findings that a draft makes, and what is missing of the others."""
    findings, faults = [], {}
    for entry in draft.entries:
        try:
            findings.append(finding_of(entry))
        except RegisterError as error:
            faults[entry.n] = str(error)
    return Checked(tuple(findings), faults)


def finding_of(entry: Entry, *, recorded: Finding | None = None) -> Finding:
    """Return the finding that an entry makes.

    Args:
        entry: of a draft.
        recorded: that it corrects; its photos stay, and the unit of what it measured.

    Raises:
        RegisterError: what is missing or cannot be.
    """
    where = capital(entry.where)
    if entry.grade is None:
        raise RegisterError(f"{where}: give it a grade.")
    if entry.grade > 0 and not entry.mode:
        raise RegisterError(f"{where}: choose the damage.")
    if not all(PHOTO_NAME.fullmatch(photo.name) for photo in entry.photos):
        raise RegisterError(f"{where}: a photo has a name that no photo has: drop it again.")
    fields: dict[str, Any] = {
        "part": entry.part,
        "position": None if entry.position in ("", EVERY) else entry.position,
        "damage_mode": entry.mode or None,
        "grade": entry.grade,
        "measurement": _measurement(entry, recorded),
        "disposition": entry.disposition,
        "note": entry.note,
        "photos": recorded.photos if recorded else [photo.name for photo in entry.photos],
    }
    try:
        return FindingFields.model_validate(fields).to_value()
    except ValidationError as error:
        faults = "; ".join(describe_fault(fault) for fault in error.errors())
        raise RegisterError(f"{where}: {faults}.") from error


def taken_apart_at(draft: Draft, timezone: tzinfo, *, now: datetime) -> datetime:
    """Return when a teardown was, UTC.

    Args:
        draft: with day and hour.
        timezone: that these are in.
        now: UTC.

    Raises:
        RegisterError: they are no day and hour, or lie ahead.
    """
    try:
        at = parse_instant(f"{draft.day}T{draft.hour}").replace(tzinfo=timezone).astimezone(UTC)
    except ValueError as error:
        raise RegisterError("Say when it was taken apart: a day and an hour.") from error
    if at > now + timedelta(days=1):
        raise RegisterError("It was taken apart on a day that lies ahead: check the date.")
    return at


def entry_words(entry: Entry) -> str:
    """Return what was found, in words: wiped, replace."""
    scale = {grade.value: grade.title for grade in grades()}
    if entry.grade is None:
        return "no grade yet"
    words = f"{entry.grade} {scale.get(entry.grade, '')}"
    return f"{mode_named(entry.part, entry.mode).title}, {words}" if entry.mode else words


def positions_to_enter(part: str, layout: EngineLayout) -> tuple[str, ...]:
    """Return the positions that a finding of a part can have, all of them together among these."""
    positions = positions_of(part, layout)
    return (*positions, EVERY) if positions else ("",)


def _usual(grade: int | None) -> str:
    if grade is None:
        return ""
    return "reuse" if grade <= _LAST_REUSED else "replace"


def _typed(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _measurement(entry: Entry, recorded: Finding | None) -> dict[str, Any] | None:
    typed = {"value": entry.value, "low": entry.low, "high": entry.high}
    if not entry.measured:
        if any(text.strip() for text in typed.values()):
            raise RegisterError(f"{capital(entry.where)}: say what was measured.")
        return None
    units = {each.name: each.unit for each in part_named(entry.part).measurements}
    if recorded is not None and recorded.measurement is not None:
        units.setdefault(recorded.measurement.name, recorded.measurement.unit)
    numbers: dict[str, Any] = {}
    for name, text in typed.items():
        if text.strip():
            number = read_number(text.strip(), decimal_comma=True)
            if number is None:
                raise RegisterError(
                    f"{capital(entry.where)}: {text.strip()!r} is no number; write it like 0.071."
                )
            numbers[name] = float(number)
    if "value" not in numbers:
        raise RegisterError(
            f"{capital(entry.where)}: write the {entry.measured} that you measured."
        )
    return {"name": entry.measured, "unit": units.get(entry.measured, ""), **numbers}
