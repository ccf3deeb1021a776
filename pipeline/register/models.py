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
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


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


class EngineRow(Base):
    """An engine."""

    __tablename__ = "engine"

    engine_id: Mapped[str] = mapped_column(String(64), primary_key=True)
    created_at: Mapped[datetime]
    built_at: Mapped[datetime | None]


class EngineSpecRow(Base):
    """A spec of an engine as it was set; the one with the highest id is in force."""

    __tablename__ = "engine_spec"

    id: Mapped[int] = mapped_column(primary_key=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), index=True)
    toml: Mapped[str] = mapped_column(Text)
    since: Mapped[datetime]


class RefreshRow(Base):
    """A refresh: it ends one build and begins the next."""

    __tablename__ = "refresh"
    __table_args__ = (UniqueConstraint("engine_id", "at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"))
    at: Mapped[datetime]
    note: Mapped[str] = mapped_column(Text)


class RunRow(Base):
    """A run, or running that no logger saw.

    `ended_at` repeats start and duration, so that overlap and last end are plain comparisons on
    every database.
    """

    __tablename__ = "run"
    __table_args__ = (Index(None, "engine_id", "started_at"),)

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


class ExposureRow(Base):
    """The exposure of a run; all but `running_s` is unknown for unlogged running."""

    __tablename__ = "exposure"

    run_id: Mapped[str] = mapped_column(ForeignKey("run.run_id"), primary_key=True)
    running_s: Mapped[float]
    revolutions: Mapped[float | None]
    starts: Mapped[int | None]
    heat_cycles: Mapped[float | None]
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
    ended_by: Mapped[str] = mapped_column(String(16))
    confidence: Mapped[str] = mapped_column(Text)
    review: Mapped[str | None] = mapped_column(String(16))
    spec_version: Mapped[str] = mapped_column(String(16))


class ReviewRow(Base):
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
    """A change that a person made, with what was there before."""

    __tablename__ = "journal"
    __table_args__ = (Index(None, "engine_id", "id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    who: Mapped[str] = mapped_column(Text)
    engine_id: Mapped[str | None] = mapped_column(ForeignKey("engine.engine_id"))
    action: Mapped[str] = mapped_column(String(32))
    what: Mapped[dict[str, Any]]
    reason: Mapped[str] = mapped_column(Text)
