"""The page of a run by place: which corner, which lap."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from babbitt.logbook.folder import Logbook
from babbitt.model.event import NOT_COUNTED, Event
from babbitt.model.layout import POINTS, Layout
from babbitt.model.run import FloatArray
from babbitt.present.place_words import corner_title, hit_corners, laps_in_words
from babbitt.present.views.run import RunView, read_run
from babbitt.register.records import layouts

_PRESSURE = ("rpm", "oil_pressure", "oil_temperature")


@dataclass(frozen=True)
class PlaceView:
    """A run, its laps and the harm along them.

    Attributes:
        run: what its own page shows.
        layout: its laps and corners.
        names: of the corners that have one.
        missing_kpa: mean oil pressure missing of what is expected, at even places along the lap;
            shape (POINTS,); None where it is not logged, or the expected is not learned.
    """

    run: RunView
    layout: Layout
    names: Mapping[int, str]
    missing_kpa: FloatArray | None

    @property
    def counting(self) -> tuple[Event, ...]:
        """Events that nobody set aside."""
        return tuple(each for each in self.run.events if each.review not in NOT_COUNTED)

    def says(self) -> tuple[str, ...]:
        """How many laps there are, then the corners that were hit."""
        layout_of_run = {self.run.record.run_id: self.layout}
        hits = hit_corners(self.run.events, layout_of_run, self.names)
        nothing = ("No harm in any corner of a whole lap.",)
        return (laps_in_words(self.layout), *(hits or nothing))

    def map_says(self) -> str:
        """How the map was made, and how well it closes; "" where there is none."""
        course = self.layout.course_map
        if course is None:
            return ""
        if course.by == "position":
            return "The line is as positions were logged, north up."
        share = ""
        if self.layout.length_m:
            share = f", {100.0 * course.closing_m / self.layout.length_m:.1f} % of the lap"
        return (
            "The line is reckoned from speed and lateral acceleration, in no certain direction; "
            f"its ends missed one another by {course.closing_m:.0f} m{share}, and were joined."
        )

    def corner_labels(self) -> dict[int, str]:
        """What is written at each corner."""
        return {
            corner.number: self.names.get(corner.number, f"{corner.number}")
            for corner in self.layout.corners
        }

    def title_of(self, event: Event) -> str:
        """The place of an event, like lap 3, corner 5."""
        parts = [] if event.lap is None else [f"lap {event.lap}"]
        parts += [] if event.corner is None else [corner_title(event.corner, self.names)]
        return ", ".join(parts) or "in no lap"


def read_place(book: Logbook, run_id: str) -> PlaceView | None:
    """Read what the page of a run by place shows; None for a run without laps.

    Raises:
        RegisterError: no such run, or several.
        RunFileError: its file is missing or damaged.
    """
    view = read_run(book, run_id)
    record = view.record
    with book.register.reading() as session:
        layout = layouts.layout_of(session, record.run_id)
        names = layouts.corner_names(session, record.circuit) if record.circuit else {}
    if layout is None:
        return None
    return PlaceView(view, layout, names, _missing(book, view, layout))


def _missing(book: Logbook, view: RunView, layout: Layout) -> FloatArray | None:
    has = {channel.name for channel in view.record.channels}
    if view.surface is None or not {"rpm", "oil_pressure"} <= has:
        return None
    sums, counts = np.zeros(POINTS), np.zeros(POINTS)
    for part in book.run_parts(view.record.engine_id, view.record.run_id, _PRESSURE):
        rpm, oil = part.signals["rpm"], part.signals["oil_pressure"]
        warm = part.signals.get("oil_temperature")
        celsius = np.full(part.samples, np.nan, np.float32) if warm is None else warm.values
        share = layout.share_at(part.time_s)
        missing = view.surface.expected(rpm.values, celsius) - oil.values
        known = rpm.usable() & oil.usable() & np.isfinite(share) & np.isfinite(missing)
        at = np.minimum((share[known] * POINTS).astype(int), POINTS - 1)
        sums += np.bincount(at, np.maximum(missing[known], 0.0), POINTS)
        counts += np.bincount(at, minlength=POINTS)
    return np.divide(sums, counts, out=np.zeros(POINTS), where=counts > 0)
