"""The tables of the register.

Plain types only, so that one schema serves SQLite and PostgreSQL. Tables are named in the singular.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, ClassVar

from sqlalchemy import (
    JSON,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    MetaData,
    String,
    Text,
    TypeDecorator,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column

LARGEST_ID = 2**31 - 1
"""No record has a greater number: every database has integers of this size."""


class UtcDateTime(TypeDecorator[datetime]):
    """An aware instant, UTC on both sides; a naive one is refused.

    SQLite keeps no zone, so it is put back on reading.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the instant in UTC."""
        if value is not None and value.tzinfo is None:
            raise ValueError(f"{value} has no time zone")
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the instant in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Base(DeclarativeBase):
    """What every table shares: constraints have names, so that a migration can alter them."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map: ClassVar = {
        datetime: UtcDateTime(),
        dict[str, Any]: JSON(),
        list[Any]: JSON(),
    }


class Versioned:
    """A record that people correct; `version` grows with each correction.

    An update of a row that is no longer as it was read fails. Only changes.py counts the version
    up, so that what the program itself brings up to date does not look like a person's change.
    """

    version: Mapped[int] = mapped_column(default=1, server_default="1")

    @declared_attr.directive
    def __mapper_args__(self) -> dict[str, Any]:
        """Return what makes every update ask for the version that was read."""
        return {"version_id_col": self.version, "version_id_generator": False}


class Kept(Versioned):
    """A record that is withdrawn, never erased."""

    withdrawn_at: Mapped[datetime | None]


class EngineRow(Kept, Base):
    """An engine."""

    __tablename__ = "engine"

    engine_id: Mapped[str] = mapped_column(String(64), primary_key=True)
    created_at: Mapped[datetime]
    built_at: Mapped[datetime | None]


class EngineSpecRow(Kept, Base):
    """A spec of an engine as it was set; the one with the highest id is in force."""

    __tablename__ = "engine_spec"

    id: Mapped[int] = mapped_column(primary_key=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), index=True)
    toml: Mapped[str] = mapped_column(Text)
    since: Mapped[datetime]


