"""What was found of laps and corners, beside the truth."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from babbitt.laps.find import find_layout
from babbitt.laps.motion import motion_of
from planted_circuits import Planted


@dataclass(frozen=True)
class Score:
    """How near the truth a layout is; counts, and errors of lap times in seconds."""

    laps: int
    wrong: int
    errors_s: tuple[float, ...]
    events: int
    right: int
    found_by: str


def score(planted: Planted, random: np.random.Generator) -> Score:
    """Find the laps of a planted run, and hold them beside those that were driven."""
    layout = find_layout(motion_of([planted.run]))
    time, lap = planted.time_s, planted.lap
    raced = lap[planted.racing]
    driven = round(raced[-1] - raced[0])
    if layout is None:
        return Score(driven, driven, (), 0, 0, "nothing")
    at = np.array([each.start_s for each in layout.laps if each.kind in ("lap", "pit", "in")])
    shares = np.interp(at, time, lap)
    where = np.angle(np.exp(2j * np.pi * shares).mean()) / (2 * np.pi) % 1.0
    passes = np.arange(np.floor(lap[0]) - 1, lap[-1] + 1) + where
    passes = passes[(passes > lap[0]) & (passes < lap[-1])]
    true = np.interp(passes, lap, time)
    within = (passes >= raced[0]) & (passes <= raced[-1])
    matched = [np.abs(true - each).argmin() for each in at]
    off = np.abs(true[matched] - at)
    false = int((off > 1.0).sum())
    missed = sum(1 for k in np.flatnonzero(within) if np.abs(at - true[k]).min() > 1.0)
    errors = []
    for each in layout.whole_laps:
        first, last = (np.abs(true - s).argmin() for s in (each.start_s, each.end_s))
        if last == first + 1:
            errors.append((each.end_s - each.start_s) - (true[last] - true[first]))
    pairs = []
    changes = np.flatnonzero(np.diff(planted.corner) != 0) + 1
    for first, last in pairwise(changes):
        number = planted.corner[first]
        inside = layout.lap_at(time[first])
        if number == 0 or inside is None or inside.kind != "lap" or not planted.racing[first]:
            continue
        begin = time[first] + random.uniform(0.3, 0.8) * (time[last] - time[first])
        end = max(begin + 0.2, time[last] + random.uniform(-0.2, 0.5))
        found = layout.corner_in(begin, end)
        over = sum(
            min(each.end_s, time[last]) - max(each.start_s, time[first])
            for each in layout.passes
            if (each.lap, each.corner) == (inside.number, found)
        )
        pairs.append((number, found, over > 0.3 * (time[last] - time[first])))
    usual = {
        number: Counter(found for true, found, _ in pairs if true == number).most_common(1)[0][0]
        for number, _, _ in pairs
    }
    right = sum(there and found == usual[number] for number, found, there in pairs)
    return Score(driven, false + missed, tuple(errors), len(pairs), right, layout.found_by)
