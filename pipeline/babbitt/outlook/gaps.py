"""What the record of an engine leaves open, so that no call hides it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from babbitt.damage.looks import LikeParts
from babbitt.model.damage_modes import parts
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import Kind
from babbitt.outlook.ahead import Pool, least_runs

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
class Stale:
    """Events that were found under other limits than today's."""

    events: int
    grave: bool = True


@dataclass(frozen=True)
class Unjudged:
    """Runs that have not been searched for events."""

    runs: int
    grave: bool = True


@dataclass(frozen=True)
class HardlyWatched:
    """Kinds of harm that could be seen for only a share of the running."""

    shares: Mapping[Kind, float]
    grave: bool


@dataclass(frozen=True)
class NotLogged:
    """Running that no logger saw."""

    running_s: float
    grave: bool = False


@dataclass(frozen=True)
class NoRuns:
    """No runs since the refresh."""

    grave: bool = False


@dataclass(frozen=True)
class StoodStill:
    """An engine that did not run for long."""

    last_run: datetime
    days: int
    grave: bool = True


@dataclass(frozen=True)
class NoLifeDose:
    """Kinds of harm without a dose in [life], and the kinds of part that cannot be judged so."""

    kinds: tuple[Kind, ...]
    parts: tuple[str, ...]
    grave: bool = False


@dataclass(frozen=True)
class StillIn:
    """Parts that were found damaged and are still in, which are not forecast."""

    part: str
    positions: tuple[str | None, ...]
    mode: str
    grade: int

    @property
    def grave(self) -> bool:
        """Whether running on needs a look first."""
        return self.grade >= BEYOND_LIMIT


@dataclass(frozen=True)
class FewRuns:
    """Fewer runs than say enough of what to expect; source, runs and circuit as in `Pool`."""

    source: str
    runs: int
    circuit: str | None
    least: int

    @property
    def grave(self) -> bool:
        """Whether running on needs a look first."""
        return not self.runs


Gap = (
    Stale
    | Unjudged
    | HardlyWatched
    | NotLogged
    | NoRuns
    | StoodStill
    | NoLifeDose
    | StillIn
    | FewRuns
)
"""Something that the record of an engine leaves open; `grave` tells whether running on needs a
look first."""


def gaps_of(
    coverage: Coverage,
    fitted: Iterable[LikeParts],
    pool: Pool,
    life: LifeSection,
    *,
    at: datetime,
) -> tuple[Gap, ...]:
    """Return what the record leaves open, the grave first.

    Args:
        coverage: since the last refresh.
        fitted: the parts of the engine.
        pool: runs that the next ones are drawn from.
        life: [life] of the engine spec: a kind without a dose is not asked for.
        at: the moment of the outlook, UTC.
    """
    gaps = [
        *_unsearched(coverage),
        *_unwatched(coverage, life),
        *_idle(coverage, at),
        *_unlived(coverage),
        *_still_in(fitted),
        *_few_runs(pool),
    ]
    return tuple(sorted(gaps, key=lambda gap: not gap.grave))


def _unsearched(coverage: Coverage) -> Iterable[Gap]:
    if coverage.stale:
        yield Stale(coverage.stale)
    if coverage.unjudged:
        yield Unjudged(coverage.unjudged)


def _unwatched(coverage: Coverage, life: LifeSection) -> Iterable[Gap]:
    partly = {
        kind: watched
        for kind, watched in coverage.watched_share.items()
        if watched < WATCHED and life.of(kind) is not None
    }
    if partly:
        yield HardlyWatched(partly, grave=min(partly.values()) < HARDLY_WATCHED)
    if coverage.unlogged_s:
        yield NotLogged(coverage.unlogged_s)


def _idle(coverage: Coverage, at: datetime) -> Iterable[Gap]:
    if not coverage.runs:
        yield NoRuns()
    if coverage.last_run is not None and at - coverage.last_run > LONG_AGO:
        yield StoodStill(coverage.last_run, (at - coverage.last_run).days)


def _unlived(coverage: Coverage) -> Iterable[Gap]:
    if coverage.unlived:
        names = {part for modes in coverage.unlived.values() for part, _ in modes}
        yield NoLifeDose(tuple(coverage.unlived), tuple(name for name in parts() if name in names))


def _still_in(fitted: Iterable[LikeParts]) -> Iterable[Gap]:
    for like in fitted:
        for mode, grade in like.went_back.items():
            yield StillIn(like.part, like.positions, mode, grade)


def _few_runs(pool: Pool) -> Iterable[Gap]:
    if not pool.runs or pool.source != "build":
        yield FewRuns(pool.source, pool.runs, pool.circuit, least_runs(pool.circuit))
