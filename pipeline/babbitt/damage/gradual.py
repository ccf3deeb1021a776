"""The gradual way in which damage develops: wear that grows with dose, read by grades and gauges.

A piece that has taken the doses x_k since it was new has worn, as a share of what it may wear,

    w = (w0 + sum_k x_k / L_k) exp(u + v)

w0 is what no log shows (assembly, dirt); L_k the dose of cause k that wears a middling piece out;
u, normal, is the same for all pieces of an engine, v for one piece as long as it lives. So a piece
that was seen and fitted again keeps its wear and is judged from it. Grades are thresholds of w, in
their order, with 1 where a piece is to be replaced; a measurement reads w with a log-normal error.
One finding in thirty is graded at random, so that one wrong word moves no belief far.

The effects are integrated: v in closed form, u on a grid.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from babbitt.model.run import FloatArray

LAPSE = 1.0 / 30.0
"""Share of findings that are graded at random (common practice, no source)."""

WORN_AT = 0.5
"""Median share of the allowance from which a piece is worn (common practice, no source)."""

TRACE_AT = 0.2
"""The same for first traces."""

FAILED_AT = 2.0
"""The same for failure."""

THRESHOLD_SPREAD = 0.4
"""Standard deviation of ln of each step between thresholds of ln w."""

START = 0.02
"""Median of w0."""

START_SPREAD = 1.0
"""Standard deviation of ln w0."""

ENGINE_EFFECT = 0.25
"""Median of the standard deviation of u (common practice, no source)."""

PIECE_EFFECT = 0.25
"""Median of the standard deviation of v (common practice, no source)."""

EFFECT_SPREAD = 0.5
"""Standard deviation of ln of either."""

GAUGE_ERROR = 0.2
"""Median error of a measured wear, a share of it (common practice, no source)."""

_NODES = np.linspace(-3.0, 3.0, 11)
_LOG_NODE_WEIGHTS = -0.5 * _NODES**2 - special.logsumexp(-0.5 * _NODES**2)
_GRADES = 5
_SHAPES = 7  # parameters that are no lives
_LEAST = 1e-300
_BLOCK = 256  # draws at a time, so that what is known of 200 looks stays in the processor's cache


@dataclass(frozen=True)
class PieceLook:
    """One look at a piece, for one damage mode.

    Attributes:
        doses: cause -> dose since the piece was new, running hours among them; what nobody saw at
            its mean.
        grade: 0 sound to 4 failed.
        worn: share of its allowance that was measured as gone; None: not measured.
    """

    doses: Mapping[str, float]
    grade: int
    worn: float | None = None


@dataclass(frozen=True)
class Piece:
    """A piece and all looks at it since it was new, oldest first."""

    engine_id: str
    looks: tuple[PieceLook, ...]


@dataclass(frozen=True)
class GradualPrior:
    """Independent normal beliefs about ln w0, thresholds, effects, gauge error and ln L.

    Attributes:
        causes: of wear, in the order of their lives.
        mean: shape (7 + causes,).
        spread: standard deviations, in the same shape.
    """

    causes: tuple[str, ...]
    mean: FloatArray
    spread: FloatArray


def gradual_prior(lives: Mapping[str, float], spreads: Mapping[str, float]) -> GradualPrior:
    """Return what is believed of the gradual way before any teardown.

    Args:
        lives: cause -> dose that is believed to wear a middling piece out.
        spreads: cause -> standard deviation of ln of it.
    """
    steps = [-math.log(WORN_AT), math.log(WORN_AT / TRACE_AT), math.log(FAILED_AT)]
    shapes = [START, *steps, ENGINE_EFFECT, PIECE_EFFECT, GAUGE_ERROR]
    shape_spreads = [START_SPREAD, *[THRESHOLD_SPREAD] * 3, *[EFFECT_SPREAD] * 3]
    return GradualPrior(
        causes=tuple(lives),
        mean=np.log([*shapes, *lives.values()]),
        spread=np.array([*shape_spreads, *(spreads[cause] for cause in lives)]),
    )


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces of one damage mode as arrays, those of an engine together; equal ones are one row.

    Attributes:
        engines: in the order of `first_row`.
        first_row: of each engine; shape (engines,).
        count: pieces that each row stands for; shape (rows,).
        first_look: of each row; shape (rows,).
        doses: at each look; shape (looks, causes).
        grade: at each look; shape (looks,).
        log_worn: ln of the measured wear, 0 where none was; shape (looks,).
        measured: 1 where it was; shape (looks,).
    """

    engines: tuple[str, ...]
    first_row: npt.NDArray[np.intp]
    count: FloatArray
    first_look: npt.NDArray[np.intp]
    doses: FloatArray
    grade: npt.NDArray[np.intp]
    log_worn: FloatArray
    measured: FloatArray