class RefreshRow(Kept, Base):
    """A refresh: it ends one build and begins the next."""

    __tablename__ = "refresh"
    __table_args__ = (Index(None, "engine_id", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"))
    at: Mapped[datetime]
    note: Mapped[str] = mapped_column(Text)


class RunRow(Versioned, Base):
    """A run, or running that no logger saw; `removed_at` is when it was withdrawn.

    `ended_at` repeats start and duration, so that overlap and last end are plain comparisons on
    every database.
    """

    __tablename__ = "run"
    __table_args__ = (
        Index(None, "engine_id", "started_at"),
        Index(None, "circuit", "ingested_at"),
    )

    run_id: Mapped[str] = mapped_column(String(32), primary_key=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"))
    started_at: Mapped[datetime]
    ended_at: Mapped[datetime]
    start_basis: Mapped[str] = mapped_column(String(8))
    duration_s: Mapped[float]
    samples: Mapped[int]
    source_name: Mapped[str] = mapped_column(Text)
    source_sha256: Mapped[str | None] = mapped_column(String(64), index=True)
    dialect: Mapped[list[Any]]
    conversions: Mapped[list[Any]]
    warnings: Mapped[list[Any]]
    channels: Mapped[list[Any]]
    ingested_at: Mapped[datetime]
    removed_at: Mapped[datetime | None]
    unlogged: Mapped[bool]
    judged_by: Mapped[str | None] = mapped_column(Text)
    read_as: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    trusted: Mapped[bool] = mapped_column(default=False, server_default="0")
    doubts: Mapped[list[Any]] = mapped_column(default=list, server_default="[]")
    doubts_key: Mapped[str] = mapped_column(String(16), default="", server_default="")
    circuit: Mapped[str | None] = mapped_column(String(64))


class ExposureRow(Base):
    """The exposure of a run; all but `running_s` is unknown for unlogged running."""

    __tablename__ = "exposure"

    run_id: Mapped[str] = mapped_column(ForeignKey("run.run_id"), primary_key=True)
    running_s: Mapped[float]
    revolutions: Mapped[float | None]
    starts: Mapped[int | None]
    heat_cycles: Mapped[float | None]
    rod_fatigue_s: Mapped[float | None]
    spring_fatigue_s: Mapped[float | None]
    running_table: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    peak_rpm: Mapped[float | None]
    peak_mean_piston_speed_m_s: Mapped[float | None]
    peak_piston_acceleration_m_s2: Mapped[float | None]
    peak_oil_angle_left_deg: Mapped[float | None]
    peak_oil_angle_right_deg: Mapped[float | None]
    least_boiling_margin_k: Mapped[float | None]


class ExposureWatchRow(Base):
    """How long a run could have shown a kind of harm; a row each, so that the database can sum."""

    __tablename__ = "exposure_watch"
    __table_args__ = ({"sqlite_with_rowid": False},)

    run_id: Mapped[str] = mapped_column(ForeignKey("run.run_id"), primary_key=True)
    kind: Mapped[str] = mapped_column(String(32), primary_key=True)
    watched_s: Mapped[float]


class SteadyPressureRow(Base):
    """The steady oil pressures of a run, as the stage that made them wrote them."""

    __tablename__ = "steady_pressure"

    run_id: Mapped[str] = mapped_column(ForeignKey("run.run_id"), primary_key=True)
    text: Mapped[str] = mapped_column(Text)


class SensorSummaryRow(Base):
    """What the sensors of a run read, as the stage that summed it up wrote it.

    `key` tells one text from another; `compared_by` names what it was last compared with.
    """

    __tablename__ = "sensor_summary"

    run_id: Mapped[str] = mapped_column(ForeignKey("run.run_id"), primary_key=True)
    text: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(String(16))
    compared_by: Mapped[str | None] = mapped_column(String(16))


class RunLayoutRow(Base):
    """Laps and corners of a run, as the stage that found them wrote them; "" where it has none.

    `key` names what they were found by.
    """

    __tablename__ = "run_layout"

    run_id: Mapped[str] = mapped_column(ForeignKey("run.run_id"), primary_key=True)
    key: Mapped[str] = mapped_column(String(80))
    text: Mapped[str] = mapped_column(Text)


class LapRow(Base):
    """A lap of a run, in its order by `place`."""

    __tablename__ = "lap"
    __table_args__ = ({"sqlite_with_rowid": False},)

    run_id: Mapped[str] = mapped_column(ForeignKey("run.run_id"), primary_key=True)
    place: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    number: Mapped[int]
    kind: Mapped[str] = mapped_column(String(8))
    start_s: Mapped[float]
    end_s: Mapped[float]
    length_m: Mapped[float | None]


class CornerNameRow(Kept, Base):
    """What people call a corner of a circuit."""

    __tablename__ = "corner_name"

    id: Mapped[int] = mapped_column(primary_key=True)
    circuit: Mapped[str] = mapped_column(String(64), index=True)
    number: Mapped[int]
    name: Mapped[str] = mapped_column(String(64))


class ChangeRow(Kept, Base):
    """A dated alteration of an engine or its car; `sort` is one of SORTS_OF_CHANGE."""

    __tablename__ = "change"

    id: Mapped[int] = mapped_column(primary_key=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), index=True)
    at: Mapped[datetime]
    sort: Mapped[str] = mapped_column(String(16))
    what: Mapped[str] = mapped_column(Text)


class SurfaceRow(Base):
    """The expected-pressure surface of a build, as the stage that learned it wrote it.

    `build` is the instant at which the build began as text, "" for a first one of unknown date: a
    key must not be null.
    """

    __tablename__ = "surface"

    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), primary_key=True)
    build: Mapped[str] = mapped_column(String(40), primary_key=True)
    text: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(String(64))


