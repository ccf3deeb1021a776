"""How good the outlook was: each teardown forecast from what was known before it.

Beside it stands the same model with running hours as its only cause: what counting hours achieves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd

from babbitt.damage.chance import chance
from babbitt.damage.fleet import Fleet, learn_modes
from babbitt.damage.looks import Seen, observations, pieces_in
from babbitt.damage.posterior import Posterior, learn
from babbitt.damage.prior import running_prior
from babbitt.damage.scores import Decomposition, calibration_table, decompose
from babbitt.model.damage_modes import DamageMode
from babbitt.model.run import BoolArray, FloatArray

Track = Callable[[Iterable[Any], int], Iterable[Any]]


@dataclass(frozen=True)
class Forecast:
    """The chance that a look would find parts worn or worse, as foretold, and what it found.

    Attributes:
        engine_id: the engine.
        at: UTC, when it was taken apart.
        mode: the damage mode.
        positions: where the parts sat; None: the only one, or every one.
        p: chance by the damage model.
        by_hours: chance by running hours alone.
        looks: earlier looks that it was learned from.
        damaged: whether damage was found.
    """

    engine_id: str
    at: datetime
    mode: DamageMode
    positions: tuple[str | None, ...]
    p: float
    by_hours: float
    looks: int
    damaged: bool


@dataclass(frozen=True, eq=False)
class BackTest:
    """Forecasts of every look, and their scores.

    Attributes:
        forecasts: in the order of the teardowns.
        score: of the damage model; None without forecasts.
        by_hours: of running hours alone; None without forecasts.
        calibration: of the damage model, see `calibration_table`.
    """

    forecasts: tuple[Forecast, ...]
    score: Decomposition | None
    by_hours: Decomposition | None
    calibration: pd.DataFrame

    def to_json(self) -> dict[str, Any]:
        """Return it as the command line writes it; null where there is no figure."""
        groups = self.calibration.astype(object).where(self.calibration.notna(), None)
        return {
            "brier": self.score.brier if self.score else None,
            "brier_by_hours": self.by_hours.brier if self.by_hours else None,
            "brier_of_frequency": self.score.uncertainty if self.score else None,
            "calibration": groups.to_dict("records"),
            "forecasts": [
                {
                    "engine_id": each.engine_id,
                    "at": each.at.isoformat(),
                    "part": each.mode.part,
                    "positions": [place for place in each.positions if place is not None],
                    "damage_mode": each.mode.name,
                    "p": each.p,
                    "by_hours": each.by_hours,
                    "looks": each.looks,
                    "damaged": each.damaged,
                }
                for each in self.forecasts
            ],
        }


def back_test(fleets: Sequence[Fleet], *, track: Track = lambda items, _: items) -> BackTest:
    """Forecast each teardown of each fleet from what was known before it, and score that.

    Doses, usual rates and usual build hours are those of then; the build that is being taken apart
    has run its hours. A damage mode for which the spec states no life dose is left out.

    Args:
        fleets: one an engine type.
        track: passes the teardowns through, and is told their number; for a progress bar.
    """
    teardowns = [
        (fleet, list(looks))
        for fleet in fleets
        for _, looks in groupby(fleet.seen, key=lambda each: (each.at, each.engine_id))
    ]
    forecasts = [
        forecast
        for fleet, looks in track(teardowns, len(teardowns))
        for forecast in _foretell(fleet, looks)
    ]
    foretold = np.array([each.p for each in forecasts])
    by_hours = np.array([each.by_hours for each in forecasts])
    damaged = np.array([each.damaged for each in forecasts], dtype=np.bool_)
    return BackTest(
        forecasts=tuple(forecasts),
        score=_score(foretold, damaged),
        by_hours=_score(by_hours, damaged),
        calibration=calibration_table(foretold, damaged),
    )


def _foretell(fleet: Fleet, looks: Sequence[Seen]) -> Iterable[Forecast]:
    """Yield the forecast of each look of one teardown."""
    at = looks[0].at
    life = fleet.lives[looks[0].engine_id]
    usual_h, loads = fleet.usual_h(at), fleet.loads(life, before=at)
    before = [each for each in fleet.seen if each.at < at]
    known = observations(before, loads)
    learned = learn_modes(life, known, pieces_in(before, loads), usual_h=usual_h)
    timed: dict[DamageMode, Posterior] = {}
    for look in looks:
        mode, build_h = look.mode, usual_h[look.mode.part]
        if mode not in learned or build_h is None:
            continue
        if mode not in timed:
            timed[mode] = learn([running_prior(build_h)], known.get(mode, ()))
        load = loads.fitted(loads.of(look.now, look.sound), look.engine_id, len(look.pieces))
        yield Forecast(
            engine_id=look.engine_id,
            at=at,
            mode=mode,
            positions=look.positions,
            p=chance(learned[mode], load).worn.p,
            by_hours=chance(timed[mode], load).worn.p,
            looks=learned[mode].observations,
            damaged=look.damaged,
        )


def _score(forecasts: FloatArray, damaged: BoolArray) -> Decomposition | None:
    return decompose(forecasts, damaged) if len(forecasts) else None
