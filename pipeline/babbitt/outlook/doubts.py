"""What the record of an engine leaves open, so that no call hides it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from babbitt.damage.blame import place
from babbitt.damage.looks import LikeParts
from babbitt.model.damage_modes import parts
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS, Kind
from babbitt.outlook.ahead import Pool, least_runs
from babbitt.present.words import Reader, capital, duration, share

LONG_AGO = timedelta(days=180)
"""An engine that stood for longer is not judged by its runs alone (common practice, no source)."""

WATCHED = 0.95
"""Less is said."""

BEYOND_LIMIT = 3
"""Grade from which a part that is still in wants a look; see schemas/causes.toml."""

HARDLY_WATCHED = 0.5
"""Less, and the call is inspect at least (common practice, no source)."""


@dataclass(frozen=True)
class Coverage:
    """How far the logs cover an engine since its last refresh.

    Attributes:
        runs: runs, unlogged ones among them.
        unlogged_s: running seconds that no logger saw.
        watched_share: of the running, by kind of harm; empty without running.
        stale: events found under other limits than today's.
        unjudged: runs whose events have not been searched for.
        last_run: UTC start of the newest run; None without runs.
        unlived: kinds of harm without a life dose in the spec, and the damage modes, as part and
            mode, that cannot be judged without them.
    """

    runs: int
    unlogged_s: float
    watched_share: Mapping[Kind, float]
    stale: int
    unjudged: int
    last_run: datetime | None
    unlived: Mapping[Kind, tuple[tuple[str, str], ...]]


@dataclass(frozen=True)
class Doubt:
    """Something that the record leaves open.

    Attributes:
        sentence: in words, with what to do about it.
        grave: whether running on needs a look first.
    """

    sentence: str
    grave: bool


def doubts_of(
    coverage: Coverage,
    fitted: Iterable[LikeParts],
    pool: Pool,
    life: LifeSection,
    *,
    at: datetime,
    reader: Reader,
) -> tuple[Doubt, ...]:
    """Return what the record leaves open, the grave first.

    Args:
        coverage: since the last refresh.
        fitted: the parts of the engine.
        pool: runs that the next ones are drawn from.
        life: [life] of the engine spec: a kind without a dose is not asked for.
        at: the moment of the outlook, UTC.
        reader: whose time zone is used.
    """
    doubts = [
        *_stale(coverage),
        *_unwatched(coverage, life),
        *_idle(coverage, at, reader),
        *_unlived(coverage),
        *_went_back(fitted),
        *_few_runs(pool),
    ]
    return tuple(sorted(doubts, key=lambda doubt: not doubt.grave))


def _stale(coverage: Coverage) -> Iterable[Doubt]:
    if coverage.stale:
        yield Doubt(
            f"{coverage.stale} events were found under other limits than today's: run "
            "`babbitt detect`.",
            grave=True,
        )
    if coverage.unjudged:
        yield Doubt(
            f"{coverage.unjudged} runs have not been searched for events: run `babbitt detect`.",
            grave=True,
        )


def _unwatched(coverage: Coverage, life: LifeSection) -> Iterable[Doubt]:
    partly = {
        kind: watched
        for kind, watched in coverage.watched_share.items()
        if watched < WATCHED and life.of(kind) is not None
    }
    if partly:
        named = ", ".join(f"{KINDS[kind].title} {share(each)}" for kind, each in partly.items())
        yield Doubt(
            f"Watched for only a part of the running since the refresh: {named}; the rest is "
            "counted at the usual rate of the fleet.",
            grave=min(partly.values()) < HARDLY_WATCHED,
        )
    if coverage.unlogged_s:
        yield Doubt(f"{duration(coverage.unlogged_s)} of running was not logged.", grave=False)


def _idle(coverage: Coverage, at: datetime, reader: Reader) -> Iterable[Doubt]:
    if not coverage.runs:
        yield Doubt("No runs since the refresh: judged by earlier runs alone.", grave=False)
    if coverage.last_run is not None and at - coverage.last_run > LONG_AGO:
        days = (at - coverage.last_run).days
        yield Doubt(
            f"It last ran on {reader.day(coverage.last_run)}, {days} days before: what stood still "
            "for so long, no log shows.",
            grave=True,
        )


def _unlived(coverage: Coverage) -> Iterable[Doubt]:
    if coverage.unlived:
        kinds = ", ".join(coverage.unlived)
        names = {part for modes in coverage.unlived.values() for part, _ in modes}
        titles = ", ".join(part.title for name, part in parts().items() if name in names)
        yield Doubt(
            f"[life] of the spec states no dose of {kinds}, so damage by them cannot be judged "
            f"({titles}).",
            grave=False,
        )


def _went_back(fitted: Iterable[LikeParts]) -> Iterable[Doubt]:
    for like in fitted:
        for mode, grade in like.went_back.items():
            title = parts()[like.part].modes[mode].title
            yield Doubt(
                f"{capital(place(like.part, like.positions))} was found {title} (grade {grade}) "
                "and is still in, by the record: it is not forecast.",
                grave=grade >= BEYOND_LIMIT,
            )


def _few_runs(pool: Pool) -> Iterable[Doubt]:
    least = least_runs(pool.circuit)
    at, there = (f" at {pool.circuit}", " there") if pool.circuit else ("", "")
    if not pool.runs:
        yield Doubt(f"There is no logged run{at} to expect the next ones from.", grave=True)
    elif pool.source == "engine":
        yield Doubt(
            f"Fewer than {least} runs{at} since the refresh: the next ones are expected to be "
            f"like all {pool.runs} of this engine{there}.",
            grave=False,
        )
    elif pool.source == "fleet":
        yield Doubt(
            f"Fewer than {least} runs of this engine{at}: the next ones are expected to be like "
            f"all {pool.runs} of its type{there}.",
            grave=False,
        )
