"""What the register hands out of parts, build sheets and teardowns: frozen values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from babbitt.model.exposure import WindowSums
from babbitt.model.finding import Finding, Measurement
from babbitt.model.service_limits import ServiceUse

Action = Literal["replaced", "reworked", "reused"]
"""What a refresh did with a part."""
ACTIONS: tuple[Action, ...] = ("replaced", "reworked", "reused")


@dataclass(frozen=True)
class PartRecord:
    """One tracked part, or a set of them that is fitted as one.

    Attributes:
        part_id: its serial number, or the label of its batch.
        kind: part of schemas/causes.toml.
        note: about it.
        version: grows with each correction.
    """

    part_id: str
    kind: str
    note: str
    version: int


@dataclass(frozen=True)
class FitmentRecord:
    """The span during which a part sat in one engine at one position.

    Attributes:
        fitment_id: its number.
        part_id: the part.
        kind: of the part.
        engine_id: the engine.
        position: cylinder, journal or side; None: the only one of its kind, or a set that takes
            every position.
        since: UTC, inclusive.
        until: UTC, exclusive; None: it is still in.
        version: grows with each correction.
    """

    fitment_id: int
    part_id: str
    kind: str
    engine_id: str
    position: str | None
    since: datetime
    until: datetime | None
    version: int


@dataclass(frozen=True)
class WorkRecord:
    """The span during which a part was out of the house for work.

    Attributes:
        work_id: its number.
        part_id: the part.
        shop: where it went.
        what: was to be done.
        since: UTC, when it left.
        due: UTC, when it was promised back; None: no date was named.
        back_at: UTC, when it came back; None: it is still out.
        result: what was done and found; "" until it is back.
        version: grows with each correction.
    """

    work_id: int
    part_id: str
    shop: str
    what: str
    since: datetime
    due: datetime | None
    back_at: datetime | None
    result: str
    version: int


@dataclass(frozen=True)
class HistoryRecord:
    """Running of an engine or a part from before the logs.

    Attributes:
        history_id: its number.
        engine_id: the engine; None where it is a part's.
        part_id: the part; None where it is an engine's.
        running_s: how long it ran.
        revolutions: of the crankshaft in that time; None: unknown.
        until: UTC; all of it was over by then.
        note: where the figure comes from.
        version: grows with each correction.
    """

    history_id: int
    engine_id: str | None
    part_id: str | None
    running_s: float
    revolutions: float | None
    until: datetime
    note: str
    version: int


@dataclass(frozen=True)
class PartPlace:
    """Where a part is: in an engine, out for work, or on the shelf where it is in neither.

    Attributes:
        part: the part.
        fitment: in the engine that it is in; None where it is in none.
        work: that it is out for; None where it is not.
    """

    part: PartRecord
    fitment: FitmentRecord | None
    work: WorkRecord | None


@dataclass(frozen=True)
class PartSums:
    """What a part has taken over all its fitments.

    Attributes:
        part: the part.
        fitments: oldest first.
        sums: over them, and its history from before the logs.
    """

    part: PartRecord
    fitments: tuple[FitmentRecord, ...]
    sums: WindowSums


@dataclass(frozen=True)
class PartService:
    """A service limit that a part is near or past.

    Attributes:
        part: the part.
        use: how much of the limit it has used.
    """

    part: PartRecord
    use: ServiceUse


@dataclass(frozen=True)
class SheetLine:
    """What a refresh did with the part of one kind at one position.

    Attributes:
        part: kind of part of schemas/causes.toml.
        position: cylinder, journal or side; None: the only one, or every one.
        action: what was done.
        part_id: the tracked part that sits there from then on; None: nobody tracks it.
        note: in the builder's words.
    """

    part: str
    position: str | None
    action: Action
    part_id: str | None = None
    note: str = ""


@dataclass(frozen=True)
class BuiltMeasurement:
    """A measurement of a fresh build.

    Attributes:
        measurement: what was measured, with its tolerance.
        part: kind of part of schemas/causes.toml; None: it is of none of them (a stud, the deck).
        position: cylinder, journal or side; None: the only one.
    """

    measurement: Measurement
    part: str | None = None
    position: str | None = None


@dataclass(frozen=True)
class RecordedLine:
    """A line of a build sheet.

    Attributes:
        line_id: its number.
        engine_id: the engine.
        refresh_id: the refresh; None: the engine's first build.
        line: what it says.
        version: grows with each correction.
    """

    line_id: int
    engine_id: str
    refresh_id: int | None
    line: SheetLine
    version: int


@dataclass(frozen=True)
class RecordedMeasurement:
    """A measurement on a build sheet.

    Attributes:
        measurement_id: its number.
        engine_id: the engine.
        refresh_id: the refresh; None: the engine's first build.
        built: what it says.
        version: grows with each correction.
    """

    measurement_id: int
    engine_id: str
    refresh_id: int | None
    built: BuiltMeasurement
    version: int


@dataclass(frozen=True)
class AsBuilt:
    """A measurement of a build beside the same one of an earlier build.

    Attributes:
        part: kind of part; None: it is of none.
        position: cylinder, journal or side; None: the only one.
        name: what was measured.
        now: of the build asked for; None: only an earlier build has it.
        before: of the newest earlier build that has it; None: none has.
        before_number: number of that build.
    """

    part: str | None
    position: str | None
    name: str
    now: Measurement | None
    before: Measurement | None
    before_number: int | None

    @property
    def change(self) -> float | None:
        """How much the value has grown, in its unit; None where two such values are not known."""
        if self.now is None or self.before is None or self.now.unit != self.before.unit:
            return None
        return self.now.value - self.before.value


@dataclass(frozen=True)
class TeardownRecord:
    """An engine taken apart.

    Attributes:
        teardown_id: its number.
        engine_id: the engine.
        at: UTC, when it began.
        build_number: of the build that it ended.
        note: how much was taken apart, and why.
        version: grows with each correction.
    """

    teardown_id: int
    engine_id: str
    at: datetime
    build_number: int
    note: str
    version: int


@dataclass(frozen=True)
class FindingRecord:
    """A recorded finding, and what it refers to.

    Attributes:
        finding_id: its number.
        teardown: in which it was made.
        finding: what was seen.
        part_ids: the tracked parts at its position when the engine was taken apart.
        version: grows with each correction.
    """

    finding_id: int
    teardown: TeardownRecord
    finding: Finding
    part_ids: tuple[str, ...]
    version: int


@dataclass(frozen=True)
class Stretch:
    """A span of an engine's life that a part took part in.

    Attributes:
        engine_id: the engine.
        since: UTC, inclusive; None: from its beginning.
        until: UTC, exclusive.
    """

    engine_id: str
    since: datetime | None
    until: datetime


@dataclass(frozen=True)
class Look:
    """A finding as the damage model learns from it: one part, or untracked ones, and one mode.

    Attributes:
        finding_id: number of the finding.
        engine_id: the engine that was taken apart.
        at: UTC, when.
        part: kind of part.
        position: where it sat; None: the only one, or every one.
        part_id: the tracked part; None: nobody tracks it.
        mode: damage mode that was looked for; a part found sound was looked at for each of its own.
        grade: 0 sound to 4 failed.
        stretches: what the part ran since it was new or reworked, oldest first.
        sound_until: the stretches that it had run when the last look before this one found it
            sound for this mode; empty where there was none, or it found damage.
        damaged_before: an earlier look found it damaged in this mode.
    """

    finding_id: int
    engine_id: str
    at: datetime
    part: str
    position: str | None
    part_id: str | None
    mode: str
    grade: int
    stretches: tuple[Stretch, ...]
    sound_until: tuple[Stretch, ...]
    damaged_before: bool


@dataclass(frozen=True)
class Standing:
    """A part that sits in an engine, as the damage model judges it.

    Attributes:
        part: kind of part.
        position: where it sits; None: the only one, or every one.
        part_id: the tracked part; None: nobody tracks it.
        stretches: what it ran since it was new or reworked, oldest first.
        grades: damage mode -> grade that the last look found.
        finding_ids: damage mode -> number of the finding of that look.
        looked_until: damage mode -> what it had run by it.
    """

    part: str
    position: str | None
    part_id: str | None
    stretches: tuple[Stretch, ...]
    grades: Mapping[str, int]
    finding_ids: Mapping[str, int]
    looked_until: Mapping[str, tuple[Stretch, ...]]
