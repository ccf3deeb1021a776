"""What the register hands out: frozen values, never rows of a table."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from babbitt.model.engine_spec import EngineSpec, kept_spec
from babbitt.model.event import Event, Verdict
from babbitt.model.sensor_doubt import SensorDoubt

if TYPE_CHECKING:
    from babbitt.model.run import StartBasis


@dataclass(frozen=True)
class EngineRecord:
    """One engine.

    Attributes:
        engine_id: its serial number or name; also a folder name.
        created_at: UTC, when it was added to the register.
        built_at: UTC, when it came into existence; None where nobody said.
        toml: of the spec in force today, as it was written.
        refreshes: how many it had.
        last_refresh: UTC of the newest one; None before the first.
        runs: those that count; removed ones are out.
        last_run: UTC start of the newest of them; None without runs.
        version: grows with each correction of `built_at`.
    """

    engine_id: str
    created_at: datetime
    built_at: datetime | None
    toml: str
    refreshes: int
    last_refresh: datetime | None
    runs: int
    last_run: datetime | None
    version: int

    @property
    def spec(self) -> EngineSpec:
        """In force today; a SettingsError where this program cannot use it."""
        return kept_spec(self.engine_id, self.toml)


@dataclass(frozen=True)
class RefreshRecord:
    """One refresh.

    Attributes:
        refresh_id: its number.
        engine_id: the engine.
        at: UTC; its new build begins then.
        note: what was done.
        version: grows with each correction.
    """

    refresh_id: int
    engine_id: str
    at: datetime
    note: str
    version: int


@dataclass(frozen=True)
class Build:
    """The span of an engine between two refreshes; a run belongs to the build it starts in.

    Attributes:
        engine_id: the engine.
        number: 1 is the build that the engine came into existence with.
        since: UTC, inclusive: when the engine was built or refreshed; None where nobody said.
        until: UTC, exclusive: the next refresh; None for the build of today.
        note: of the refresh that began it.
        refresh_id: of that refresh; None for the first build.
    """

    engine_id: str
    number: int
    since: datetime | None
    until: datetime | None
    note: str
    refresh_id: int | None


@dataclass(frozen=True)
class RecordedChannel:
    """A channel that a run has.

    Attributes:
        name: in the run.
        unit: that it is stored in; "" where unknown.
        native_hz: rate at which the logger recorded it.
        header: its column in the log.
    """

    name: str
    unit: str
    native_hz: float
    header: str


@dataclass(frozen=True)
class RunRecord:
    """What the register knows of a run.

    Attributes:
        run_id: from the content of the log, or a drawn one for unlogged running.
        engine_id: the engine that made it.
        started_at: UTC.
        start_basis: how the start is known.
        duration_s: from the first sample to the last.
        samples: on the run's time base; 0 for unlogged running.
        source_name: file name of the log; "" for unlogged running.
        source_sha256: of the log's bytes; None for unlogged running.
        dialect: how the log was read, a line each.
        conversions: unit, sign and reference conversions made, a sentence each.
        warnings: what a reader of the run should know, a sentence each.
        channels: those that it has, in the order of the log.
        ingested_at: UTC, when it came into the register.
        removed_at: UTC, when it was taken out of all sums; None where it counts.
        unlogged: entered by hand: running that no logger saw.
        judged_by: key of what its events were judged by; None where it needs judging.
        version: grows with each correction.
        read_as: how it was read, as ingest keeps it; None: that was not kept.
        trusted: a person looked at its sensors and found nothing wrong.
        doubts: what speaks against its sensors or clock.
        doubts_key: tells those that make its events doubtful from others; "" without any.
        circuit: where it was; None: nobody said.
    """

    run_id: str
    engine_id: str
    started_at: datetime
    start_basis: StartBasis
    duration_s: float
    samples: int
    source_name: str
    source_sha256: str | None
    dialect: tuple[str, ...]
    conversions: tuple[str, ...]
    warnings: tuple[str, ...]
    channels: tuple[RecordedChannel, ...]
    ingested_at: datetime
    removed_at: datetime | None
    unlogged: bool
    judged_by: str | None
    version: int
    read_as: dict[str, Any] | None
    trusted: bool
    doubts: tuple[SensorDoubt, ...]
    doubts_key: str
    circuit: str | None


SORTS_OF_CHANGE = (
    "oil",
    "sump",
    "pump",
    "cooler",
    "map",
    "boost",
    "ignition",
    "driver_aid",
    "other",
)


@dataclass(frozen=True)
class ChangeRecord:
    """A dated alteration of an engine or its car.

    Attributes:
        change_id: its number.
        engine_id: the engine.
        at: UTC; runs that began then or later are after it.
        sort: one of SORTS_OF_CHANGE.
        what: in words.
    """

    change_id: int
    engine_id: str
    at: datetime
    sort: str
    what: str


@dataclass(frozen=True)
class DatedEvent:
    """An event and when its run began.

    Attributes:
        event: as found, with the review that holds for it.
        run_started_at: UTC.
    """

    event: Event
    run_started_at: datetime

    @property
    def at(self) -> datetime:
        """When the event began, UTC."""
        return self.run_started_at + timedelta(seconds=self.event.start_s)


@dataclass(frozen=True)
class ReviewRecord:
    """A person's word on an event, as it was given.

    Attributes:
        review_id: its number; later ones are higher.
        event_id: the event.
        verdict: the word.
        note: why.
        at: UTC, when.
        who: gave it.
    """

    review_id: int
    event_id: str
    verdict: Verdict
    note: str
    at: datetime
    who: str


@dataclass(frozen=True)
class Window:
    """A stretch of an engine's life to sum over.

    Attributes:
        engine_id: the engine.
        since: UTC, inclusive; None: from its beginning.
        until: UTC, exclusive; None: without end.
        spec_version: of the engine's present limits; events found under others are stale.
    """

    engine_id: str
    since: datetime | None
    until: datetime | None
    spec_version: str


@dataclass(frozen=True)
class SurfaceRecord:
    """The expected-pressure surface kept for a build.

    Attributes:
        text: as the stage that learned it wrote it.
        key: that tells one surface from another.
    """

    text: str
    key: str


@dataclass(frozen=True)
class Change:
    """What a person's act did to one record.

    Attributes:
        record: its sort: the table that it lies in.
        record_id: its key in there.
        about: what tells it from others, as it was before.
        before: what changed, as it was; None where the record was created.
        after: what changed, as it became, instants as ISO 8601; of a created record all there is.
            None where the old state was not kept.
        version: of the record, after the change.
    """

    record: str
    record_id: str
    about: dict[str, Any]
    before: dict[str, Any] | None
    after: dict[str, Any] | None
    version: int


@dataclass(frozen=True)
class JournalEntry:
    """One act of a person: the changes that they made to the register at once.

    Attributes:
        entry_id: its number; later entries have greater ones.
        at: UTC.
        who: the name that they work under.
        engine_ids: the engines concerned.
        action: what was done, in the words of the command line.
        changes: in their order.
        reason: as they gave it; "" where they gave none.
        undoes: number of the entry that it reverts; None for an act of its own.
        undone: whether a later entry that holds reverts it.
    """

    entry_id: int
    at: datetime
    who: str
    engine_ids: tuple[str, ...]
    action: str
    changes: tuple[Change, ...]
    reason: str
    undoes: int | None
    undone: bool
