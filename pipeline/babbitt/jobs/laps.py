"""Laps: found in every run whose log has what tells them, and kept with the places of events."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial
from itertools import groupby
from math import ceil
from statistics import median

from babbitt.errors import RegisterError, RunFileError
from babbitt.laps.motion import CHANNELS, TELLING, motion_of
from babbitt.logbook.folder import Logbook
from babbitt.model.event import Event
from babbitt.model.layout import Layout
from babbitt.model.records import RunRecord
from babbitt.register.records import events, layouts

FINDER = "1"
"""Version of what finds laps: those found by an earlier one are found again."""

Apply = Callable[[Callable[[RunRecord], str | None], Iterable[RunRecord]], Iterable[str | None]]


def find_laps(book: Logbook, engine_id: str, apply: Apply = map) -> tuple[str, ...]:
    """Find the laps of every run of an engine that was not looked through by today's means.

    The run that was first at a circuit comes before the others there, whose corners go by it.

    Args:
        book: the logbook.
        engine_id: the engine.
        apply: has the runs looked through, by other processes perhaps.

    Returns:
        Which runs could not be looked through, a sentence each.

    Raises:
        RegisterError: no such engine.
        LogbookError: the register cannot be written.
    """
    with book.register.reading() as session:
        waiting = layouts.runs_to_lap(session, engine_id, FINDER)
        known = {
            circuit
            for circuit in {record.circuit for record in waiting}
            if circuit is not None and layouts.course_at(session, circuit) is not None
        }
    look = partial(_find_in, book)
    failures: list[str | None] = []
    rest: list[RunRecord] = []
    by_circuit = groupby(sorted(waiting, key=_circuit), key=_circuit)
    for circuit, records in by_circuit:
        there = list(records)
        while circuit and circuit not in known and there:
            first = there.pop(0)
            failures.append(look(first))
            with book.register.reading() as session:
                known |= {circuit} if layouts.course_at(session, circuit) else set()
        rest += there
    failures += apply(look, rest)
    return tuple(failure for failure in failures if failure is not None)


def runs_for_laps(
    book: Logbook, engine_id: str, laps: int, circuit: str | None, at: datetime
) -> tuple[int, float]:
    """Return in how many runs an engine does so many laps, and how many a usual run of it has.

    Args:
        book: the logbook.
        engine_id: the engine.
        laps: above 0.
        circuit: where; None: anywhere.
        at: only runs from before.

    Raises:
        RegisterError: no such engine, or no run of it there has laps.
    """
    with book.register.reading() as session:
        each = layouts.laps_by_run(session, engine_id, circuit, at)
    if not each:
        where = f" at {circuit}" if circuit else ""
        raise RegisterError(
            f"No run of {engine_id}{where} has laps: say how many runs to look ahead instead."
        )
    usual = median(each)
    return max(1, ceil(laps / usual)), usual


def placed(found: Sequence[Event], layout: Layout | None) -> tuple[Event, ...]:
    """Return events with their laps and corners; without a layout they have neither."""
    if layout is None:
        return tuple(found)
    return tuple(
        replace(event, lap=lap, corner=corner)
        for event in found
        for lap, corner in [layout.place_of(event.start_s, event.end_s)]
    )


def _circuit(record: RunRecord) -> str:
    return record.circuit or ""


def _find_in(book: Logbook, record: RunRecord) -> str | None:
    """Find and keep the laps of a run; return why that could not be done, where it could not."""
    has = {channel.name for channel in record.channels}
    layout = None
    if has.intersection(TELLING):
        from babbitt.laps.find import find_layout  # scipy, which it needs, is slow to import

        with book.register.reading() as session:
            there = record.circuit
            course = layouts.course_at(session, there, but=record.run_id) if there else None
        try:
            motion = motion_of(book.run_parts(record.engine_id, record.run_id, CHANNELS))
        except RunFileError as error:
            return str(error)
        layout = find_layout(motion, course)
    key = layouts.layout_key(FINDER, record.circuit)
    with book.register.writing() as session:
        layouts.save_layout(session, record.run_id, key, layout)
        found = [each.event for each in events.list_events(session, run_id=record.run_id)]
        if found:
            places = {event.event_id: (event.lap, event.corner) for event in placed(found, layout)}
            events.place_events(session, record.run_id, places)
    return None
