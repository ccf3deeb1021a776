"""What the page of one teardown shows: where to look, what was found, and what it fits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from babbitt.damage.blame import worst_events
from babbitt.errors import RegisterError
from babbitt.jobs.attribute import TeardownMatch, explain_teardown
from babbitt.jobs.fit import rpm_at_peaks
from babbitt.jobs.gather import fitted_to
from babbitt.jobs.outlook import sheet_from, sheet_of
from babbitt.logbook.folder import Logbook
from babbitt.model.engine_layout import EngineLayout
from babbitt.model.finding import Measurement
from babbitt.model.part_records import AsBuilt, FindingRecord, TeardownRecord
from babbitt.present.reports.sheet_print import sheet_in_words
from babbitt.present.views.foresight import Foreseen
from babbitt.present.words import Reader, as_measured
from babbitt.register.queries import as_built
from babbitt.register.records import engines, teardowns
from babbitt.teardown.sheet import Sheet

LOOK_FIRST = 5
"""So many items of the sheet are where to look first (common practice, no source)."""


@dataclass(frozen=True)
class Bench:
    """An engine on the bench: its parts in the order in which to look at them.

    Attributes:
        engine_id: the engine.
        layout: of the engine.
        spots: kind of part and position ("" for the only one), in order of chance.
        likely: those where to look first.
        teardowns: recorded ones of this engine, newest first.
    """

    engine_id: str
    layout: EngineLayout
    spots: tuple[tuple[str, str], ...]
    likely: frozenset[tuple[str, str]]
    teardowns: tuple[TeardownRecord, ...]


@dataclass(frozen=True)
class SheetView:
    """The teardown sheet in words, and what the bench needs of it.

    Attributes:
        words: see `sheet_in_words`.
        bench: the engine.
    """

    words: Mapping[str, Any]
    bench: Bench


@dataclass(frozen=True)
class Stripped:
    """A recorded teardown: its findings, and what they fit.

    Attributes:
        match: each finding of damage with its causes, and what to look at again.
        findings: in the order of their entry.
        built: value as built of what a finding measured, by number of the finding.
    """

    match: TeardownMatch
    findings: tuple[FindingRecord, ...]
    built: Mapping[int, Measurement]


def sheet_view(
    book: Logbook, engine_id: str, reader: Reader, *, foreseen: Foreseen, before: datetime | None
) -> SheetView:
    """Return where to look when an engine comes apart.

    Args:
        book: the logbook.
        engine_id: the engine.
        reader: whose units and time zone are used.
        foreseen: what the record foretells today.
        before: UTC, a recorded teardown: what was known before it; None: what is known today.

    Raises:
        RegisterError: no such engine, or it was not built yet.
        DamageModelError: the draws of a damage mode do not settle.
        LogbookError: the file of a run is missing or damaged.
    """
    with book.register.reading() as session:
        layout = engines.spec_of(session, engine_id).engine.arrangement
        recorded = teardowns.teardowns_of(session, engine_id)
    if before is None and engine_id in foreseen.known:
        known = foreseen.known[engine_id]
        state = known.state
        sheet = sheet_from(
            foreseen.gathered,
            known.learned,
            state.fitted,
            engine_id,
            at=state.at,
            since=known.build.since,
        )
        told = [item.blame for item in sheet.items if item.blame]
        rpm_at: Mapping[str, float] = rpm_at_peaks(book, worst_events(told))
    else:
        at = foreseen.at if before is None else before - timedelta(seconds=1)
        sheet, rpm_at = sheet_of(book, engine_id, at=at)
    likely = frozenset(
        (item.part.name, position)
        for item in sheet.items[:LOOK_FIRST]
        if item.chance
        for position in item.positions
    )
    bench = Bench(engine_id, layout, _spots(sheet), likely, tuple(reversed(recorded)))
    return SheetView(sheet_in_words(sheet, reader, rpm_at), bench)


def stripped(book: Logbook, teardown: TeardownRecord, foreseen: Foreseen) -> Stripped:
    """Return a recorded teardown.

    Args:
        book: the logbook.
        teardown: the teardown.
        foreseen: what the record foretells today.

    Raises:
        LogbookError: the file of a run is missing or damaged.
    """
    engine_id, gathered = teardown.engine_id, foreseen.gathered
    with book.register.reading() as session:
        findings = tuple(
            each
            for each in teardowns.findings_of(session, engine_id)
            if each.teardown.teardown_id == teardown.teardown_id
        )
        measured = as_built.as_built(session, engine_id, number=teardown.build_number)
        fitted = fitted_to(session, gathered, [engine_id], teardown.at)[engine_id]
    learned = foreseen.known[engine_id].learned
    match = explain_teardown(gathered, learned, teardown, findings, fitted)
    told = [each.blames[0] for each in match.matches] + [each.blame for each in match.look_again]
    match = replace(match, rpm_at=rpm_at_peaks(book, worst_events(told)))
    return Stripped(match, findings, _built(findings, measured))


def recorded_teardown(book: Logbook, engine_id: str, at: str | None) -> TeardownRecord:
    """Return the teardown of an engine at an instant.

    Args:
        book: the logbook.
        engine_id: the engine.
        at: ISO 8601, as addresses have it; UTC where it names no zone.

    Raises:
        RegisterError: it is no instant, there is no such engine, or no teardown of it then.
    """
    text = (at or "").strip()
    if "T" in text:
        text = text.replace(" ", "+")  # which a plus that nobody encoded is read as
    try:
        instant = datetime.fromisoformat(text)
    except ValueError as error:
        raise RegisterError(f"{at!r} is no date and time: go by the page Teardowns.") from error
    instant = instant if instant.tzinfo else instant.replace(tzinfo=UTC)
    with book.register.reading() as session:
        for teardown in teardowns.teardowns_of(session, engine_id):
            if teardown.at == instant:
                return teardown
    raise RegisterError(
        f"No teardown of {engine_id} is recorded at that time: the page Teardowns lists those "
        "there are."
    )


def recorded_finding(book: Logbook, engine_id: str, finding_id: int) -> FindingRecord:
    """Return a recorded finding.

    Raises:
        RegisterError: no such engine, or it has no such finding.
    """
    with book.register.reading() as session:
        for record in teardowns.findings_of(session, engine_id):
            if record.finding_id == finding_id:
                return record
    raise RegisterError(
        f"{engine_id} has no finding {finding_id}: it was withdrawn, or the address is wrong."
    )


def measured_words(measured: Measurement, built: Measurement | None) -> str:
    """Return a measurement, its limits, and how it was as built."""
    text = f"{measured.name} {as_measured(measured.value)} {measured.unit}"
    notes = []
    if measured.low is not None and measured.high is not None:
        notes.append(f"limits {as_measured(measured.low)} to {as_measured(measured.high)}")
    elif measured.low is not None:
        notes.append(f"at least {as_measured(measured.low)}")
    elif measured.high is not None:
        notes.append(f"at most {as_measured(measured.high)}")
    if measured.within_tolerance is False:
        notes[-1] = f"outside {notes[-1]}"
    if built is not None:
        notes.append(f"built {as_measured(built.value)}")
    return f"{text} ({', '.join(notes)})" if notes else text


def _spots(sheet: Sheet) -> tuple[tuple[str, str], ...]:
    spots = [(item.part.name, position) for item in sheet.items for position in item.positions]
    return tuple(dict.fromkeys(spots))


def _built(
    findings: Iterable[FindingRecord], measured: Iterable[AsBuilt]
) -> dict[int, Measurement]:
    """Return the value as built beside each measured one of the same part, name and unit."""
    known = {(each.part, each.position, each.name): each.now for each in measured}
    built = {}
    for record in findings:
        finding = record.finding
        if finding.measurement is not None:
            was = known.get((finding.part, finding.position, finding.measurement.name))
            if was is not None and was.unit == finding.measurement.unit:
                built[record.finding_id] = was
    return built
