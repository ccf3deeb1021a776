"""After a teardown: what each finding fits, what to look at again, and all that was found."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from dash import html

from babbitt.damage.attribution import Match, alike
from babbitt.damage.blame import Blame, BlamedEvent
from babbitt.damage.model import UNLOGGED
from babbitt.model.damage_modes import part_named
from babbitt.model.part_records import FindingRecord
from babbitt.present.blame_words import cause_in_words, look_again_sentence, match_sentence
from babbitt.present.views.teardown import Stripped
from babbitt.present.views.teardown_words import (
    MOST_EVENTS,
    cause_title,
    event_words,
    finding_cells,
    group_title,
    interval_words,
    learned_words,
    measured_in,
    not_judged_words,
    notes_of,
    shown_blames,
    summary_words,
)
from babbitt.present.words import NOTHING, Reader, place, share
from babbitt_dashboard.address import path_to
from babbitt_dashboard.marks import caution, empty_state, link, print_button, table

_NAMED_BELOW = 0.12
"""A part of the bar from this share on has room for its name; smaller ones are named after it."""


def fit(shown: Stripped, reader: Reader) -> list[Any]:
    """Return a recorded teardown: its findings of damage, what deserves another look, the rest."""
    found = shown.match
    teardown = found.teardown
    report = path_to("report", "teardown", f"{teardown.engine_id}.html", at=teardown.at.isoformat())
    return [
        html.P(summary_words(shown), className="lead"),
        html.P(teardown.note) if teardown.note else None,
        print_button(report),
        *(_explained(group, shown, reader) for group in alike(found.matches)),
        *_unjudged(found.unjudged),
        *_look_again(shown, reader),
        html.H2("All that was found"),
        _all(shown),
        caution(),
    ]


def _explained(group: Sequence[Match], shown: Stripped, reader: Reader) -> html.Section:
    first = group[0]
    title, grade = group_title(group)
    measured = measured_in(group, shown)
    photos = [name for match in group for name in match.finding.photos]
    where = place(first.finding.part, [match.finding.position for match in group])
    return html.Section(
        [
            html.H2([title, html.Span(grade, className="td-grade")]),
            split_bar(first.blames),
            html.P(match_sentence(group, reader, shown.match.rpm_at)),
            html.P(measured, className="secondary") if measured else None,
            *(html.P(note) for note in notes_of(group)),
            _photos(photos, where),
            _behind(first, reader),
            html.P(learned_words(first), className="small secondary"),
        ],
        className="td-fit",
    )


def split_bar(blames: Iterable[Blame]) -> html.Div:
    """Return the causes of damage as one bar, parted by their shares and named below it."""
    parts = shown_blames(blames)
    logged = [blame.cause for blame in parts if blame.cause != UNLOGGED]
    strengths = {cause: f"s{min(at, 2)}" for at, cause in enumerate(logged)}
    small = [blame for blame in parts if blame.share.p < _NAMED_BELOW]
    bar = [
        html.Span(
            "" if blame in small else share(blame.share.p),
            className=f"td-part {strengths.get(blame.cause, 'unlogged')}",
            style={"flexGrow": f"{blame.share.p:.4f}"},
        )
        for blame in parts
    ]
    names = [
        html.Span(
            "" if blame in small else cause_in_words(blame),
            style={"flexGrow": f"{blame.share.p:.4f}"},
        )
        for blame in parts
    ]
    said = ", ".join(_share_in_words(blame) for blame in parts)
    return html.Div(
        [
            html.Div(bar, className="td-bar"),
            html.Div(names, className="td-bar-names"),
            html.Div(", ".join(_share_in_words(blame) for blame in small), className="td-small"),
        ],
        className="td-split",
        role="img",
        **{"aria-label": f"Causes: {said}"},
    )


def _share_in_words(blame: Blame) -> str:
    return f"{share(blame.share.p)} {cause_in_words(blame)}"


def _photos(names: Iterable[str], where: str) -> html.Div:
    return html.Div(
        [
            html.A(
                html.Img(src=f"/photo/small/{name}", alt=f"Photo of {where}"),
                href=f"/photo/{name}",
                target="_blank",
            )
            for name in dict.fromkeys(names)
        ],
        className="td-photos",
    )


def _behind(match: Match, reader: Reader) -> html.Details:
    rows = [
        [
            cause_title(blame),
            html.Span(_events(blame.events, reader), className="td-events"),
            share(blame.share.p),
            interval_words(blame),
        ]
        for blame in shown_blames(match.blames)
    ]
    heads = ["cause", "events behind it, the worst first", "share", "90 % interval"]
    title = html.Summary("Causes with their intervals, and the events behind")
    return html.Details([title, table(heads, rows, left=2)], open=True)


def _events(events: Sequence[BlamedEvent], reader: Reader) -> list[Any]:
    if not events:
        return [NOTHING]
    shown: list[Any] = [_event_link(each, reader) for each in events[:MOST_EVENTS]]
    more = len(events) - MOST_EVENTS
    return [*shown, f"and {more} more"] if more > 0 else shown


def _event_link(blamed: BlamedEvent, reader: Reader) -> Any:
    event = blamed.dated.event
    return link(event_words(blamed, reader), path_to("run", event.run_id, event=event.event_id))


def _unjudged(records: Sequence[FindingRecord]) -> list[Any]:
    if not records:
        return []
    return [
        html.H2("Not judged"),
        html.Ul([html.Li(not_judged_words(record)) for record in records]),
    ]


def _look_again(shown: Stripped, reader: Reader) -> list[Any]:
    suspects = shown.match.look_again
    if not suspects:
        return []
    return [
        html.H2("Logged but not found: look again"),
        html.Ul(
            [
                html.Li(
                    [
                        look_again_sentence(suspect, reader, shown.match.rpm_at),
                        " ",
                        html.Span(_events(suspect.blame.events, reader), className="td-events"),
                    ]
                )
                for suspect in suspects
            ],
            className="td-again",
        ),
    ]


def _all(shown: Stripped) -> Any:
    if not shown.findings:
        return empty_state("No finding is written down: add what was found.")
    rows = [
        [
            *finding_cells(each, shown),
            html.Span(
                [
                    each.finding.note,
                    _photos(each.finding.photos, part_named(each.finding.part).title),
                ]
            ),
            _correction(each),
        ]
        for each in shown.findings
    ]
    found = table(["part", "found", "measured", "then", "note", "mend"], rows, left=6)
    return html.Div(found, className="td-all")


def _correction(record: FindingRecord) -> Any:
    teardown = record.teardown
    where = place(record.finding.part, (record.finding.position,))
    href = path_to(
        "teardown",
        teardown.engine_id,
        at=teardown.at.isoformat(),
        show="enter",
        finding=record.finding_id,
    )
    return link("correct", href, title=f"Correct or withdraw the finding on {where}")
