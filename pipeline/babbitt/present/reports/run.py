"""The report of a run: what happened, in words, as traces and as a list."""

from __future__ import annotations

from datetime import datetime

from babbitt.present.figures.ink import LIGHT
from babbitt.present.figures.traces import traces_figure
from babbitt.present.reports.report import Figure, Section, write_report
from babbitt.present.views.event_words import event_doubts, event_sentence
from babbitt.present.views.run import (
    RunView,
    events_table,
    left_to_review,
    run_title,
    what_happened,
    what_was_read,
)
from babbitt.present.views.run_traces import bounds, read_at, window_of
from babbitt.present.views.shelf import OpenRun
from babbitt.present.words import Reader, clock

TRACES_PX = 500
"""Height at which two figures of traces and a few events fit on two pages."""


def run_report(
    view: RunView,
    run: OpenRun | None,
    reader: Reader,
    *,
    at: datetime,
    chosen: str | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
) -> str:
    """Return the report of a run as one file of HTML.

    Args:
        view: what was found in it.
        run: its traces; None for unlogged running.
        reader: whose units and time zone are used.
        at: UTC, the moment that it tells of.
        chosen: id of an event to show on its own.
        start_s: left end of a window to show on its own, s; None: there is none.
        end_s: right end.
    """
    told = f"{what_happened(view, reader)} {left_to_review(view)}".strip()
    sections = [Section("", sentences=(told, *what_was_read(view)))]
    if run is not None:
        whole = bounds(run.duration_s)
        sections.append(_traces("The whole run", (), view, run, reader, whole, chosen))
        if start_s is not None and end_s is not None:
            seen = bounds(run.duration_s, start_s, end_s)
            title = f"From {clock(seen[0])} to {clock(seen[1])}"
            said = _said(view, run, reader, chosen)
            sections.append(_traces(title, said, view, run, reader, seen, chosen))
        sections.append(Section("Events", tables=(events_table(view, reader),)))
    return write_report(run_title(view, reader), sections, at=at, reader=reader)


def _said(view: RunView, run: OpenRun, reader: Reader, chosen: str | None) -> tuple[str, ...]:
    event = view.event(chosen)
    if event is None:
        return ()
    sentence = event_sentence(event, view.spec, reader, read_at(run, event.peak_s))
    return sentence, *event_doubts(event, view.spec)


def _traces(
    title: str,
    said: tuple[str, ...],
    view: RunView,
    run: OpenRun,
    reader: Reader,
    ends: tuple[float, float],
    chosen: str | None,
) -> Section:
    window = window_of(run, view, reader, *ends, chosen=chosen)
    figure = traces_figure(
        window.panels,
        window.bands,
        LIGHT,
        start_s=window.start_s,
        end_s=window.end_s,
        height=TRACES_PX,
        hours=run.duration_s >= 3600.0,
    )
    name = f"Traces of the run from {clock(ends[0])} to {clock(ends[1])}, with its events"
    return Section(title, sentences=said, figures=(Figure(figure, name),))
