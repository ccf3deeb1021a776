"""The tables of what a builder keeps: parts and where they were, build sheets, teardowns."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from babbitt.register.tables.models import Base, Kept


class PartRow(Kept, Base):
    """A tracked part; `kind` is a part of schemas/causes.toml."""

    __tablename__ = "part"

    part_id: Mapped[str] = mapped_column(String(64), primary_key=True)
    kind: Mapped[str] = mapped_column(String(32), index=True)
    note: Mapped[str] = mapped_column(Text)


class FitmentRow(Kept, Base):
    """The span, from `since` to before `until`, that a part sat at a position of an engine."""

    __tablename__ = "fitment"

    id: Mapped[int] = mapped_column(primary_key=True)
    part_id: Mapped[str] = mapped_column(ForeignKey("part.part_id"), index=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), index=True)
    position: Mapped[str | None] = mapped_column(String(16))
    since: Mapped[datetime]
    until: Mapped[datetime | None]


class WorkRow(Kept, Base):
    """The span that a part was out of the house for work."""

    __tablename__ = "work"

    id: Mapped[int] = mapped_column(primary_key=True)
    part_id: Mapped[str] = mapped_column(ForeignKey("part.part_id"), index=True)
    shop: Mapped[str] = mapped_column(Text)
    what: Mapped[str] = mapped_column(Text)
    since: Mapped[datetime]
    due: Mapped[datetime | None]
    back_at: Mapped[datetime | None]
    result: Mapped[str] = mapped_column(Text)


class HistoryRow(Kept, Base):
    """Running from before the logs, of an engine or of a part; it counts where it ends."""

    __tablename__ = "history"

    id: Mapped[int] = mapped_column(primary_key=True)
    engine_id: Mapped[str | None] = mapped_column(ForeignKey("engine.engine_id"), index=True)
    part_id: Mapped[str | None] = mapped_column(ForeignKey("part.part_id"), index=True)
    running_s: Mapped[float]
    revolutions: Mapped[float | None]
    until: Mapped[datetime]
    note: Mapped[str] = mapped_column(Text)


class SheetLineRow(Kept, Base):
    """What a refresh did with the part of a kind at a position; no refresh: the first build."""

    __tablename__ = "sheet_line"

    id: Mapped[int] = mapped_column(primary_key=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), index=True)
    refresh_id: Mapped[int | None] = mapped_column(ForeignKey("refresh.id"), index=True)
    part: Mapped[str] = mapped_column(String(32))
    position: Mapped[str | None] = mapped_column(String(16))
    action: Mapped[str] = mapped_column(String(8))
    part_id: Mapped[str | None] = mapped_column(ForeignKey("part.part_id"))
    note: Mapped[str] = mapped_column(Text)


class BuiltMeasurementRow(Kept, Base):
    """A measurement of a fresh build; no refresh: of the first build."""

    __tablename__ = "built_measurement"

    id: Mapped[int] = mapped_column(primary_key=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), index=True)
    refresh_id: Mapped[int | None] = mapped_column(ForeignKey("refresh.id"), index=True)
    part: Mapped[str | None] = mapped_column(String(32))
    position: Mapped[str | None] = mapped_column(String(16))
    name: Mapped[str] = mapped_column(Text)
    value: Mapped[float]
    unit: Mapped[str] = mapped_column(Text)
    low: Mapped[float | None]
    high: Mapped[float | None]


class TeardownRow(Kept, Base):
    """An engine taken apart; it belongs to the build that it ends."""

    __tablename__ = "teardown"

    id: Mapped[int] = mapped_column(primary_key=True)
    engine_id: Mapped[str] = mapped_column(ForeignKey("engine.engine_id"), index=True)
    at: Mapped[datetime]
    note: Mapped[str] = mapped_column(Text)


class FindingRow(Kept, Base):
    """A finding of a teardown; the columns `measured_` are its measurement, null together."""

    __tablename__ = "finding"

    id: Mapped[int] = mapped_column(primary_key=True)
    teardown_id: Mapped[int] = mapped_column(ForeignKey("teardown.id"), index=True)
    part: Mapped[str] = mapped_column(String(32))
    position: Mapped[str | None] = mapped_column(String(16))
    damage_mode: Mapped[str | None] = mapped_column(String(32))
    grade: Mapped[int]
    disposition: Mapped[str] = mapped_column(String(16))
    note: Mapped[str] = mapped_column(Text)
    photos: Mapped[list[Any]]
    measured_name: Mapped[str | None] = mapped_column(Text)
    measured_value: Mapped[float | None]
    measured_unit: Mapped[str | None] = mapped_column(Text)
    measured_low: Mapped[float | None]
    measured_high: Mapped[float | None]
