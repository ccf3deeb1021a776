"""Totals of parts: the sums over all their fitments, in whatever engines."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from babbitt.model.part_records import FitmentRecord, PartService, PartSums
from babbitt.model.records import Window
from babbitt.model.service_limits import ServiceLimit, service_use
from babbitt.register.queries.places import where_now
from babbitt.register.queries.sums import added_up, history_columns, window_sums, with_history
from babbitt.register.records.engines import list_engines, require_engine, specs_of
from babbitt.register.records.fitments import list_fitments
from babbitt.register.records.parts import list_parts
from babbitt.register.tables.part_models import HistoryRow

_END = datetime.max.replace(tzinfo=UTC)


def part_sums(
    session: Session, *, engine_id: str | None = None, at: datetime | None = None
) -> tuple[PartSums, ...]:
    """Return what each part has taken over its life, in the order of kinds, then of ids.

    A run counts for the parts that were in its engine when it started. The number of queries does
    not depend on the number of parts.

    Args:
        session: of a transaction.
        engine_id: only parts that sit in this engine; None: all parts.
        at: as it stood then; None: as last written down.

    Raises:
        RegisterError: no such engine.
    """
    if engine_id is not None:
        require_engine(session, engine_id)
    wanted = {
        place.part.part_id
        for place in where_now(session, at=at)
        if engine_id is None or (place.fitment and place.fitment.engine_id == engine_id)
    }
    parts = [part for part in list_parts(session) if part.part_id in wanted]
    fitted = [
        fitment
        for fitment in list_fitments(session)
        if fitment.part_id in wanted and (at is None or fitment.since < at)
    ]
    specs, faults = specs_of(list_engines(session))
    versions = {name: spec.version() for name, spec in specs.items()} | dict.fromkeys(faults, "")
    windows = {fitment.fitment_id: _window(fitment, versions, at) for fitment in fitted}
    each_once = tuple(dict.fromkeys(windows.values()))  # parts of one build share theirs
    sums = dict(zip(each_once, window_sums(session, each_once), strict=True))
    of_part: dict[str, list[FitmentRecord]] = defaultdict(list)
    for fitment in fitted:
        of_part[fitment.part_id].append(fitment)
    histories = _histories(session, at)
    return tuple(
        PartSums(
            part=part,
            fitments=tuple(of_part[part.part_id]),
            sums=with_history(
                added_up([sums[windows[each.fitment_id]] for each in of_part[part.part_id]]),
                histories.get(part.part_id),
            ),
        )
        for part in parts
    )


def near_service(
    parts: Iterable[PartSums], limits: Mapping[str, ServiceLimit]
) -> tuple[PartService, ...]:
    """Return the service limits that parts are near or past, the most used first.

    Args:
        parts: what parts have taken.
        limits: kind of part -> what such a part may take; kinds without limits are never due.
    """
    found = [
        PartService(each.part, use)
        for each in parts
        if each.part.kind in limits
        for use in service_use(limits[each.part.kind], each.sums)
        if use.is_near
    ]
    return tuple(sorted(found, key=lambda due: -due.use.share))


def _window(fitment: FitmentRecord, versions: dict[str, str], at: datetime | None) -> Window:
    until = min(fitment.until or _END, at or _END)
    version = versions[fitment.engine_id]
    return Window(fitment.engine_id, fitment.since, None if until == _END else until, version)


def _histories(session: Session, at: datetime | None) -> dict[str, Any]:
    """Return the sums of the histories that parts have of their own, by part."""
    query = select(HistoryRow.part_id, *history_columns()).where(
        HistoryRow.part_id.is_not(None), HistoryRow.withdrawn_at.is_(None)
    )
    if at is not None:
        query = query.where(HistoryRow.until <= at)
    return {row.part_id: row for row in session.execute(query.group_by(HistoryRow.part_id))}
