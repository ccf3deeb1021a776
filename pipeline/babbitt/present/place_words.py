"""Laps and corners in words: how many there are, and how often each corner was hit."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping

from babbitt.laps.compare import CornerChange
from babbitt.model.event import NOT_COUNTED, Event
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.layout import FoundBy, Layout
from babbitt.model.plain_text import capital
from babbitt.present.words import Reader

_MOST_CORNERS = 4

FOUND_BY: Mapping[FoundBy, str] = {
    "lap_number": "the log's lap number",
    "beacon": "the log's lap beacon",
    "lap_time": "the log's lap time",
    "distance": "the log's lap distance",
    "position": "position",
    "bends": "the bends of the road, by speed and lateral acceleration",
    "lateral_g": "what comes again in lateral acceleration",
}


def corner_title(number: int, names: Mapping[int, str]) -> str:
    """Return what a corner is called: its number, and its name where it has one."""
    return f"corner {number} ({names[number]})" if number in names else f"corner {number}"


def hit_corners(
    events: Iterable[Event], layouts: Mapping[str, Layout], names: Mapping[int, str]
) -> tuple[str, ...]:
    """Say for each kind of harm in which corners it was, and in how many of the laps.

    Args:
        events: of runs at one circuit; those that a person set aside are not counted.
        layouts: of those runs, by run.
        names: of the corners.
    """
    whole = {
        (run_id, lap.number) for run_id, layout in layouts.items() for lap in layout.whole_laps
    }
    laps: dict[Kind, dict[int, set[tuple[str, int]]]] = defaultdict(lambda: defaultdict(set))
    for event in events:
        hit = (event.run_id, -1 if event.lap is None else event.lap)
        if event.corner is not None and hit in whole and event.review not in NOT_COUNTED:
            laps[event.kind][event.corner].add(hit)
    sentences = []
    for kind in KINDS:
        if kind not in laps:
            continue
        counts = Counter({corner: len(hits) for corner, hits in laps[kind].items()})
        told = [
            f"{corner_title(corner, names)} in {count}"
            for corner, count in sorted(counts.items(), key=lambda each: (-each[1], each[0]))
        ]
        told[0] += f" of {len(whole)} lap{'' if len(whole) == 1 else 's'}"
        more = len(told) - _MOST_CORNERS
        rest = f", and {more} corner{'' if more == 1 else 's'} more" if more > 0 else ""
        sentences.append(f"{capital(KINDS[kind].title)}: {', '.join(told[:_MOST_CORNERS])}{rest}.")
    return tuple(sentences)


def laps_in_words(layout: Layout) -> str:
    """Say how many laps a run has, how long the best took, and how they are known."""
    whole = layout.whole_laps
    unsure = "" if layout.confidence == "high" else ", not for certain"
    if not whole:
        return f"No whole lap, by {FOUND_BY[layout.found_by]}{unsure}."
    best = min(whole, key=lambda lap: lap.end_s - lap.start_s)
    count = f"{len(whole)} whole lap{'' if len(whole) == 1 else 's'}"
    return (
        f"{count}, the best {lap_time(best.end_s - best.start_s)} (lap {best.number}), found by "
        f"{FOUND_BY[layout.found_by]}{unsure}."
    )


def lap_time(seconds: float) -> str:
    """Return a lap time, like 1:23.4."""
    tenths = round(10.0 * seconds)
    return f"{tenths // 600}:{tenths % 600 // 10:02d}.{tenths % 10}"


def pressure_by_place(
    corners: Iterable[CornerChange], names: Mapping[int, str], reader: Reader
) -> str:
    """Say where oil pressure is lower than it was, the worst corner first."""
    compared = list(corners)
    if not compared:
        return "No corner was driven at like engine speed and oil temperature in both."
    lower = sorted(
        (each for each in compared if each.word == "lower"), key=lambda each: each.change_kpa
    )
    if not lower:
        return "In no corner is oil pressure lower beyond doubt."
    told = [
        f"{corner_title(each.corner, names)} by {' '.join(reader.value(-each.change_kpa, 'kPa'))}"
        for each in lower[:_MOST_CORNERS]
    ]
    more = len(lower) - len(told)
    rest = f", and in {more} more" if more else ""
    return f"Oil pressure is lower in {', in '.join(told)}{rest}."
