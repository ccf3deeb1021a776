"""The report of a teardown: what was found, and what it fits."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from babbitt.damage.attribution import Match, alike
from babbitt.damage.blame import BlamedEvent
from babbitt.present.blame_words import look_again_sentence, match_sentence
from babbitt.present.reports.report import Section, write_report
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
from babbitt.present.views.text_table import TextTable
from babbitt.present.words import NOTHING, Reader, share


def teardown_report(shown: Stripped, reader: Reader, *, at: datetime) -> str:
    """Return the report of a recorded teardown as one file of HTML.

    Args:
        shown: the teardown.
        reader: whose units and time zone are used.
        at: UTC, the moment by which what it fits was known.
    """
    found = shown.match
    teardown = found.teardown
    told = tuple(filter(None, (summary_words(shown), teardown.note)))
    look_again = tuple(look_again_sentence(each, reader, found.rpm_at) for each in found.look_again)
    points = (
        ("Not judged", tuple(not_judged_words(each) for each in found.unjudged)),
        ("Logged but not found: look again", look_again),
    )
    everything = TextTable(
        columns=("Part", "Found", "Measured", "Then", "Note"),
        rows=tuple((*finding_cells(each, shown), each.finding.note) for each in shown.findings),
        left=5,
        empty="No finding is written down.",
    )
    sections = [
        Section("", sentences=told, points=points),
        *(_group(group, shown, reader) for group in alike(found.matches)),
        Section("All that was found", tables=(everything,)),
    ]
    title = f"{teardown.engine_id}, taken apart on {reader.day(teardown.at)}"
    return write_report(title, sections, at=at, reader=reader)


def _group(group: Sequence[Match], shown: Stripped, reader: Reader) -> Section:
    title, grade = group_title(group)
    first = group[0]
    sentence = match_sentence(group, reader, shown.match.rpm_at)
    causes = TextTable(
        columns=("Cause", "Events behind it, the worst first", "Share", "90 % interval"),
        rows=tuple(
            (
                cause_title(blame),
                _events(blame.events, reader),
                share(blame.share.p),
                interval_words(blame),
            )
            for blame in shown_blames(first.blames)
        ),
        caption=learned_words(first),
        left=2,
    )
    told = (sentence, measured_in(group, shown), *notes_of(group))
    return Section(f"{title}, {grade}", sentences=tuple(filter(None, told)), tables=(causes,))


def _events(events: Sequence[BlamedEvent], reader: Reader) -> str:
    named = "; ".join(event_words(each, reader) for each in events[:MOST_EVENTS])
    more = len(events) - MOST_EVENTS
    return f"{named} and {more} more" if more > 0 else named or NOTHING
