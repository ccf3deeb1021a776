"""A fleet: engines of one type, which learn from one another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from babbitt.damage.doubt import weigh_together
from babbitt.damage.gradual import Piece
from babbitt.damage.ledger import Ledger, Loads, usual_rates
from babbitt.damage.looks import Seen
from babbitt.damage.model import Observation
from babbitt.damage.posterior import Fit, Posterior, fit
from babbitt.damage.prior import missing_lives, priors_of
from babbitt.model.damage_modes import DamageMode, parts
from babbitt.model.engine_spec import LifeSection


@dataclass(frozen=True)
class BuildSpan:
    """The span of a build of an engine.

    Attributes:
        engine_id: the engine.
        since: UTC, inclusive; None: from its beginning.
        end: UTC, exclusive, its last teardown, else the next refresh; None: it goes on.
    """

    engine_id: str
    since: datetime | None
    end: datetime | None


@dataclass(frozen=True, eq=False)
class Fleet:
    """Engines of one type, and what their teardowns found.

    Attributes:
        ledgers: of its engines, by engine.
        seen: looks at their parts, oldest first.
        builds: of its engines.
        lives: [life] of each engine's spec, by engine.
    """

    ledgers: Mapping[str, Ledger]
    seen: tuple[Seen, ...]
    builds: tuple[BuildSpan, ...]
    lives: Mapping[str, LifeSection]

    def build_h(self, at: datetime | None = None) -> float | None:
        """Return the usual running hours of builds as they stood at an instant; None: now.

        The median, with builds that go on counted as longer than they are so far (Kaplan and Meier
        1958); None: no build that ever ran has ended.
        """
        ran: list[tuple[float, bool]] = []
        for build in self.builds:
            ended = build.end is not None and (at is None or build.end <= at)
            ledger = self.ledgers[build.engine_id]
            inside = ledger.within(build.since, build.end if ended else at)
            ran.append((float(ledger.running_h[inside].sum()), ended))
        return _median_h([(hours, ended) for hours, ended in ran if hours > 0.0])

    def usual_h(self, at: datetime | None = None) -> dict[str, float | None]:
        """Return the usual running hours of parts of each kind, as they stood at an instant.

        Those of a build; more where looks show that such parts are fitted again, the median then
        being that of their own hours, with those fitted again counted as longer. What became of
        parts that are looked at at that very instant is not known yet.

        Args:
            at: UTC; None: now.

        Returns:
            Kind of part -> hours; None: no build has ended.
        """
        build_h = self.build_h(at)
        ran: dict[str, dict[object, tuple[float, bool]]] = {part: {} for part in parts()}
        for look in self.seen:
            if at is None or look.at <= at:
                ended = not look.fitted_again and (at is None or look.at < at)
                ran[look.mode.part][look.begun] = look.now.running_h, ended
        return {part: _longer(build_h, list(theirs.values())) for part, theirs in ran.items()}

    def loads(self, life: LifeSection, *, before: datetime | None = None) -> Loads:
        """Return what works out loads by the usual rates before an instant; see `usual_rates`."""
        build_h = self.build_h(before)
        return Loads(usual_rates(self.ledgers.values(), life, build_h=build_h, before=before))

    @cached_property
    def teardowns(self) -> int:
        """How many teardowns its looks were made in."""
        return len({(each.engine_id, each.at) for each in self.seen})


def _longer(build_h: float | None, ran: Sequence[tuple[float, bool]]) -> float | None:
    """Return the usual hours of parts, no less than those of a build."""
    if build_h is None or not ran:
        return build_h
    # parts that were never replaced last at least as long as the oldest of them
    return max(build_h, _median_h(ran) or max(hours for hours, _ in ran))


def _median_h(ran: Sequence[tuple[float, bool]]) -> float | None:
    """Return the median of hours, of which those not ended are longer than they are so far."""
    if not any(ended for _, ended in ran):
        return None
    going, at_risk = 1.0, len(ran)
    for hours, ended in sorted(ran, key=lambda each: (each[0], not each[1])):
        going *= 1.0 - 1.0 / at_risk if ended else 1.0
        at_risk -= 1
        if going <= 0.5:
            return hours
    return max(hours for hours, _ in ran)


def learn_modes(
    life: LifeSection,
    found: Mapping[DamageMode, Sequence[Observation]],
    pieces: Mapping[DamageMode, Sequence[Piece]],
    *,
    usual_h: Mapping[str, float | None],
) -> dict[DamageMode, Posterior]:
    """Return what is believed of every damage mode of every part.

    Whether doses or running time do the damage is learned from all of them together, those that
    were looked at alike counting once; see `weigh_together`.

    Args:
        life: [life] of the engine spec; modes that need a dose that it does not state are left
            out.
        found: observations by damage mode.
        pieces: the same piece by piece.
        usual_h: running hours that parts of each kind usually run, see `Fleet.usual_h`.

    Raises:
        DamageModelError: the draws of a mode do not settle.
    """
    fits: dict[tuple[object, ...], Fit] = {}
    keys = {}
    for mode in (mode for part in parts().values() for mode in part.modes.values()):
        if missing_lives(mode, life):
            continue
        # modes with the same causes are believed the same as long as the same was found of them
        looks = found.get(mode, ())
        alike = tuple((id(look.load), look.grades, look.worn) for look in looks)
        causes = mode.primary, mode.contributing, mode.clock
        keys[mode] = key = causes, mode.develops, usual_h[mode.part], alike
        if key not in fits:
            priors = priors_of(mode, life, strip_interval_h=usual_h[mode.part])
            fits[key] = fit(priors, looks, pieces.get(mode, ()), develops=mode.develops)
    learned = dict(zip(fits, weigh_together(list(fits.values())), strict=True))
    return {mode: learned[key] for mode, key in keys.items()}
