"""The story of an engine in sentences and plain tables, for its page and for its report."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
import pandas as pd

from babbitt.damage.chance import Estimate
from babbitt.model.kinds import KINDS, Kind
from babbitt.model.plain_text import capital
from babbitt.model.service_limits import ServiceUse
from babbitt.outlook.forecast import alike
from babbitt.present.outlook_words import (
    after,
    drawn_in_words,
    drift_in_words,
    evidence,
    gaps_to_mind,
    reach_in_words,
    reasons,
    would_change,
)
from babbitt.present.views.engine_prospect import Prospect
from babbitt.present.views.engine_story import PartLine, Story
from babbitt.present.views.text_table import TextTable
from babbitt.present.words import NOTHING, Reader, duration, number, place, share

MODES_SHOWN = 10
"""Rows of the outlook that are shown; the rest is less likely."""

WORST_SHOWN = 8
"""Events that are named."""

_NUMBERED = re.compile(r"(.*?)(\d+)")

NEAR_REDLINE_RPM = 500.0


def call_in_words(prospect: Prospect, reader: Reader) -> list[str]:
    """Return why the call is what it is, a sentence each, the weightiest first."""
    said = reasons(prospect.outlook, reader, prospect.rpm_at)
    return [*said, prospect.fault] if prospect.fault else said


def changes_in_words(prospect: Prospect) -> list[str]:
    """Return what would change the call, a sentence each."""
    return would_change(prospect.outlook)


def gaps_in_words(prospect: Prospect, reader: Reader) -> list[str]:
    """Return what the record leaves open and the call does not rest on, a sentence each."""
    return gaps_to_mind(prospect.outlook, reader)


def drawn_sentences(prospect: Prospect) -> list[str]:
    """Return which runs at a circuit the next ones are drawn from; nothing where none is chosen."""
    said = drawn_in_words(prospect.outlook)
    return [said] if said else []


def ahead_sentences(prospect: Prospect) -> list[str]:
    """Return what is known of the limits ahead, and what all chances were learned from."""
    return [reach_in_words(prospect.outlook), evidence(prospect.outlook)]


def since_in_words(story: Story, reader: Reader) -> str:
    """Return since when the engine is judged, and how much it ran since."""
    build, totals = story.build, story.totals
    if build.refresh_id is not None:
        note = f": {build.note}" if build.note else ""
        since = f"Refreshed {reader.day(build.since)}{note}."
    elif build.since is not None:
        since = f"Built {reader.day(build.since)}; no refresh yet."
    else:
        since = "No refresh yet, and nobody said when it was built."
    if totals.runs == 0:
        return f"{since} It has not run since."
    noun = "run" if totals.runs == 1 else "runs"
    return (
        f"{since} {totals.runs} {noun} and {duration(totals.running_s)} of running since, the last "
        f"on {reader.day(totals.last_run)}."
    )


def time_line_in_words(story: Story) -> str:
    """Return what the time line shows."""
    if not len(story.runs):
        return "No run since the refresh: take in a log, and its events appear here."
    counted = int(story.events["counted"].sum())
    aside = len(story.events) - counted
    noun = "event counts" if counted == 1 else "events count"
    said = f"{counted} {noun}" + (f", {aside} set aside by review." if aside else ".")
    most = max(story.totals.events, key=lambda row: row.used or 0.0)
    if most.used:
        said += f" {capital(KINDS[most.kind].title)} has used most of its life dose: "
        said += f"{share(most.used)}."
    return said


def table_in_words(story: Story) -> str:
    """Return what the map of engine speed and boost shows."""
    if story.table is None:
        return "No run since the refresh tells boost and engine speed together."
    seconds = np.array(story.table.seconds)
    edges = np.array(story.table.rpm_edges)
    from_rpm = edges[edges <= story.spec.over_rev.redline_rpm - NEAR_REDLINE_RPM][-1]
    fast_s = float(seconds[edges[:-1] >= from_rpm].sum())
    said = (
        f"Minutes in each cell: {duration(fast_s)} of {duration(float(seconds.sum()))} were at "
        f"{number(from_rpm)} rpm or more."
    )
    missing_s = story.totals.running_s - float(seconds.sum())
    if missing_s > 0.01 * story.totals.running_s:
        said += f" {duration(missing_s)} of running without a boost reading are not in it."
    return said


def pressure_in_words(story: Story) -> str:
    """Return what the oil pressure is held against."""
    if story.pressure is None:
        return (
            "What oil pressure to expect is not known yet: it is learned from the first runs of "
            "the build that hold two minutes of steady running with oil pressure and oil "
            "temperature. Until then the floor line of the spec stands in for it."
        )
    return (
        "Dots: steady running, in stronger ink the hotter the oil. Lines: what the first runs of "
        "the build make one expect."
    )


def drift_words(story: Story, prospect: Prospect, reader: Reader) -> str:
    """Return the drift of oil pressure in a sentence."""
    return drift_in_words(prospect.outlook, reader) or (
        "Whether oil pressure drifts is not known yet: two runs with steady running at one engine "
        "speed and oil temperature will tell."
    )


def outlook_table(prospect: Prospect) -> TextTable:
    """Return the chance of each damage mode, the likeliest to need replacing first."""
    found = prospect.outlook
    rows = alike(found.modes)
    then = after(found.runs)
    rest = len(rows) - MODES_SHOWN
    more = ""
    if rest > 0:
        likeliest = share(rows[MODES_SHOWN][0].next.replace.p)
        more = f" {rest} more are at most {likeliest} likely to need it."
    return TextTable(
        columns=(
            "Part",
            "Damage",
            "To replace now",
            "90 %",
            capital(then),
            "90 %",
            "Failed by then",
        ),
        rows=tuple(
            (
                capital(place(modes[0].mode.part, modes[0].like.positions)),
                ", ".join(mode.mode.title for mode in modes),
                share(modes[0].now.replace.p),
                _interval(modes[0].now.replace),
                share(modes[0].next.replace.p),
                _interval(modes[0].next.replace),
                share(modes[0].next.failed.p),
            )
            for modes in rows[:MODES_SHOWN]
        ),
        caption=(
            "Chance that a part needs replacing, now and "
            f"{after(found.runs, found.pool.circuit)}.{more}"
        ),
        left=2,
        empty="No damage mode can be judged: state life doses in the spec's [life].",
    )


def totals_table(story: Story, prospect: Prospect, reader: Reader) -> TextTable:
    """Return what the engine has taken of each kind of harm since its refresh."""
    rows = []
    for row in story.totals.events:
        dose, unit = reader.dose(row.dose, row.dose_unit)
        life = prospect.life.get(row.kind)
        rows.append(
            (
                capital(KINDS[row.kind].title),
                str(row.count) if row.dose is not None else NOTHING,
                duration(row.duration_s) if row.count else NOTHING,
                f"{dose} {unit}" if row.dose is not None else NOTHING,
                reader.dose(row.limit, row.dose_unit)[0],
                share(row.used),
                share(life.ahead) if life else NOTHING,
                share(row.watched_share),
            )
        )
    ahead = "Next run adds" if prospect.outlook.runs == 1 else f"{prospect.outlook.runs} runs add"
    return TextTable(
        columns=("Harm", "Events", "Lasted", "Dose", "Life dose", "Used", ahead, "Watched"),
        rows=tuple(rows),
        caption=(
            "Since the refresh. The life dose is that at which one engine in ten shows damage; "
            f"{NOTHING} is unknown, not none."
        ),
    )


def worst_events(story: Story) -> pd.DataFrame:
    """Return the events that took most of a life dose, the worst first."""
    return story.events[story.events["counted"]].nlargest(WORST_SHOWN, "used")


def worst_table(story: Story, reader: Reader) -> TextTable:
    """Return the events that took most of a life dose, in the order of `worst_events`."""
    rows = []
    for event in worst_events(story).to_dict("records"):
        kind: Kind = event["kind"]
        rows.append(
            (
                capital(KINDS[kind].title),
                reader.instant(event["at"]),
                " ".join(reader.value(event["peak"], event["peak_unit"])),
                duration(event["duration_s"]),
                share(None if math.isnan(event["used"]) else event["used"]),
            )
        )
    return TextTable(
        columns=("Event", "When", "Worst", "Lasted", "Of its life dose"),
        rows=tuple(rows),
        caption="The events that took most of a life dose.",
        left=2,
        empty="No event counts since the refresh.",
    )


def parts_table(story: Story) -> TextTable:
    """Return the tracked parts with what they have taken over their life, those alike together."""
    alike: dict[tuple[str, ...], list[PartLine]] = {}
    for line in story.parts:
        sums = line.taken.sums
        figures = (
            _most_taken(story, line) or NOTHING,
            "; ".join(_use(use) for use in line.uses) or NOTHING,
            str(sums.runs),
            duration(sums.running_s),
            number(sums.revolutions),
        )
        alike.setdefault((line.taken.part.kind, *figures), []).append(line)
    return TextTable(
        columns=(
            *("Part", "Serial", "Most harm", "Service limits"),
            *("Runs", "Running", "Revolutions"),
        ),
        rows=tuple(
            (
                capital(place(key[0], [_spanned([line.position or "" for line in lines])])),
                _spanned([line.taken.part.part_id for line in lines]),
                *key[1:],
            )
            for key, lines in alike.items()
        ),
        caption=(
            "Over each part's life, in whatever engines it sat; the kind of harm of which it has "
            "taken most, as a share of its life dose."
        ),
        left=4,
        empty=(
            "No part of this engine is tracked: `babbitt part add` and `babbitt part fit` put "
            "parts in, and their totals stand here."
        ),
    )


def _spanned(names: Sequence[str]) -> str:
    """Return names that number one after another by the first and last, others one by one."""
    parted = [_NUMBERED.fullmatch(name) for name in names]
    stems = {match[1] if match else name for match, name in zip(parted, names, strict=True)}
    numbers = [int(match[2]) for match in parted if match]
    if len(numbers) < max(len(names), 3) or len(stems) > 1:
        return ", ".join(names)
    follow = numbers == list(range(numbers[0], numbers[-1] + 1))
    return f"{names[0]} to {names[-1]}" if follow else ", ".join(names)


def _most_taken(story: Story, line: PartLine) -> str:
    """Return the kind of harm that a part has taken most of, by its life dose; "" for none."""
    taken = []
    for kind, sums in line.taken.sums.kinds.items():
        life = story.spec.life.of(kind)
        if sums.dose and life is not None:
            taken.append((sums.dose / life, KINDS[kind].title))
    if not taken:
        return ""
    used, title = max(taken)
    return f"{title} {share(used)}"


def _use(use: ServiceUse) -> str:
    of = {str(kind): f" of {about.title}" for kind, about in KINDS.items()}
    word = " (past it)" if use.share >= 1.0 else ""
    limit = f"{number(use.limit)} {use.unit}{of.get(use.measure, '')}"
    return f"{share(use.share)} of {limit}{word}"


def _interval(estimate: Estimate) -> str:
    return f"{100 * estimate.low:.0f}–{100 * estimate.high:.0f}"
