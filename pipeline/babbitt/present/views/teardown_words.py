"""A recorded teardown in words, as its page and its report tell it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from babbitt.damage.attribution import Match
from babbitt.damage.blame import Blame, BlamedEvent
from babbitt.model.damage_modes import causes, grades, mode_named
from babbitt.model.part_records import FindingRecord
from babbitt.model.plain_text import capital
from babbitt.present.views.teardown import Stripped, measured_words
from babbitt.present.words import NOTHING, Reader, duration, place, share

_SHOWN = 0.005
"""Causes of a smaller share are left out."""

MOST_EVENTS = 6
"""So many events behind a cause are named."""


def summary_words(shown: Stripped) -> str:
    """Return what a teardown found, in a sentence or two."""
    found = shown.match
    damaged = len(found.matches) + len(found.unjudged)
    if not shown.findings:
        return "Nothing is written down of this teardown yet: add what was found."
    if not damaged:
        return f"{len(shown.findings)} findings, none of damage."
    odd = [match for match in found.matches if match.unexplained]
    words = f"{damaged} finding{'' if damaged == 1 else 's'} of damage"
    if found.matches and not odd:
        words += ", and the log explains " + ("it" if damaged == 1 else "them")
    elif odd:
        words += (
            f"; the log does not explain {len(odd)} of them"
            if damaged > 1
            else (", and the log does not explain it")
        )
    again = len(found.look_again)
    if again:
        words += f". {again} part{' deserves' if again == 1 else 's deserve'} another look"
    return f"{words}."


def group_title(group: Sequence[Match]) -> tuple[str, str]:
    """Return the heading of findings that are alike, and their grade in words."""
    first = group[0].finding
    mode = mode_named(first.part, first.damage_mode or "")
    where = place(mode.part, [match.finding.position for match in group])
    given = sorted({match.finding.grade for match in group})
    worst = f"{given[-1]}, {grades()[given[-1]].title}"
    said = f"grade {worst}" if len(given) == 1 else f"worst grade {worst}"
    return f"{capital(where)}: {mode.title}", said


def measured_in(group: Sequence[Match], shown: Stripped) -> str:
    """Return what was measured of findings; "" where nothing was."""
    return " ".join(
        f"{capital(place(match.finding.part, (match.finding.position,)))}: "
        f"{measured_words(match.finding.measurement, shown.built.get(match.finding_id))}."
        for match in group
        if match.finding.measurement
    )


def notes_of(group: Sequence[Match]) -> list[str]:
    """Return the different notes of findings."""
    return [f"“{note}”" for note in dict.fromkeys(m.finding.note for m in group) if note]


def learned_words(match: Match) -> str:
    """Return what the shares of causes were learned from."""
    return f"Learned from {match.looks} looks at such parts, {match.damaged} of them damaged."


def not_judged_words(record: FindingRecord) -> str:
    """Return why a finding of damage has no causes."""
    finding = record.finding
    return (
        f"{capital(place(finding.part, (finding.position,)))} "
        f"{mode_named(finding.part, finding.damage_mode or '').title}: [life] of the spec states "
        "no dose for one of its causes."
    )


def shown_blames(blames: Iterable[Blame]) -> list[Blame]:
    """Return the causes that are worth a line."""
    return [blame for blame in blames if blame.share.p >= _SHOWN]


def cause_title(blame: Blame) -> str:
    """Return what a cause is called in a table."""
    named = causes().get(blame.cause)
    return capital(named.title if named else "not in the log")


def interval_words(blame: Blame) -> str:
    """Return the 90 % interval of a share."""
    return f"{100 * blame.share.low:.0f} to {share(blame.share.high)}"


def event_words(blamed: BlamedEvent, reader: Reader) -> str:
    """Return an event behind a cause: when, how bad and how long."""
    event = blamed.dated.event
    peak = " ".join(reader.value(event.peak, event.peak_unit))
    return f"{reader.instant(blamed.dated.at)}, {peak}, {duration(event.duration_s)}"


def grade_words(record: FindingRecord) -> str:
    """Return the grade and damage of a finding."""
    finding = record.finding
    words = f"{finding.grade} {grades()[finding.grade].title}"
    if finding.damage_mode is None:
        return words
    return f"{words}: {mode_named(finding.part, finding.damage_mode).title}"


def finding_cells(record: FindingRecord, shown: Stripped) -> tuple[str, str, str, str]:
    """Return part, finding, measurement and what becomes of the part, as a table has them."""
    finding = record.finding
    measured = NOTHING
    if finding.measurement:
        measured = measured_words(finding.measurement, shown.built.get(record.finding_id))
    return (
        capital(place(finding.part, (finding.position,))),
        grade_words(record),
        measured,
        finding.disposition.replace("_", " "),
    )
