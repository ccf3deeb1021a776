"""An outlook in words and as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from babbitt.damage.chance import Estimate
from babbitt.model.damage_modes import RUNNING, causes, parts
from babbitt.model.kinds import KINDS
from babbitt.model.plain_text import capital
from babbitt.outlook.ahead import MOST_RUNS
from babbitt.outlook.call import expected_cost
from babbitt.outlook.drift import Drift
from babbitt.outlook.forecast import ModeOutlook
from babbitt.outlook.gaps import (
    FewRuns,
    Gap,
    HardlyWatched,
    NoLifeDose,
    NoRuns,
    NotLogged,
    Stale,
    StillIn,
    StoodStill,
    Unjudged,
)
from babbitt.outlook.gauges import REVOLUTIONS, Limit
from babbitt.outlook.outlook import Decisive, Outlook
from babbitt.outlook.reach import Reach
from babbitt.present.blame_words import blame_in_words
from babbitt.present.words import CAUTION, Reader, duration, number, place, share

_NAMED = 6
"""So many engines that made the runs are named; more are counted."""


def outlook_json(outlook: Outlook, reader: Reader, rpm_at: Mapping[str, float]) -> dict[str, Any]:
    """Return an outlook as the command line writes it; see `reasons`."""
    return {
        "engine_id": outlook.engine_id,
        "at": outlook.at.isoformat(),
        "since": outlook.since.isoformat() if outlook.since else None,
        "runs": outlook.runs,
        "circuit": outlook.pool.circuit,
        "drawn_from": {"source": outlook.pool.source, "runs": dict(outlook.pool.made_by)},
        "call": outlook.verdict.call,
        "accepted_risk": outlook.verdict.accepted,
        "reasons": reasons(outlook, reader, rpm_at),
        "would_change": would_change(outlook),
        "doubts": [gap_in_words(gap, reader) for gap in outlook.gaps],
        "first_limit": _reach_json(outlook.first) if outlook.first else None,
        "drift": outlook.drift.to_json() if outlook.drift else None,
        "engine": {"now": asdict(outlook.now), "next": asdict(outlook.next)},
        "modes": [mode.to_json() for mode in outlook.modes],
        "caution": CAUTION,
    }


def reasons(outlook: Outlook, reader: Reader, rpm_at: Mapping[str, float]) -> list[str]:
    """Return why the call is what it is, a sentence each, the weightiest first.

    Args:
        outlook: the outlook.
        reader: whose units and time zone are used.
        rpm_at: engine speed at the peak of events, see `blame_in_words`.
    """
    said: list[str] = []
    for ground in outlook.verdict.grounds:
        match ground:
            case "risk" | "interval" | "low risk":
                said += _of_risk(outlook, reader, rpm_at)
            case "pressure" if outlook.drift is not None:
                said.append(drift_in_words(outlook, reader))
            case "limit":
                said.append(_of_limit(outlook.passed[0]))
            case "doubt":
                said += grave_gaps(outlook, reader)
    if outlook.verdict.decisive is None:
        said.append("No damage mode could be judged.")
    return said


def would_change(outlook: Outlook) -> list[str]:
    """Return what would change the call, a sentence each."""
    on, more = outlook.verdict.decisive, outlook.decisive
    if on is None or more is None:
        return ["Life doses in the spec's [life]."]
    said = []
    if outlook.verdict.call != "run on":
        said.append(_of_a_look(outlook, on, more))
    if outlook.verdict.call != "pull":
        said.append(_of_runs_left(more, outlook.verdict.accepted))
    return said


def gaps_to_mind(outlook: Outlook, reader: Reader) -> list[str]:
    """What the record leaves open without holding the engine back, a sentence each."""
    return [gap_in_words(gap, reader) for gap in outlook.gaps if not gap.grave]


def grave_gaps(outlook: Outlook, reader: Reader) -> list[str]:
    """What the record leaves open that needs a look before running on, a sentence each."""
    return [gap_in_words(gap, reader) for gap in outlook.gaps if gap.grave]


def gap_in_words(gap: Gap, reader: Reader) -> str:
    """Something that the record leaves open, in a sentence, with what to do about it."""
    match gap:
        case Stale(events=count):
            return (
                f"{count} events were found under other limits than today's: run `babbitt detect`."
            )
        case Unjudged(runs=count):
            return f"{count} runs have not been searched for events: run `babbitt detect`."
        case HardlyWatched(shares=shares):
            named = ", ".join(f"{KINDS[kind].title} {share(each)}" for kind, each in shares.items())
            return (
                f"Watched for only a part of the running since the refresh: {named}; the rest is "
                "counted at the usual rate of the fleet."
            )
        case NotLogged(running_s=seconds):
            return f"{duration(seconds)} of running was not logged."
        case NoRuns():
            return "No runs since the refresh: judged by earlier runs alone."
        case StoodStill(last_run=last, days=days):
            return (
                f"It last ran on {reader.day(last)}, {days} days before: what stood still for so "
                "long, no log shows."
            )
        case NoLifeDose(kinds=kinds, parts=names):
            titles = ", ".join(parts()[name].title for name in names)
            return (
                f"[life] of the spec states no dose of {', '.join(kinds)}, so damage by them "
                f"cannot be judged ({titles})."
            )
        case StillIn():
            title = parts()[gap.part].modes[gap.mode].title
            return (
                f"{capital(place(gap.part, gap.positions))} was found {title} (grade {gap.grade}) "
                "and is still in, by the record: it is not forecast."
            )
        case FewRuns():
            return _few_runs(gap)


def _few_runs(gap: FewRuns) -> str:
    at, there = (f" at {gap.circuit}", " there") if gap.circuit else ("", "")
    if not gap.runs:
        return f"There is no logged run{at} to expect the next ones from."
    if gap.source == "engine":
        return (
            f"Fewer than {gap.least} runs{at} since the refresh: the next ones are expected to be "
            f"like all {gap.runs} of this engine{there}."
        )
    return (
        f"Fewer than {gap.least} runs of this engine{at}: the next ones are expected to be like "
        f"all {gap.runs} of its type{there}."
    )


def limit_in_words(limit: Limit) -> str:
    """A limit of a part, in words."""
    if limit.sort == "life":
        about = causes()[limit.of]
        title = KINDS[about.kind].title if about.kind == limit.of else about.title
        return f"life dose of {title}"
    counted = {RUNNING: "running hours", REVOLUTIONS: "revolutions"}
    title = counted[limit.of] if limit.of in counted else KINDS[limit.of].title
    return f"service limit of {title}"


def drift_in_words(outlook: Outlook, reader: Reader) -> str:
    """Return the drift of oil pressure in words; "" where it is not known."""
    if outlook.drift is None:
        return ""
    oil = " ".join(reader.value(outlook.drift.oil_c, "°C"))
    return drift_sentence(outlook.drift, number(outlook.drift.rpm), oil)


def after(runs: int, circuit: str | None = None) -> str:
    """Return how far ahead is looked, in a phrase."""
    at = f" at {circuit}" if circuit else ""
    return f"after the next run{at}" if runs == 1 else f"after {runs} more runs{at}"


def drawn_in_words(outlook: Outlook) -> str:
    """Return which runs at a circuit those ahead are drawn from; "" where no circuit was chosen."""
    pool, name = outlook.pool, outlook.engine_id
    if pool.circuit is None:
        return ""
    runs = "1 run" if pool.runs == 1 else f"{pool.runs} runs"
    match pool.source:
        case "build":
            return f"Drawn from {runs} of {name} at {pool.circuit} in its present build."
        case "engine":
            return f"Drawn from {runs} of {name} at {pool.circuit} in all its builds."
        case "fleet":
            return (
                f"Drawn from {runs} at {pool.circuit} by engines of its type: "
                f"{_made_by(pool.made_by)}."
            )


def reach_in_words(outlook: Outlook) -> str:
    """Return the limit that is reached first, and when, in words."""
    reach, circuit = outlook.first, outlook.pool.circuit
    if reach is None:
        return "No limit is stated."
    if reach.runs == 0:
        return _of_limit(reach)
    limit = limit_in_words(reach.limit)
    used = f"{place(reach.part, reach.positions)}, {limit}: {share(reach.used)} used"
    if reach.runs is None:
        at = f" at {circuit}" if circuit else ""
        return f"First limit: {used}, not reached within {MOST_RUNS} runs{at}."
    ends = f"{reach.low} to {'more than ' + str(MOST_RUNS) if reach.high is None else reach.high}"
    return f"First limit: {used}, reached {after(reach.runs, circuit)} (90 % interval {ends})."


def evidence(outlook: Outlook) -> str:
    """Return what the chances were learned from, in words."""
    means = "To replace is grade 3 or worse."
    if not outlook.teardowns:
        return f"No teardown is recorded: the chances are the builder's own life doses. {means}"
    noun = "teardown" if outlook.teardowns == 1 else "teardowns"
    return (
        f"Learned from the life doses of the spec and {outlook.teardowns} {noun} of the type. "
        f"{means}"
    )


def _of_risk(outlook: Outlook, reader: Reader, rpm_at: Mapping[str, float]) -> list[str]:
    on, more = outlook.verdict.decisive, outlook.decisive
    if on is None or more is None:
        return []
    likely, accepted = outlook.verdict.chance, share(outlook.verdict.accepted)
    subject = f"{share(likely.p)} likely to have a part to replace {_then(outlook)}"
    match outlook.verdict.call:
        case "pull":
            text = f"{subject} ({_interval(likely)}), above the accepted {accepted}."
        case "inspect":
            text = f"{subject}, but it may be {share(likely.high)}; {accepted} is accepted."
        case "run on":
            text = f"{subject} ({_interval(likely)}); {accepted} is accepted."
    said = [capital(text), f"Likeliest: {_what(on).lower()}, {share(on.next.replace.p)}."]
    if outlook.decision.cost_refresh is not None:
        said.append(
            f"Running on is expected to cost {expected_cost(likely.p, outlook.decision):,.0f}, a "
            f"refresh {outlook.decision.cost_refresh:,.0f}."
        )
    if outlook.verdict.call != "run on":
        words = blame_in_words(more.blame, reader, rpm_at)
        if more.blame.cause == RUNNING and more.usual_h is not None:
            ran, usual = (duration(3600.0 * h) for h in (on.load.doses[RUNNING], more.usual_h))
            words += f", {ran}, where such parts usually run {usual}"
        said.append(f"What the log holds most against it: {words} ({share(more.blame.share.p)}).")
    return said


def _reach_json(reach: Reach) -> dict[str, Any]:
    positions = [position for position in reach.positions if position is not None]
    return asdict(reach) | {"positions": positions, "limit": limit_in_words(reach.limit)}


def _of_limit(reach: Reach) -> str:
    where = capital(place(reach.part, reach.positions))
    return f"{where} has used {share(reach.used)} of its {limit_in_words(reach.limit)}."


def _of_a_look(outlook: Outlook, on: ModeOutlook, more: Decisive) -> str:
    likely = f"{share(more.if_sound.p)} likely to need replacing {_then(outlook)}"
    where = place(on.mode.part, on.like.positions)
    if more.if_sound.p > outlook.verdict.accepted:
        return f"A look at the {where} is not enough: found sound now, it would still be {likely}."
    return f"A look at the {where}: found sound now, it would be {likely}."


def _of_runs_left(more: Decisive, accepted: float) -> str:
    if more.runs_left is None:
        return f"The accepted {share(accepted)} is not passed within {MOST_RUNS} runs like these."
    return f"The accepted {share(accepted)} is passed {after(more.runs_left)} like these."


def _then(outlook: Outlook) -> str:
    return after(outlook.runs, outlook.pool.circuit)


def _made_by(runs: Mapping[str, int]) -> str:
    if len(runs) > _NAMED:
        return f"{len(runs)} engines, of which {max(runs, key=lambda name: runs[name])} made most"
    return ", ".join(f"{count} by {name}" for name, count in runs.items())


def _what(on: ModeOutlook) -> str:
    return f"{capital(place(on.mode.part, on.like.positions))} {on.mode.title}"


def _interval(estimate: Estimate) -> str:
    return f"90 % interval {share(estimate.low)} to {share(estimate.high)}"


def drift_sentence(drift: Drift, rpm: str, oil: str) -> str:
    """Return the drift in words.

    Args:
        drift: the drift.
        rpm: its engine speed as the reader is shown it.
        oil: its oil temperature as the reader is shown it, with its unit.
    """
    size, ends = abs(drift.change), _drift_interval(drift)
    where = f"at {rpm} rpm and {oil}"
    if size < 0.005:
        return f"Oil pressure {where} is as when fresh{ends}."
    way = "lower" if drift.change < 0.0 else "higher"
    return f"Oil pressure is {100 * size:.0f} % {way} {where} than when fresh{ends}."


def _drift_interval(drift: Drift) -> str:
    if drift.low < 0.0 < drift.high:
        ends = f"{-100 * drift.low:.0f} % lower to {100 * drift.high:.0f} % higher"
    else:
        ends = "{:.0f}-{:.0f} %".format(*sorted((100 * abs(drift.low), 100 * abs(drift.high))))
    return f", 90 % interval {ends} ({drift.runs} runs)"
