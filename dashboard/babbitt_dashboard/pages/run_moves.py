"""Where one looks in a run, and where one looks after a control was used."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from babbitt.model.event import Event
from babbitt.present.figures.panels import seconds_of
from babbitt.present.views.run import RunView
from babbitt.present.views.run_traces import around, bounds

BUTTONS = ("previous", "next", "earlier", "later", "closer", "wider", "whole")
"""What the buttons that move do, by the name that follows `run-` in their ids."""

Place = dict[str, Any]
"""Where one looks: event, start and end of the window in s, more channels, cross-plot; and the
clicks of each button that led there."""


def pressed(view: RunView, place: Place, clicks: Mapping[str, int]) -> Place:
    """Return where one looks after buttons were pressed.

    Presses are told by the count of clicks: the browser drops the answer to a press when something
    else moves before it comes, another press or the figure that settles into its frame.

    Args:
        view: the run.
        place: where one looked.
        clicks: of each of BUTTONS since the page was opened.
    """
    new = {name: count - place["clicks"].get(name, 0) for name, count in clicks.items()}
    if not any(new.values()):
        return place
    there = place
    for name, count in new.items():
        for _ in range(count):
            there = _pressed_once(view, there, name)
    return {**there, "clicks": dict(clicks)}


def moved(view: RunView, place: Place, by: str | dict[str, str], value: Any) -> Place:
    """Return where one looks after a control other than a button was used.

    Args:
        view: the run.
        place: where one looked.
        by: id of the control.
        value: what it gave: a range of the time axis, names of channels.
    """
    if isinstance(by, dict):
        return _at_event(view, place, view.event(by["id"]))
    match by:
        case "run-more":
            return {**place, "more": value or []}
        case "run-cross":
            return {**place, "cross": value or None}
    return {**place, **_window_dragged(view, value or {})}


def _pressed_once(view: RunView, place: Place, name: str) -> Place:
    match name:
        case "next" | "previous":
            event = _beside(view, place, 1 if name == "next" else -1)
            return place if event is None else _at_event(view, place, event)
        case "whole":
            return {**place, "start": None, "end": None}
        case _:
            return {**place, **_window_moved(view, place, name)}


def _at_event(view: RunView, place: Place, event: Event | None) -> Place:
    if event is None:
        return place
    return {**place, "event": event.event_id, **window_around(view, event)}


def window_around(view: RunView, event: Event) -> Place:
    """Return the window that shows an event in its middle."""
    return _window(*around(event, view.record.duration_s))


def _window(start_s: float, end_s: float) -> Place:
    return {"start": round(start_s, 3), "end": round(end_s, 3)}


def _beside(view: RunView, place: Place, step: int) -> Event | None:
    """Return the event after or before the chosen one; without one, the first or the last."""
    ids = [event.event_id for event in view.events]
    if not ids:
        return None
    if place["event"] not in ids:
        return view.events[0 if step > 0 else -1]
    at = ids.index(place["event"]) + step
    return view.events[min(max(at, 0), len(ids) - 1)]


def _window_moved(view: RunView, place: Place, name: str) -> Place:
    start_s, end_s = bounds(view.record.duration_s, place["start"], place["end"])
    length = end_s - start_s
    match name:
        case "earlier":
            start_s, end_s = start_s - length / 2.0, end_s - length / 2.0
        case "later":
            start_s, end_s = start_s + length / 2.0, end_s + length / 2.0
        case "closer":
            start_s, end_s = start_s + length / 4.0, end_s - length / 4.0
        case _:
            start_s, end_s = start_s - length / 2.0, end_s + length / 2.0
    return _window(*bounds(view.record.duration_s, start_s, end_s))


def _window_dragged(view: RunView, change: Mapping[str, Any]) -> Place:
    """Return the window that the pointer chose on the time axis."""
    if change.get("xaxis.autorange"):
        return {"start": None, "end": None}
    ends = change.get("xaxis.range") or [change.get(f"xaxis.range[{n}]") for n in (0, 1)]
    if None in ends:
        return {}  # the figure settled into its frame
    start_s, end_s = (seconds_of(each) for each in ends)
    return _window(*bounds(view.record.duration_s, start_s, end_s))
