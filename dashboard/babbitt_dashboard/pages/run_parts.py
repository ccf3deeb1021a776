"""What the page of a run is made of: its events as a list, the chosen one, its controls."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import dcc, html

from babbitt.model.event import NOT_COUNTED, Event, Verdict
from babbitt.model.kinds import KINDS
from babbitt.present.views.event_words import event_doubts, event_sentence, event_title, worst_words
from babbitt.present.views.run import RunView
from babbitt.present.words import Reader, clock, duration, share
from babbitt_dashboard.address import path_to
from babbitt_dashboard.marks import empty_state, link

VERDICT_KEYS: dict[Verdict, str] = {"confirmed": "c", "sensor_fault": "f", "harmless": "h"}

_MOVES = (
    ("run-earlier", "earlier", "←"),
    ("run-later", "later", "→"),
    ("run-closer", "closer", "+"),
    ("run-wider", "wider", "−"),
    ("run-whole", "whole run", "z"),
)


def event_id_of_row(event_id: str) -> dict[str, str]:
    """Return the id of the button of an event in the list."""
    return {"type": "run-event", "id": event_id}


def neighbours(view: RunView) -> html.Nav:
    """Return the way to the engine's runs before and after this one."""
    ways = (
        ("run-before", "previous run", "[", view.before),
        ("run-after", "next run", "]", view.after),
    )
    return html.Nav(
        [
            link([words, " ", html.Kbd(key)], path_to("run", run_id), id=name)
            for name, words, key, run_id in ways
            if run_id is not None
        ],
        className="run-ways no-print",
        **{"aria-label": "Runs of this engine"},
    )


def event_list(view: RunView, chosen: str | None, reader: Reader) -> list[html.Li]:
    """Return the events of a run, each a button that shows it."""
    return [
        html.Li(
            html.Button(
                [
                    html.Span(clock(event.start_s), className="run-when"),
                    html.Span(event_title(event), className="run-what"),
                    html.Span(_review_word(event), className="run-word"),
                    html.Span(
                        f"{duration(event.duration_s)}, "
                        f"{worst_words(event.kind, event.peak, event.peak_unit, reader)}",
                        className="run-bad",
                    ),
                ],
                id=event_id_of_row(event.event_id),
                className="run-event aside" if event.review in NOT_COUNTED else "run-event",
                **({"aria-current": "true"} if event.event_id == chosen else {}),
            )
        )
        for event in view.events
    ]


def chosen_event(
    view: RunView, event: Event | None, reader: Reader, at_worst: Mapping[str, float]
) -> list[Any]:
    """Return what is known of the event that is looked at.

    Args:
        view: the run.
        event: the event; None where none is chosen.
        reader: who looks.
        at_worst: what the channels read at its worst instant, in canonical units.
    """
    if event is None:
        if not view.events:
            return [empty_state("There is no event to judge.")]
        return [html.P(["Choose an event, or press ", html.Kbd("j"), "."], className="secondary")]
    said = [html.P(event_sentence(event, view.spec, reader, at_worst), className="run-sentence")]
    said += [html.P(doubt, className="secondary") for doubt in event_doubts(event, view.spec)]
    return [*said, html.P(_dose(event, view, reader)), *_word(event, view, reader)]


def review_form(*, usable: bool) -> html.Div:
    """Return the controls that judge the chosen event."""
    return html.Div(
        [
            html.Div(
                [
                    html.Button(
                        [verdict.replace("_", " "), " ", html.Kbd(key)],
                        id=f"run-{verdict}",
                        disabled=not usable,
                    )
                    for verdict, key in VERDICT_KEYS.items()
                ],
                className="run-verdicts",
                role="group",
                **{"aria-label": "Your word on the chosen event"},
            ),
            html.Label(["Note ", html.Kbd("n"), ", kept with your word"], htmlFor="run-note"),
            dcc.Input(id="run-note", type="text", value="", maxLength=500, autoComplete="off"),
            html.Div(id="run-refusal"),
        ],
        className="run-review no-print",
    )


def moves() -> html.Div:
    """Return the buttons that move the window along the run."""
    return html.Div(
        [
            *(
                html.Button([words, " ", html.Kbd(key)], id=name, className="run-move")
                for name, words, key in _MOVES
            ),
            html.Span("reading the run", id="run-said", className="secondary", role="status"),
        ],
        className="run-moves no-print",
    )


def steps() -> html.Div:
    """Return the buttons that go from event to event."""
    return html.Div(
        [
            html.Button(["previous ", html.Kbd("k")], id="run-previous", className="run-move"),
            html.Button(["next ", html.Kbd("j")], id="run-next", className="run-move"),
        ],
        className="run-steps no-print",
    )


def keys_switch() -> html.Button:
    """Return the switch of the letter keys, for those whom they would disturb."""
    return html.Button(
        [
            "letter keys are ",
            html.Span("on", className="keys-on"),
            html.Span("off", className="keys-off"),
        ],
        id="run-keys",
        className="run-keys no-print",
        title="Keys of one letter work while no field is written in",
    )


def _review_word(event: Event) -> str:
    return "to review" if event.review is None else event.review.replace("_", " ")


def _dose(event: Event, view: RunView, reader: Reader) -> str:
    dose = " ".join(reader.dose(event.dose, event.dose_unit))
    words = f"From {clock(event.start_s)} to {clock(event.end_s)}; dose {dose}"
    life = view.spec.life.of(event.kind)
    if life is not None:
        words += f", {share(event.dose / life)} of the life dose for {KINDS[event.kind].title}"
    return f"{words}."


def _word(event: Event, view: RunView, reader: Reader) -> list[html.P]:
    if event.review is None:
        return []
    counts = "it counts no more" if event.review in NOT_COUNTED else "it counts"
    word = event.review.replace("_", " ").capitalize()
    own = view.reviews.get(event.event_id)
    if own is None:
        return [html.P(f"{word}, carried over from before the limits changed; {counts}.")]
    said = [html.P(f"{word}, said {own.who} on {reader.day(own.at)}; {counts}.")]
    return [*said, html.P(own.note)] if own.note else said