def pieces_of(pieces: Sequence[Piece], causes: Sequence[str]) -> Pieces:
    """Return pieces as arrays with the doses of `causes`; other doses play no part."""
    rows = Counter(
        (
            piece.engine_id,
            tuple(
                (tuple(look.doses.get(each, 0.0) for each in causes), look.grade, look.worn or 0.0)
                for look in piece.looks
            ),
        )
        for piece in pieces
    )
    ordered = sorted(rows)
    looks = [look for _, row in ordered for look in row]
    engines = [engine for engine, _ in ordered]
    worn = np.array([look[2] for look in looks])
    names, first_row = np.unique(engines, return_index=True)
    return Pieces(
        engines=tuple(names.tolist()),
        first_row=first_row,
        count=np.array([rows[key] for key in ordered], dtype=np.float64),
        first_look=np.cumsum([0, *(len(row) for _, row in ordered[:-1])]),
        doses=np.array([look[0] for look in looks], dtype=np.float64).reshape(-1, len(causes)),
        grade=np.array([look[1] for look in looks], dtype=np.intp),
        log_worn=np.log(np.where(worn > 0.0, worn, 1.0)),
        measured=(worn > 0.0).astype(np.float64),
    )


def thresholds(draws: FloatArray) -> FloatArray:
    """Return ln w from which each grade is reached, and an end; shape (6, draws)."""
    worn, trace, failed = np.exp(draws[:, 1:4]).T
    none = np.zeros(len(draws))
    return np.stack([none - np.inf, -worn - trace, -worn, none, failed, none + np.inf])


def log_middling(draws: FloatArray, doses: FloatArray) -> FloatArray:
    """Return ln w of a middling piece; shape (looks, draws).

    Args:
        draws: rows as the mean of a `GradualPrior`; shape (draws, 7 + causes).
        doses: shape (looks, causes), or (looks, causes, draws) for doses of each draw's own.
    """
    rate = np.exp(-draws[:, _SHAPES:]).T
    worn = doses @ rate if doses.ndim == 2 else (doses * rate).sum(axis=1)
    return np.asarray(np.log(np.exp(draws[:, 0]) + worn + _LEAST))


def log_likelihood(draws: FloatArray, pieces: Pieces) -> FloatArray:
    """Return the log-likelihood of each draw, shape (draws,); see the top of this module."""
    blocks = [draws[at : at + _BLOCK] for at in range(0, len(draws), _BLOCK)]
    told = [_by_engine(block, pieces) + _LOG_NODE_WEIGHTS[:, None, None] for block in blocks]
    return np.concatenate([special.logsumexp(each, axis=0).sum(axis=0) for each in told])


def engine_effects(
    draws: FloatArray, pieces: Pieces, rng: np.random.Generator
) -> dict[str, FloatArray]:
    """Draw u of each engine, in its standard deviations, one for each draw of the parameters."""
    log_weight = _by_engine(draws, pieces) + _LOG_NODE_WEIGHTS[:, None, None]
    weight = np.cumsum(np.exp(log_weight - log_weight.max(axis=0)), axis=0)
    aim = rng.random(weight.shape[1:]) * weight[-1]
    node = (weight < aim).sum(axis=0)
    within = rng.uniform(-0.5, 0.5, node.shape) * (_NODES[1] - _NODES[0])
    return dict(zip(pieces.engines, _NODES[node] + within, strict=True))


