"""Run, by place: which corner, and in how many laps?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import html

from babbitt.model.event import Event
from babbitt.present.figures.course import PlacedHarm, course_figure, strip_figure
from babbitt.present.place_words import lap_time
from babbitt.present.views.event_words import event_title
from babbitt.present.views.run import run_title
from babbitt.present.views.run_place import PlaceView, read_place
from babbitt.present.words import clock, duration
from babbitt_dashboard.address import path_to
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import empty_state, graph, link, table
from babbitt_dashboard.page import Page, no_callbacks

MAP_HEIGHT = 440
"""Pixels."""


def layout(desk: Desk, run_id: str, event: str = "", **_: Any) -> html.Div:
    """Return the laps of a run with the harm along them."""
    place = read_place(desk.book, run_id)
    if place is None:
        return html.Div(
            [
                html.H1("Run, by place"),
                empty_state(
                    "This run has no laps: it was on no circuit that repeats, or its log has "
                    "nothing that tells. ",
                    link("To the run", path_to("run", run_id)),
                ),
            ]
        )
    record = place.run.record
    harm = _placed(place, event)
    return html.Div(
        [
            html.H1(f"{run_title(place.run, desk.reader)}, by place"),
            html.P(place.says()[1], className="lead"),
            html.P(" ".join((place.says()[0], *place.says()[2:]))),
            html.P(link("To the run over time", path_to("run", record.run_id))),
            *_map(desk, place, harm),
            html.H2("Lap by lap"),
            _strip(desk, place, harm),
            html.H2("Events"),
            _events(place),
            html.H2("Laps"),
            _laps(place),
        ],
        id="place-page",
    )


def _placed(place: PlaceView, chosen: str) -> list[PlacedHarm]:
    counting = place.counting
    starts = place.layout.share_at([each.start_s for each in counting])
    ends = place.layout.share_at([each.end_s for each in counting])
    return [
        PlacedHarm(
            each.lap or 0,
            float(start),
            float(end) if end > start else 1.0,
            f"{_what(each)}, {place.title_of(each)}, {duration(each.duration_s)}",
            each.event_id == chosen,
        )
        for each, start, end in zip(counting, starts, ends, strict=True)
        if start == start  # an event outside of whole laps has no place
    ]


def _map(desk: Desk, place: PlaceView, harm: list[PlacedHarm]) -> list[Any]:
    course = place.layout.course_map
    if course is None:
        return []
    figure = course_figure(
        course,
        place.layout.corners,
        place.corner_labels(),
        place.missing_kpa,
        harm,
        desk.ink,
        height=MAP_HEIGHT,
    )
    said = "The lap as one line; harm is in the accent, thicker where more oil pressure is missing."
    return [graph(figure, said), html.P(place.map_says(), className="secondary")]


def _strip(desk: Desk, place: PlaceView, harm: list[PlacedHarm]) -> html.Figure:
    figure = strip_figure(
        place.layout.whole_laps, place.layout.corners, place.corner_labels(), harm, desk.ink
    )
    return graph(figure, "Each whole lap as a line, with harm in the accent where it was")


def _what(event: Event) -> str:
    """Return what sort of event it is, without the corner, which is said beside it."""
    return event_title(replace(event, corner=None))


def _events(place: PlaceView) -> Any:
    if not place.counting:
        return empty_state("Nothing harmful was found in this run.")
    run_id = place.run.record.run_id
    rows = [
        (
            link(clock(each.start_s), path_to("run", run_id, event=each.event_id)),
            _what(each),
            place.title_of(each),
            duration(each.duration_s),
        )
        for each in place.counting
    ]
    return table(("at", "what", "where", "for"), rows, left=3)


def _laps(place: PlaceView) -> html.Div:
    rows = [
        (
            f"{lap.number}",
            "" if lap.kind == "lap" else lap.kind,
            lap_time(lap.end_s - lap.start_s),
            "" if lap.length_m is None else f"{lap.length_m:,.0f}",
            f"{sum(lap.start_s <= each.start_s < lap.end_s for each in place.counting) or '–'}",
        )
        for lap in place.layout.laps
    ]
    return table(("lap", "", "time", "length, m", "harmful events"), rows, left=2)


PAGE = Page(
    name="Runs",
    path="/place/<run_id>",
    title="Run, by place",
    layout=layout,
    connect=no_callbacks,
)
