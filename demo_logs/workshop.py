"""What the workshop did to the engines: builds, parts and where these were, teardowns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

STRIPPING = timedelta(hours=6)
"""From the beginning of a teardown until the last part is out."""

Action = Literal["replaced", "reworked", "reused"]


@dataclass(frozen=True)
class AsBuilt:
    """One measurement of a fresh build: of the engine, or of the parts at 1, 2, 3 ... in order.

    Attributes:
        kind: a part of schemas/causes.toml; "": it is of none of them.
        name: what was measured.
        unit: of all its values.
        low: least acceptable.
        high: greatest acceptable.
        values: as measured.
    """

    kind: str
    name: str
    unit: str
    low: float
    high: float
    values: tuple[float, ...]


@dataclass(frozen=True)
class Line:
    """What a refresh did with the part of one kind at one position."""

    kind: str
    position: str
    action: Action
    part_id: str = ""


@dataclass(frozen=True)
class Teardown:
    """A strip-down.

    Attributes:
        at: when it began; the findings are of then.
        note: how much was taken apart, and why.
        causes: (part, position) -> what truly made the finding there: a cause of
            schemas/causes.toml, or "unlogged"; one for every finding above grade 0.
    """

    at: datetime
    note: str
    causes: Mapping[tuple[str, str], str]

    def findings(self, engine_id: str) -> str:
        """Return the file that holds what was found."""
        return f"findings/{engine_id}_{self.at:%Y-%m-%d}.toml"


@dataclass(frozen=True)
class Build:
    """A build of an engine.

    Attributes:
        since: when it was ready.
        note: what the refresh that began it did.
        measured: of the fresh build.
        others: what the refresh did with parts that nobody tracks.
        teardown: that ended it; None for the build of today.
    """

    since: datetime
    note: str = ""
    measured: tuple[AsBuilt, ...] = ()
    others: tuple[Line, ...] = ()
    teardown: Teardown | None = None


@dataclass(frozen=True)
class Engine:
    """An engine of the team; its spec is specs/<engine_id>.toml, its builds are in order."""

    engine_id: str
    builds: tuple[Build, ...]


@dataclass(frozen=True)
class Stint:
    """The builds of an engine, numbered from 1, from the first to the last that parts sat in."""

    engine_id: str
    first: int
    last: int


@dataclass(frozen=True)
class Work:
    """Time that a part was out for work; `back` None: it is still there."""

    where: str
    what: str
    since: datetime
    due: datetime
    back: datetime | None = None
    result: str = ""


@dataclass(frozen=True)
class Batch:
    """Parts of one kind bought together, one for each position; or a single one.

    Attributes:
        label: batch number of several; serial number of a single part.
        kind: a part of schemas/causes.toml.
        positions: where they sit; ("",) for the only one of an engine.
        stints: where they were fitted, in order.
        works: what was done to a single part out of the house.
        note: about them.
    """

    label: str
    kind: str
    positions: tuple[str, ...]
    stints: tuple[Stint, ...]
    works: tuple[Work, ...] = ()
    note: str = ""

    def parts(self) -> tuple[tuple[str, str], ...]:
        """Return (part id, position) of each part."""
        if len(self.positions) == 1:
            return ((self.label, self.positions[0]),)
        return tuple((f"{self.label}-{position}", position) for position in self.positions)


@dataclass(frozen=True)
class Fitment:
    """One part in one engine; `removed_at` None: it is still in."""

    part_id: str
    engine_id: str
    position: str
    at: datetime
    removed_at: datetime | None


def fitments(batches: Sequence[Batch], engines: Sequence[Engine]) -> list[Fitment]:
    """Return every fitment: from the build a stint begins with to the teardown that ends it."""
    builds = {engine.engine_id: engine.builds for engine in engines}
    found = []
    for batch in batches:
        for stint in batch.stints:
            teardown = builds[stint.engine_id][stint.last - 1].teardown
            removed_at = teardown.at + STRIPPING if teardown else None
            since = builds[stint.engine_id][stint.first - 1].since
            for part_id, position in batch.parts():
                found.append(Fitment(part_id, stint.engine_id, position, since, removed_at))
    return sorted(found, key=lambda fitment: (fitment.at, fitment.engine_id))


def refresh_lines(batches: Sequence[Batch], engine: Engine, number: int) -> list[Line]:
    """Return what the refresh that began build `number` did, tracked parts first."""
    lines = []
    for batch in batches:
        here = [stint for stint in batch.stints if stint.engine_id == engine.engine_id]
        for stint in here:
            if not stint.first <= number <= stint.last:
                continue
            action: Action = "replaced"
            if stint.first < number:
                action = "reused"
            elif any(earlier.last == number - 1 for earlier in here):
                action = "reworked"
            lines += [Line(batch.kind, place, action, part) for part, place in batch.parts()]
    return [*lines, *engine.builds[number - 1].others]
