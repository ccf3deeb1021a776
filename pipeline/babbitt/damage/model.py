"""The damage model of one damage mode: competing Weibull risks, one a cause.

A part that has taken the dose x_k of each cause k since it was new is damaged with the chance

    1 - exp(-G),   G = h0 + sum_k (x_k / eta_k)^beta_k

h0 is the weight of all that no log shows (assembly, dirt, material); eta_k the dose at which cause
k alone has damaged 63 % of parts; beta_k how steeply its harm grows.

A part found sound and fitted again is judged from that look on: what it took harmlessly by then is
over, and the new assembly brings its own risk:

    G = h0 + sum_k [(x_k / eta_k)^beta_k - (y_k / eta_k)^beta_k]

with y_k its doses at that look. So each look is one observation, and the looks of one part
multiply to its interval-censored likelihood without counting any stretch twice.

A dose taken while nobody watched is unknown, not zero: x_k + E_k, with E_k exponential around a
mean that the caller states. The risks being additive, its expectation is taken cause by cause.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from babbitt.model.run import BoolArray, FloatArray

UNLOGGED = "unlogged"
"""The cause that is always possible: whatever no log shows."""

_LEAST_DOSE = 1e-300  # stands for no dose where a logarithm is taken
_LARGEST_LOG = 100.0  # of a hazard or parameter: certain long before, and all sums stay finite

_BLOCK = 64  # draws at a time, so that what is known of 200 looks stays in the processor's cache

# Strata of a unit exponential, finer towards zero, where a short life still tells doses apart.
_EDGES = np.array([0.0, 0.01, 0.03, 0.1, 0.3, 0.6, 1.0, 1.6, 2.5, 4.0, np.inf])
_SURVIVAL = np.exp(-_EDGES)
_MOMENT_ABOVE = np.append((1.0 + _EDGES[:-1]) * _SURVIVAL[:-1], 0.0)
_STRATUM_CHANCE = _SURVIVAL[:-1] - _SURVIVAL[1:]
_STRATUM_MEAN = (_MOMENT_ABOVE[:-1] - _MOMENT_ABOVE[1:]) / _STRATUM_CHANCE


@dataclass(frozen=True)
class Load:
    """What a part has taken; doses in the unit of their cause.

    Attributes:
        doses: cause -> dose since the part was new; a cause not named: none.
        unwatched: cause -> mean of the dose it may have taken unseen since the last look.
        sound_at: cause -> dose at the last look after which it was fitted again, at most that of
            `doses`; empty: not looked at yet.
        engine_id: where it sits; "": in an engine of which nothing is known.
        pieces: like parts that have taken this, asked about together.
        grade: that the last look found; 0: sound, or not looked at yet.
        worn: share of its allowance that was measured as gone at it; None: not measured.
    """

    doses: Mapping[str, float]
    unwatched: Mapping[str, float] = field(default_factory=dict)
    sound_at: Mapping[str, float] = field(default_factory=dict)
    engine_id: str = ""
    pieces: int = 1
    grade: int = 0
    worn: float | None = None

    def __post_init__(self) -> None:
        for cause, dose in [*self.doses.items(), *self.unwatched.items()]:
            if not 0.0 <= dose < np.inf:
                raise ValueError(f"{dose} is no dose of {cause}")
        for cause, dose in self.sound_at.items():
            if not 0.0 <= dose <= self.doses.get(cause, 0.0):
                raise ValueError(f"{dose} of {cause} at the last look is not between 0 and now")


@dataclass(frozen=True)
class Observation:
    """One look at a part, or at all parts of a kind that were fitted to an engine together.

    Attributes:
        load: what it had taken by then.
        damaged: whether it, or any of them, was found damaged.
        grades: of each of them; empty: not said.
        worn: grade, and share of its allowance that was measured as gone, of those measured.
    """

    load: Load
    damaged: bool
    grades: tuple[int, ...] = ()
    worn: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True)
class CauseColumn:
    """The doses of one cause, in the rows that have any.

    Attributes:
        rows: into the records; shape (n,).
        log_dose: ln of the dose now; shape (1, n, 1), or (strata, n, 1) where some was unseen.
        looked: into `rows`, those with a dose at an earlier look; shape (m,).
        log_before: ln of that earlier dose; shape (m, 1).
    """

    rows: npt.NDArray[np.intp]
    log_dose: FloatArray
    looked: npt.NDArray[np.intp]
    log_before: FloatArray


@dataclass(frozen=True)
class Records:
    """Observations of one damage mode as arrays; equal ones are one row with its count.

    Attributes:
        columns: one a cause.
        damaged: whether found damaged; shape (rows,).
        count: looks that each row stands for; shape (rows,).
    """

    columns: tuple[CauseColumn, ...]
    damaged: BoolArray
    count: FloatArray


def records_of(observations: Sequence[Observation], causes: Sequence[str]) -> Records:
    """Return `observations` as arrays with the doses of `causes`; other doses play no part."""
    k = len(causes)
    rows = np.array(
        [
            [doses.get(cause, 0.0) for doses in _doses_of(look.load) for cause in causes]
            + [look.damaged]
            for look in observations
        ],
        dtype=np.float64,
    ).reshape(-1, 3 * k + 1)
    rows, count = np.unique(rows, axis=0, return_counts=True)
    return Records(
        columns=tuple(_column(rows[:, j], rows[:, k + j], rows[:, 2 * k + j]) for j in range(k)),
        damaged=rows[:, -1] > 0,
        count=count.astype(np.float64),
    )


def log_likelihood(draws: FloatArray, records: Records) -> FloatArray:
    """Return the log-likelihood of each draw, shape (draws,).

    A part found sound adds -G, one found damaged ln(1 - exp(-G)): current-status data, as in
    Ayer et al., Annals of Mathematical Statistics 26 (1955) 641.

    Args:
        draws: rows of ln h0, ln eta of each cause, ln beta of each cause; shape
            (draws, 1 + 2 x causes).
        records: what was found.
    """
    blocks = [draws[at : at + _BLOCK] for at in range(0, len(draws), _BLOCK)]
    return np.concatenate([_found(_total_hazard(block, records), records) for block in blocks])


def log_likelihood_and_slope(draws: FloatArray, records: Records) -> tuple[FloatArray, FloatArray]:
    """Return what `log_likelihood` does, and its slope by each column of `draws`.

    With unseen doses the slope of a cause's hazard is the mean over their strata, each weighted
    by how likely it leaves the part sound.
    """
    total = np.repeat(_exp(draws[None, :, 0]), len(records.count), axis=0)
    slopes = []
    for column, (log_eta, beta) in zip(records.columns, _shapes(draws), strict=True):
        log_hazard = _log_hazard(log_eta, beta, column.log_dose)
        hazard = np.exp(log_hazard)
        if len(hazard) == 1:
            added, by_log, by_beta = hazard[0], hazard[0].copy(), (hazard * log_hazard)[0]
        else:
            least = hazard.min(axis=0)
            weight = _STRATUM_CHANCE[:, None, None] * np.exp(least - hazard)
            mass = weight.sum(axis=0)
            weight *= hazard / mass
            added = least - np.log(mass)
            by_log, by_beta = weight.sum(axis=0), (weight * log_hazard).sum(axis=0)
        log_earlier = _log_hazard(log_eta, beta, column.log_before)
        earlier = np.exp(log_earlier)
        added[column.looked] -= earlier
        by_log[column.looked] -= earlier
        by_beta[column.looked] -= earlier * log_earlier
        total[column.rows] += added
        slopes.append((column.rows, -beta * by_log, by_beta))
    # d/dG of ln(1 - exp(-G)) is exp(-G) / (1 - exp(-G)); of -G it is -1
    damaged = records.damaged[:, None]
    pull = np.where(damaged, np.exp(-total) / -np.expm1(-total), -1.0) * records.count[:, None]
    columns = [pull.sum(axis=0) * _exp(draws[:, 0])]
    columns += [(pull[rows] * by_eta).sum(axis=0) for rows, by_eta, _ in slopes]
    columns += [(pull[rows] * by_beta).sum(axis=0) for rows, _, by_beta in slopes]
    return _found(total, records), np.column_stack(columns)


@dataclass(frozen=True, eq=False)
class Curves:
    """Dose responses, ready for `hazards`: of what no log shows, to a dose of one, then by cause.

    Attributes:
        log_eta: shape (1 + causes, draws); of several damage modes one below another.
        beta: in the same shape.
    """

    log_eta: FloatArray
    beta: FloatArray


def curves_of(draws: FloatArray) -> Curves:
    """Return the dose responses of draws; these are as in `log_likelihood`."""
    k = draws.shape[1] // 2
    by_column = draws.T
    log_eta, log_beta = by_column[: 1 + k].copy(), np.zeros((1 + k, len(draws)))
    np.clip(-log_eta[0], -_LARGEST_LOG, _LARGEST_LOG, out=log_eta[0])
    log_beta[1:] = by_column[1 + k :]
    return Curves(log_eta, _exp(log_beta))


def hazards(curves: Curves, doses: FloatArray) -> FloatArray:
    """Return what each dose adds to G; shape (rows, draws).

    Args:
        curves: the dose responses.
        doses: shape (rows, 1), or (rows, draws) for doses of each draw's own; 1 for what no log
            shows.
    """
    log_hazard = _log_hazard(curves.log_eta, curves.beta, _log(doses))
    return np.exp(log_hazard, out=log_hazard)


def _doses_of(load: Load) -> tuple[Mapping[str, float], ...]:
    return load.doses, load.unwatched, load.sound_at


def _column(now: FloatArray, unseen: FloatArray, before: FloatArray) -> CauseColumn:
    rows = np.flatnonzero(now + unseen)
    dose = now[None, rows, None]
    if unseen.any():
        dose = dose + _STRATUM_MEAN[:, None, None] * unseen[None, rows, None]
    looked = np.flatnonzero(before[rows])
    return CauseColumn(rows, _log(dose), looked, _log(before[rows][looked, None]))


def _total_hazard(draws: FloatArray, records: Records) -> FloatArray:
    """Return G in each row and of each draw; shape (rows, draws)."""
    total = np.repeat(_exp(draws[None, :, 0]), len(records.count), axis=0)
    for column, (log_eta, beta) in zip(records.columns, _shapes(draws), strict=True):
        hazard = np.exp(_log_hazard(log_eta, beta, column.log_dose))
        if len(hazard) == 1:
            added = hazard[0]
        else:
            least = hazard.min(axis=0)
            added = least - np.log(np.tensordot(_STRATUM_CHANCE, np.exp(least - hazard), axes=1))
        added[column.looked] -= np.exp(_log_hazard(log_eta, beta, column.log_before))
        total[column.rows] += added
    return total


def _shapes(draws: FloatArray) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Yield ln eta and beta of each cause; each of shape (draws,)."""
    k = draws.shape[1] // 2
    return zip(draws[:, 1 : 1 + k].T, _exp(draws[:, 1 + k :].T), strict=True)


def _found(total: FloatArray, records: Records) -> FloatArray:
    """Return the log-likelihood of each draw from its G in each row; shape (draws,)."""
    damaged = records.damaged
    found: FloatArray = records.count[damaged] @ np.log(-np.expm1(-total[damaged]))
    return found - records.count[~damaged] @ total[~damaged]


def _exp(log_parameter: FloatArray) -> FloatArray:
    return np.exp(np.clip(log_parameter, -_LARGEST_LOG, _LARGEST_LOG))


def _log(dose: FloatArray) -> FloatArray:
    return np.log(np.maximum(dose, _LEAST_DOSE))


def _log_hazard(log_eta: FloatArray, beta: FloatArray, log_dose: FloatArray) -> FloatArray:
    """Return ln of (dose / eta)^beta; the arguments broadcast."""
    log_hazard = log_dose - log_eta
    log_hazard *= beta
    return np.minimum(log_hazard, _LARGEST_LOG, out=log_hazard)
