"""Sums over the runs of a window, done by the database: totals cost what the window holds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    CTE,
    ColumnElement,
    Integer,
    Select,
    String,
    column,
    func,
    or_,
    select,
    values,
)
from sqlalchemy.orm import Session

from babbitt.model.event import NOT_COUNTED
from babbitt.model.exposure import KindSums, WindowSums
from babbitt.model.kinds import KINDS
from babbitt.model.records import Window
from babbitt.register.tables.models import (
    EventRow,
    ExposureRow,
    ExposureWatchRow,
    RunRow,
    UtcDateTime,
)
from babbitt.register.tables.part_models import HistoryRow

_BEGINNING = datetime.min.replace(tzinfo=UTC)
_END = datetime.max.replace(tzinfo=UTC)


def window_sums(session: Session, windows: Sequence[Window]) -> tuple[WindowSums, ...]:
    """Return the sums of each window, in their order; four queries, however many windows.

    A run belongs where it starts, running from before the logs where it ends. Removed runs are out,
    and so are events reviewed as sensor fault or harmless.

    Args:
        session: of a transaction.
        windows: stretches of engines' lives; they may overlap.
    """
    if not windows:
        return ()
    table = _as_table(windows)
    runs = {row.place: row for row in session.execute(_run_sums(table))}
    watched = {(row.place, row.kind): row for row in session.execute(_watched_sums(table))}
    events = {(row.place, row.kind): row for row in session.execute(_event_sums(table))}
    histories = {row.place: row for row in session.execute(_history_sums(table))}
    return tuple(
        with_history(
            _window_sums(
                runs.get(place),
                {
                    kind: _kind_sums(watched.get((place, kind)), events.get((place, kind)))
                    for kind in KINDS
                },
            ),
            histories.get(place),
        )
        for place in range(len(windows))
    )


def added_up(sums: Sequence[WindowSums]) -> WindowSums:
    """Return the sums of several windows that share no run as those of one."""
    return WindowSums(
        runs=sum(each.runs for each in sums),
        unlogged_runs=sum(each.unlogged_runs for each in sums),
        running_s=math.fsum(each.running_s for each in sums),
        unlogged_s=math.fsum(each.unlogged_s for each in sums),
        revolutions=math.fsum(each.revolutions for each in sums),
        starts=sum(each.starts for each in sums),
        heat_cycles=math.fsum(each.heat_cycles for each in sums),
        runs_without_heat_cycles=sum(each.runs_without_heat_cycles for each in sums),
        rod_fatigue_s=math.fsum(each.rod_fatigue_s for each in sums),
        spring_fatigue_s=math.fsum(each.spring_fatigue_s for each in sums),
        kinds={kind: _kinds_added_up([each.kinds[kind] for each in sums]) for kind in KINDS},
        first_start=min((each.first_start for each in sums if each.first_start), default=None),
        last_end=max((each.last_end for each in sums if each.last_end), default=None),
        history_s=math.fsum(each.history_s for each in sums),
        uncounted_s=math.fsum(each.uncounted_s for each in sums),
    )


def with_history(sums: WindowSums, history: Any) -> WindowSums:
    """Return sums with running from before the logs added.

    Args:
        sums: of a window.
        history: a row of the columns of `history_columns`; None: there is none.
    """
    if history is None:
        return sums
    return replace(
        sums,
        running_s=sums.running_s + history.running_s,
        unlogged_s=sums.unlogged_s + history.running_s,
        revolutions=sums.revolutions + (history.revolutions or 0.0),
        history_s=sums.history_s + history.running_s,
        uncounted_s=sums.uncounted_s + (history.uncounted_s or 0.0),
    )


def history_columns() -> tuple[ColumnElement[Any], ...]:
    """Return the columns that sum running from before the logs."""
    return (
        func.sum(HistoryRow.running_s).label("running_s"),
        func.sum(HistoryRow.revolutions).label("revolutions"),
        func.sum(HistoryRow.running_s)
        .filter(HistoryRow.revolutions.is_(None))
        .label("uncounted_s"),
    )


def _as_table(windows: Sequence[Window]) -> CTE:
    """Return the windows as a table that a query can join."""
    rows = values(
        column("place", Integer),
        column("engine_id", String),
        column("since", UtcDateTime),
        column("until", UtcDateTime),
        column("spec_version", String),
    ).data(
        [
            (place, w.engine_id, w.since or _BEGINNING, w.until or _END, w.spec_version)
            for place, w in enumerate(windows)
        ]
    )
    return rows.cte("stretch")


def _run_sums(windows: CTE) -> Select[Any]:
    return _counted(
        windows,
        func.count().label("runs"),
        func.count().filter(RunRow.unlogged).label("unlogged_runs"),
        func.sum(ExposureRow.running_s).label("running_s"),
        func.sum(ExposureRow.running_s).filter(RunRow.unlogged).label("unlogged_s"),
        func.sum(ExposureRow.revolutions).label("revolutions"),
        func.sum(ExposureRow.running_s)
        .filter(ExposureRow.revolutions.is_(None))
        .label("uncounted_s"),
        func.sum(ExposureRow.starts).label("starts"),
        func.sum(ExposureRow.heat_cycles).label("heat_cycles"),
        func.count(ExposureRow.heat_cycles).label("runs_with_heat_cycles"),
        func.sum(ExposureRow.rod_fatigue_s).label("rod_fatigue_s"),
        func.sum(ExposureRow.spring_fatigue_s).label("spring_fatigue_s"),
        func.min(RunRow.started_at).label("first_start"),
        func.max(RunRow.ended_at).label("last_end"),
    ).join(ExposureRow, ExposureRow.run_id == RunRow.run_id)


def _watched_sums(windows: CTE) -> Select[Any]:
    return (
        _counted(
            windows, ExposureWatchRow.kind, func.sum(ExposureWatchRow.watched_s).label("watched_s")
        )
        .join(ExposureWatchRow, ExposureWatchRow.run_id == RunRow.run_id)
        .group_by(ExposureWatchRow.kind)
    )


def _event_sums(windows: CTE) -> Select[Any]:
    stale = EventRow.spec_version != windows.c.spec_version
    return (
        _counted(
            windows,
            EventRow.kind,
            func.count().label("events"),
            func.sum(EventRow.duration_s).label("duration_s"),
            func.sum(EventRow.dose).label("dose"),
            func.count().filter(stale).label("stale"),
        )
        .join(EventRow, EventRow.run_id == RunRow.run_id)
        .where(or_(EventRow.review.is_(None), EventRow.review.not_in(NOT_COUNTED)))
        .group_by(EventRow.kind)
    )


def _history_sums(windows: CTE) -> Select[Any]:
    """Select the histories that end in each window; its end counts in it, its beginning not."""
    return (
        select(windows.c.place, *history_columns())
        .select_from(windows)
        .join(
            HistoryRow,
            (HistoryRow.engine_id == windows.c.engine_id)
            & (HistoryRow.until > windows.c.since)
            & (HistoryRow.until <= windows.c.until)
            & HistoryRow.withdrawn_at.is_(None),
        )
        .group_by(windows.c.place)
    )


def _counted(windows: CTE, *columns: Any) -> Select[Any]:
    """Select from the runs that count in each window, grouped by window."""
    return (
        select(windows.c.place, *columns)
        .select_from(windows)
        .join(
            RunRow,
            (RunRow.engine_id == windows.c.engine_id)
            & (RunRow.started_at >= windows.c.since)
            & (RunRow.started_at < windows.c.until)
            & RunRow.removed_at.is_(None),
        )
        .group_by(windows.c.place)
    )


def _window_sums(row: Any, kinds: dict[Any, KindSums]) -> WindowSums:
    if row is None:
        return WindowSums(0, 0, 0.0, 0.0, 0.0, 0, 0.0, 0, kinds, None, None)
    return WindowSums(
        runs=row.runs,
        unlogged_runs=row.unlogged_runs,
        running_s=row.running_s,
        unlogged_s=row.unlogged_s or 0.0,
        revolutions=row.revolutions or 0.0,
        starts=row.starts or 0,
        heat_cycles=row.heat_cycles or 0.0,
        runs_without_heat_cycles=row.runs - row.runs_with_heat_cycles,
        rod_fatigue_s=row.rod_fatigue_s or 0.0,
        spring_fatigue_s=row.spring_fatigue_s or 0.0,
        kinds=kinds,
        first_start=row.first_start,
        last_end=row.last_end,
        uncounted_s=row.uncounted_s or 0.0,
    )


def _kind_sums(watched: Any, events: Any) -> KindSums:
    return KindSums(
        watched_s=watched.watched_s if watched else 0.0,
        count=events.events if events else 0,
        duration_s=events.duration_s if events else 0.0,
        dose=events.dose if events else 0.0,
        stale=events.stale if events else 0,
    )


def _kinds_added_up(sums: Sequence[KindSums]) -> KindSums:
    return KindSums(
        watched_s=math.fsum(each.watched_s for each in sums),
        count=sum(each.count for each in sums),
        duration_s=math.fsum(each.duration_s for each in sums),
        dose=math.fsum(each.dose for each in sums),
        stale=sum(each.stale for each in sums),
    )