class RefusalRow(Base):
    """A log that was refused and is no run since; `set_aside_at` is when a person gave it up."""

    __tablename__ = "refusal"

    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    file: Mapped[str] = mapped_column(Text)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), index=True)
    error: Mapped[str] = mapped_column(Text)
    remedies: Mapped[list[Any]] = mapped_column(server_default="[]")
    at: Mapped[datetime]
    set_aside_at: Mapped[datetime | None]


class EventRow(Base):
    """An event of a run, as last judged.

    The key holds the run too, so that events lie by run, and a chance clash of two runs' short ids
    harms nothing. `review` repeats what the reviews of the run come to, so that totals need not
    match reviews to events; it is written anew whenever either changes.
    """

    __tablename__ = "event"
    __table_args__ = (Index(None, "event_id"), {"sqlite_with_rowid": False})

    run_id: Mapped[str] = mapped_column(ForeignKey("run.run_id"), primary_key=True)
    event_id: Mapped[str] = mapped_column(String(32), primary_key=True)
    kind: Mapped[str] = mapped_column(String(32))
    start_s: Mapped[float]
    end_s: Mapped[float]
    duration_s: Mapped[float]
    peak: Mapped[float]
    peak_s: Mapped[float]
    peak_unit: Mapped[str] = mapped_column(String(16))
    dose: Mapped[float]
    dose_unit: Mapped[str] = mapped_column(String(16))
    cause: Mapped[str | None] = mapped_column(String(32))
    side: Mapped[str | None] = mapped_column(String(8))
    direction: Mapped[str | None] = mapped_column(String(16))
    ended_by: Mapped[str] = mapped_column(String(16))
    confidence: Mapped[str] = mapped_column(Text)
    review: Mapped[str | None] = mapped_column(String(16))
    spec_version: Mapped[str] = mapped_column(String(16))
    lap: Mapped[int | None]
    corner: Mapped[int | None]


class ReviewRow(Kept, Base):
    """A person's word on a stretch of a run, kept whether or not the event is found today."""

    __tablename__ = "review"

    id: Mapped[int] = mapped_column(primary_key=True)
    run_id: Mapped[str] = mapped_column(ForeignKey("run.run_id"), index=True)
    event_id: Mapped[str] = mapped_column(String(32))
    kind: Mapped[str] = mapped_column(String(32))
    start_s: Mapped[float]
    end_s: Mapped[float]
    verdict: Mapped[str] = mapped_column(String(16))
    note: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime]
    who: Mapped[str] = mapped_column(Text)


class JournalRow(Base):
    """An act of a person: the changes that they made at once; `undoes` names the act it reverts."""

    __tablename__ = "journal"

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    who: Mapped[str] = mapped_column(Text)
    action: Mapped[str] = mapped_column(String(32))
    reason: Mapped[str] = mapped_column(Text)
    undoes: Mapped[int | None] = mapped_column(ForeignKey("journal.id"), index=True)


class JournalChangeRow(Base):
    """What an act did to one record.

    `record` is the table; `about` holds what tells the record from others, as it was before; a
    record that was created has no `before`. Without `after` nothing is known that could be undone.
    `version` is the record's own after the change.
    """

    __tablename__ = "journal_change"
    __table_args__ = (Index(None, "record", "record_id"), {"sqlite_with_rowid": False})

    journal_id: Mapped[int] = mapped_column(ForeignKey("journal.id"), primary_key=True)
    place: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    record: Mapped[str] = mapped_column(String(32))
    record_id: Mapped[str] = mapped_column(String(64))
    version: Mapped[int]
    about: Mapped[dict[str, Any]]
    before: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    after: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))


class JournalEngineRow(Base):
    """An engine that an act concerns."""

    __tablename__ = "journal_engine"
    __table_args__ = ({"sqlite_with_rowid": False},)

    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), primary_key=True)
    journal_id: Mapped[int] = mapped_column(ForeignKey("journal.id"), primary_key=True)