def _by_engine(draws: FloatArray, pieces: Pieces) -> FloatArray:
    """Return the log-likelihood of each engine's pieces at each node; (nodes, engines, draws)."""
    engine_sd, piece_sd, error = np.exp(draws[:, 4:7]).T
    edges = thresholds(draws)
    middling = log_middling(draws, pieces.doses)
    low = np.maximum.reduceat(edges[pieces.grade] - middling, pieces.first_look, axis=0)
    high = np.minimum.reduceat(edges[pieces.grade + 1] - middling, pieces.first_look, axis=0)
    misread = LAPSE * float(_GRADES) ** -np.diff(
        pieces.first_look, append=len(pieces.grade)
    ).astype(np.float64)
    gauged = np.add.reduceat(pieces.measured, pieces.first_look)[:, None]
    told = np.empty((len(_NODES), len(pieces.engines), len(draws)))
    if not gauged.any():
        low, high = low / piece_sd, np.maximum(low, high) / piece_sd
        for node, place in enumerate(_NODES):
            u = place * engine_sd / piece_sd
            within = special.ndtr(high - u) - special.ndtr(low - u)
            row = np.log((1.0 - LAPSE) * within + misread[:, None]) * pieces.count[:, None]
            told[node] = np.add.reduceat(row, pieces.first_row, axis=0)
        return told
    high = np.maximum(low, high)
    away = (pieces.log_worn[:, None] - middling) * pieces.measured[:, None]
    total = np.add.reduceat(away, pieces.first_look, axis=0)
    square = np.add.reduceat(away**2, pieces.first_look, axis=0)
    spread = error**2 + gauged * piece_sd**2
    after_sd = piece_sd * error / np.sqrt(spread)
    constant = -0.5 * (
        gauged * math.log(2.0 * math.pi)
        + np.where(gauged > 0, (gauged - 1.0) * np.log(error**2) + np.log(spread), 0.0)
    )
    for node, place in enumerate(_NODES):
        u = place * engine_sd
        sums = total - gauged * u
        squares = square - 2.0 * u * total + gauged * u**2
        after = u + piece_sd**2 * sums / spread
        within = special.ndtr((high - after) / after_sd) - special.ndtr((low - after) / after_sd)
        density = constant - 0.5 * (squares - piece_sd**2 * sums**2 / spread) / error**2
        row = (np.log((1.0 - LAPSE) * within + misread[:, None]) + density) * pieces.count[:, None]
        told[node] = np.add.reduceat(row, pieces.first_row, axis=0)
    return told


@dataclass(frozen=True, eq=False)
class Gradual:
    """What is believed of the gradual way, as draws of equal weight.

    Attributes:
        causes: of wear.
        draws: rows as the mean of a `GradualPrior`; shape (draws, 7 + causes).
        effects: u of each engine that was looked at, in its standard deviations; shape (draws,).
        middling_effect: the same of an engine that was not.
    """

    causes: tuple[str, ...]
    draws: FloatArray
    effects: Mapping[str, FloatArray]
    middling_effect: FloatArray

    def reached(
        self,
        doses: FloatArray,
        *,
        engine_id: str,
        pieces: int,
        looked: PieceLook | None,
    ) -> FloatArray:
        """Return the chance that any of several pieces is at least worn, to replace, failed.

        Args:
            doses: of each cause, in the order of `causes`; shape (causes, draws).
            engine_id: whose they are.
            pieces: how many there are.
            looked: the last look at each, before it was fitted again; None: there was none.

        Returns:
            Shape (3, draws).
        """
        draws = self.draws
        engine_sd, piece_sd, error = np.exp(draws[:, 4:7]).T
        u = self.effects.get(engine_id, self.middling_effect) * engine_sd
        edges = thresholds(draws)
        away = edges[2:5] - log_middling(draws, doses[None])[0] - u
        if looked is None:
            spared = special.ndtr(away / piece_sd)
            return np.asarray(1.0 - spared**pieces)
        then = np.array([[looked.doses.get(cause, 0.0) for cause in self.causes]])
        before = log_middling(draws, then)[0] + u
        low = (edges[looked.grade] if looked.grade > 1 else edges[0]) - before
        high = edges[looked.grade + 1 if looked.grade > 1 else 2] - before
        centre, sd = np.zeros(len(draws)), piece_sd
        if looked.worn:
            gain = piece_sd**2 / (piece_sd**2 + error**2)
            centre, sd = gain * (math.log(looked.worn) - before), piece_sd * np.sqrt(1.0 - gain)
        at = [special.ndtr((edge - centre) / sd) for edge in (low, high)]
        inside = (1.0 - LAPSE) * (at[1] - at[0])
        # a finding graded at random leaves the wear as it was believed
        beyond = special.ndtr((np.clip(away, low, high) - centre) / sd)
        spared = (1.0 - LAPSE) * (beyond - at[0]) + LAPSE / _GRADES * special.ndtr(
            (away - centre) / sd
        )
        return np.asarray(1.0 - (spared / (inside + LAPSE / _GRADES)) ** pieces)

    def shares(self, doses: FloatArray) -> FloatArray:
        """Return each cause's share in the wear, what no log shows first; (1 + causes, draws)."""
        worn = np.vstack([np.exp(self.draws[:, :1]).T, doses * np.exp(-self.draws[:, _SHAPES:]).T])
        return np.asarray(worn / worn.sum(axis=0))
