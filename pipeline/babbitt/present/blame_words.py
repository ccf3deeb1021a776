"""What is to blame for damage, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from babbitt.damage.attribution import LookAgain, Match
from babbitt.damage.blame import Blame
from babbitt.damage.model import UNLOGGED
from babbitt.model.damage_modes import causes, mode_named
from babbitt.model.plain_text import capital
from babbitt.present.words import Reader, number, place, share

ONE_SIDED = 0.8
"""Share of the dose taken in corners of one direction from which that direction is named."""

LONG_S = 1.0
"""Mean duration, weighted by dose, from which corners are called long (common practice, no
source)."""


_LEAST_SHOWN = 0.05


def cause_in_words(blame: Blame) -> str:
    """Return a cause in words, with the direction of the corners where that tells."""
    if blame.cause == UNLOGGED:
        return "not in the log"
    title = causes()[blame.cause].title
    if causes()[blame.cause].kind != "oil_starvation" or not blame.events:
        return title
    corners = "corners"
    for side in ("left", "right"):
        if sum(b.share for b in blame.events if b.dated.event.side == side) >= ONE_SIDED:
            corners = f"{side}-handers"
    mean_s = sum(b.share * b.dated.event.duration_s for b in blame.events)
    return title.replace("corners", f"long {corners}" if mean_s >= LONG_S else corners)


def blame_in_words(blame: Blame, reader: Reader, rpm_at: Mapping[str, float]) -> str:
    """Return a cause, how many events are behind it, and the worst of them, in words.

    Args:
        blame: the cause.
        reader: whose units and time zone are used.
        rpm_at: engine speed at the peak of events, 1/min, by event id; those without are told
            without it.
    """
    words = cause_in_words(blame)
    if not blame.events:
        return words
    count = len(blame.events)
    worst = blame.events[0].dated
    event = worst.event
    if event.kind == "over_rev":
        peak = f"{number(round(event.peak, -1))} rpm"
    else:
        peak = " ".join(reader.value(event.peak, event.peak_unit))
        if event.event_id in rpm_at:
            peak += f" at {number(round(rpm_at[event.event_id], -1))} rpm"
    events = f"{count} event{'s' if count > 1 else ''}"
    return f"{words}, {events}, worst {peak} on {reader.day(worst.at)}"


def match_sentence(matches: Sequence[Match], reader: Reader, rpm_at: Mapping[str, float]) -> str:
    """Return a match in words: the parts, the damage, and how far each cause accounts for it.

    Args:
        matches: of one finding, or of several that are alike.
        reader: whose units and time zone are used.
        rpm_at: engine speed at the peak of events, see `blame_in_words`.
    """
    first = matches[0]
    mode = mode_named(first.finding.part, first.finding.damage_mode or "")
    logged = [blame for blame in first.blames if blame.cause != UNLOGGED]
    unlogged = sum(blame.share.p for blame in first.blames if blame.cause == UNLOGGED)
    shown = [blame for blame in logged if blame.share.p >= _LEAST_SHOWN]
    words = [blame_in_words(blame, reader, rpm_at) for blame in shown[:1]]
    words += [cause_in_words(blame) for blame in shown[1:]]
    clauses = [f"{share(blame.share.p)} {said}" for blame, said in zip(shown, words, strict=True)]
    others = 1.0 - unlogged - sum(blame.share.p for blame in shown)
    if others >= 0.01:
        clauses.append(f"{share(others)} other logged causes")
    clauses.append(f"{share(unlogged)} not in the log")
    beside = f" ({', '.join(first.spared)} without damage)" if first.spared else ""
    where = place(mode.part, [match.finding.position for match in matches])
    text = f"{capital(where)} {mode.title}{beside}: {'; '.join(clauses)}."
    if first.unexplained:
        text += f" The log does not explain it; look at the assembly: {mode.unlogged}."
    return text


def look_again_sentence(suspect: LookAgain, reader: Reader, rpm_at: Mapping[str, float]) -> str:
    """Return in words why a part deserves a second look; see `match_sentence`."""
    said = "was found sound" if suspect.looked_at else "was not looked at"
    likely = suspect.chance
    where = place(suspect.mode.part, suspect.positions)
    return (
        f"{capital(where)} {said}, yet {share(likely.p)} likely "
        f"{suspect.mode.title} (90 % interval {share(likely.low)} to {share(likely.high)}): "
        f"{blame_in_words(suspect.blame, reader, rpm_at)}. Look for: {suspect.mode.look_for}."
    )
