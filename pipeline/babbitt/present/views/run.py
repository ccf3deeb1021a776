"""The page of a run: what happened, and is it real?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from babbitt.detect.pressure import PressureSurface
from babbitt.detect.watch import Step, steps
from babbitt.logbook.folder import Logbook
from babbitt.model.channels import channels
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import NOT_COUNTED, Event
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.plain_text import capital
from babbitt.model.records import ReviewRecord, RunRecord
from babbitt.present.place_words import hit_corners
from babbitt.present.remedies import remarks_of
from babbitt.present.views.event_words import event_title, worst_words
from babbitt.present.views.text_table import TextTable
from babbitt.present.words import NOTHING, Reader, clock, duration, share
from babbitt.register.queries.run_lines import neighbours
from babbitt.register.records import builds, engines, events, exposures, layouts, runs


@dataclass(frozen=True)
class RunView:
    """A run and what was found in it.

    Attributes:
        record: what the register knows of it.
        spec: of its engine, in force today.
        surface: expected oil pressure of its build; None: not learned yet.
        events: in the order of their start.
        reviews: the newest word on each event under its own id.
        newest_review: number of the newest review of the run; 0 for none.
        blind: kinds of harm that it could not show.
        before: id of the engine's run before it; None for the first.
        after: id of the next; None for the last.
        by_place: in which corners harm was, a sentence each; None for a run without laps.
    """

    record: RunRecord
    spec: EngineSpec
    surface: PressureSurface | None
    events: tuple[Event, ...]
    reviews: Mapping[str, ReviewRecord]
    newest_review: int
    blind: tuple[Kind, ...]
    before: str | None
    after: str | None
    by_place: tuple[str, ...] | None

    def event(self, event_id: str | None) -> Event | None:
        """Return one of its events; None where it has no such."""
        return next((event for event in self.events if event.event_id == event_id), None)


def read_run(book: Logbook, run_id: str) -> RunView:
    """Read what the page of a run shows, all but the samples.

    Args:
        book: the logbook.
        run_id: the run, or the beginning of its id.

    Raises:
        RegisterError: no such run, or several.
    """
    with book.register.reading() as session:
        record = runs.find_run(session, run_id)
        build = builds.build_at(session, record.engine_id, record.started_at)
        surface = builds.surface_of(session, build)
        exposure = exposures.exposure_of(session, record.run_id)
        found = events.list_events(session, run_id=record.run_id)
        reviews = events.reviews_of(session, record.run_id)
        before, after = neighbours(session, record.engine_id, record.started_at, record.run_id)
        spec = engines.spec_of(session, record.engine_id)
        layout = layouts.layout_of(session, record.run_id)
        names = layouts.corner_names(session, record.circuit) if record.circuit else {}
    here = [dated.event for dated in found]
    watched = exposure.watched_s if exposure else {}
    return RunView(
        record=record,
        spec=spec,
        surface=PressureSurface.from_json(surface.text) if surface else None,
        events=tuple(dated.event for dated in found),
        reviews={review.event_id: review for review in reviews},
        newest_review=max((review.review_id for review in reviews), default=0),
        blind=() if record.unlogged else tuple(k for k in KINDS if not watched.get(k)),
        before=before,
        after=after,
        by_place=None if layout is None else hit_corners(here, {record.run_id: layout}, names),
    )


def run_title(view: RunView, reader: Reader) -> str:
    """Return what tells a run from others: its engine, its start, and where it was if known."""
    at = f" at {view.record.circuit}" if view.record.circuit else ""
    return f"{view.record.engine_id}{at}, {reader.instant(view.record.started_at)}"


def what_happened(view: RunView, reader: Reader) -> str:
    """Return the finding of a run in a sentence or two."""
    if view.record.unlogged:
        return (
            f"The engine ran for {duration(view.record.duration_s)} without a logger: the time "
            "counts, what happened in it is not known."
        )
    counting = [event for event in view.events if event.review not in NOT_COUNTED]
    aside = len(view.events) - len(counting)
    if not view.events:
        return "Nothing harmful was found in this run."
    if not counting:
        return f"Nothing harmful is left: {_number(aside, 'event')} found, and set aside by review."
    counts = Counter(event.kind for event in counting)
    kinds = []
    for kind in KINDS:
        if kind in counts:
            peaks = [event.peak for event in counting if event.kind == kind]
            worst = min(peaks) if KINDS[kind].worst == "lowest" else max(peaks)
            unit = next(event.peak_unit for event in counting if event.kind == kind)
            times = "" if counts[kind] == 1 else f" {counts[kind]} times"
            kinds.append(f"{KINDS[kind].title}{times}, {worst_words(kind, worst, unit, reader)}")
    words = f"{_number(len(counting), 'harmful event')}: {'; '.join(kinds)}."
    if aside:
        words += f" {_number(aside, 'event')} set aside by review."
    return words


def left_to_review(view: RunView) -> str:
    """Say how many events nobody has judged."""
    left = sum(event.review is None for event in view.events)
    if not view.events:
        return ""
    return f"{left} to review." if left else "All reviewed."


def what_was_read(view: RunView) -> tuple[str, ...]:
    """Return the quality of a run, a sentence each."""
    record = view.record
    if record.unlogged:
        return ()
    says = list(remarks_of(record)) or ["Every sensor read well throughout."]
    if view.blind:
        names = ", ".join(KINDS[kind].title for kind in view.blind)
        says.append(f"Not watched: {names}. Sound {_lacking(view)} would bring that back.")
    if record.start_basis == "file":
        says.append("The log names no start: the file's own date was taken.")
    rates_hz = {channel.name: channel.native_hz for channel in record.channels}
    says += map(_step, steps(rates_hz, view.spec, learned=view.surface is not None))
    if record.removed_at is not None:
        says.append("This run was removed, and counts in no sum.")
    return tuple(says)


def _lacking(view: RunView) -> str:
    """Return the channels that kinds are not watched for want of, or that were not sound."""
    logged = {channel.name for channel in view.record.channels}
    needed = {name for kind in view.blind for name in (KINDS[kind].channel, *KINDS[kind].needs)}
    wanted = needed - logged or needed
    return ", ".join(each.title for name, each in channels().items() if name in wanted)


def _step(step: Step) -> str:
    title = capital(channels()[step.channel].title)
    match step.code:
        case "floor_line":
            return "Expected oil pressure is not learned yet: the floor line stands in for it."
        case "hottest_oil":
            return f"{title} is not logged: the least pressure that the build had is expected."
        case "no_corners":
            return f"{title} is not logged: no loss of oil pressure is put down to a corner."
        case "slow":
            return (
                f"{title} is logged slowly: what is shorter than {step.shortest_s:.1f} s is hidden."
            )


def events_table(view: RunView, reader: Reader) -> TextTable:
    """Return the events of a run as a table."""
    return TextTable(
        columns=("At", "What", "Review", "Note", "Lasted", "Worst", "Dose", "Of life dose"),
        rows=tuple(_event_cells(view, event, reader) for event in view.events),
        left=4,
        empty="No harmful event was found.",
    )


def _event_cells(view: RunView, event: Event, reader: Reader) -> tuple[str, ...]:
    life = view.spec.life.of(event.kind)
    own = view.reviews.get(event.event_id)
    return (
        clock(event.start_s),
        event_title(event),
        (event.review or NOTHING).replace("_", " "),
        own.note if own else "",
        duration(event.duration_s),
        " ".join(reader.value(event.peak, event.peak_unit)),
        " ".join(reader.dose(event.dose, event.dose_unit)),
        share(event.dose / life if life else None),
    )


def _number(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
