"""The gradual way: its likelihood by quadrature, its draws against an independent sampler."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, special, stats

from babbitt.damage.chance import chance
from babbitt.damage.gradual import (
    LAPSE,
    Gradual,
    Piece,
    PieceLook,
    gradual_prior,
    log_likelihood,
    pieces_of,
)
from babbitt.damage.model import Load, Observation
from babbitt.damage.posterior import learn
from babbitt.damage.prior import priors_of
from babbitt.model.damage_modes import mode_named
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS

# w0, steps worn, trace, failed; engine, piece, gauge; life
DRAW = np.log([[0.01, 0.7, 0.9, 0.7, 0.3, 0.2, 0.15, 10.0]])
EDGES = [-np.inf, -1.6, -0.7, 0.0, 0.7, np.inf]
MODE = mode_named("rod_bearing", "worn")


def by_hand(*looks: tuple[float, int, float | None], pieces: int = 1) -> float:
    """The chance density of looks at like pieces of one engine, by adaptive quadrature."""

    def of_a_piece(u: float) -> float:
        low = max(EDGES[grade] - math.log(0.01 + dose / 10.0) for dose, grade, _ in looks) - u
        high = min(EDGES[grade + 1] - math.log(0.01 + dose / 10.0) for dose, grade, _ in looks) - u

        def read(v: float) -> float:
            return float(
                np.prod(
                    [
                        stats.norm.pdf(math.log(worn / (0.01 + dose / 10.0)) - u - v, 0.0, 0.15)
                        for dose, _, worn in looks
                        if worn is not None
                    ]
                )
                * stats.norm.pdf(v, 0.0, 0.2)
            )

        def over(a: float, b: float) -> float:
            a, b = max(a, -1.4), min(b, 1.4)
            return integrate.quad(read, a, b, limit=200)[0] if a < b else 0.0

        whole = over(-1.4, 1.4)
        return (1.0 - LAPSE) * over(low, high) + LAPSE / 5.0 ** len(looks) * whole

    def of_an_engine(u: float) -> float:
        return of_a_piece(u) ** pieces * float(stats.norm.pdf(u, 0.0, 0.3))

    return float(integrate.quad(of_an_engine, -1.2, 1.2, epsabs=1e-7, limit=60)[0])


@pytest.mark.parametrize(
    ("looks", "pieces"),
    [
        ([(5.0, 2, None)], 1),
        ([(5.0, 2, None)], 4),
        ([(5.0, 1, None), (9.0, 2, None)], 1),
        ([(5.0, 2, 0.6)], 1),
        ([(4.0, 1, 0.3), (8.0, 3, 1.1)], 2),
    ],
)
def test_the_likelihood_is_the_integral_over_both_effects(looks, pieces) -> None:
    seen = tuple(PieceLook({"x": dose}, grade, worn) for dose, grade, worn in looks)
    told = log_likelihood(DRAW, pieces_of([Piece("E1", seen)] * pieces, ["x"]))
    assert told[0] == pytest.approx(math.log(by_hand(*looks, pieces=pieces)), abs=0.02)


def test_a_piece_that_went_back_is_forecast_from_the_wear_it_had() -> None:
    """Worn at dose 5 is a wear of .5 to 1; at 9 it is 1.8 times that: truncated normal by hand."""
    certain = Gradual(("x",), np.repeat(DRAW, 9, axis=0), {"E1": np.zeros(9)}, np.zeros(9))
    doses = np.full((1, 9), 9.0)
    before = PieceLook({"x": 5.0}, 2)
    _, replace, _ = certain.reached(doses, engine_id="E1", pieces=1, looked=before)
    low, high = (edge - math.log(0.51) for edge in (-0.7, 0.0))
    limit = -math.log(0.91)
    seen = special.ndtr(high / 0.2) - special.ndtr(low / 0.2)
    now = special.ndtr(high / 0.2) - special.ndtr(limit / 0.2)
    lapse, anyway = LAPSE / 5.0, special.ndtr(-limit / 0.2)
    expected = ((1 - LAPSE) * now + lapse * anyway) / ((1 - LAPSE) * seen + lapse)
    assert replace[0] == pytest.approx(expected)
    unseen = certain.reached(doses, engine_id="E1", pieces=1, looked=None)
    assert unseen[1, 0] == pytest.approx(anyway)
    sound = certain.reached(doses, engine_id="E1", pieces=1, looked=PieceLook({"x": 5.0}, 0))
    assert sound[1, 0] < unseen[1, 0] < replace[0]


def test_draws_agree_with_an_independent_sampler() -> None:
    """A random walk (Metropolis) through the same posterior: mean and spread of ln life."""
    priors = priors_of(MODE, LifeSection(**dict.fromkeys(KINDS, 10.0)), strip_interval_h=None)
    prior = priors[0].gradual
    pieces = [
        Piece(f"E{n}", (PieceLook({"oil_starvation": dose}, grade),))
        for n, (dose, grade) in enumerate([(6.0, 0), (14.0, 2), (30.0, 3), (40.0, 4), (20.0, 2)])
    ]
    looks = [
        Observation(Load(piece.looks[0].doses), piece.looks[0].grade > 1, (piece.looks[0].grade,))
        for piece in pieces
    ]
    learned = learn(priors, looks, pieces, develops=0.999999)
    assert learned.gradual is not None
    ours = learned.gradual.draws[:, 7]
    rows = pieces_of(pieces, prior.causes)
    rng = np.random.default_rng(0)
    at = rng.standard_normal((400, len(prior.mean)))  # as many walkers side by side

    def density(points: np.ndarray) -> np.ndarray:
        told = log_likelihood(prior.mean + prior.spread * points, rows)
        return told - 0.5 * (points**2).sum(axis=1)

    here, walked = density(at), []
    for step in range(600):
        there = at + 0.5 * rng.standard_normal(at.shape)
        new = density(there)
        moved = np.log(rng.random(len(at))) < new - here
        at[moved], here[moved] = there[moved], new[moved]
        if step >= 300 and step % 20 == 0:
            walked.append((prior.mean + prior.spread * at)[:, 7])
    theirs = np.concatenate(walked)
    assert ours.mean() == pytest.approx(theirs.mean(), abs=0.1)
    assert ours.std() == pytest.approx(theirs.std(), rel=0.2)


def test_evidence_tells_wear_from_sudden_damage() -> None:
    rng = np.random.default_rng(3)
    priors = priors_of(MODE, LifeSection(**dict.fromkeys(KINDS, 10.0)), strip_interval_h=None)
    doses = rng.lognormal(math.log(12.0), 0.7, 20)
    wears = np.searchsorted(EDGES[1:-1], np.log(doses / 15.0) + rng.normal(0.0, 0.2, 20))
    hit = np.where(rng.random(20) < -np.expm1(-((doses / 20.0) ** 2)), rng.integers(2, 5, 20), 0)
    for grades, gradual in ((wears, True), (hit, False)):
        seen = list(zip(doses.tolist(), grades.tolist(), strict=True))
        looks = [Observation(Load({"oil_starvation": x}), g > 1, (g,)) for x, g in seen]
        pieces = [
            Piece(f"E{n}", (PieceLook({"oil_starvation": x}, g),)) for n, (x, g) in enumerate(seen)
        ]
        learned = learn(priors, looks, pieces, develops=0.5)
        assert (learned.develops > 0.9) if gradual else (learned.develops < 0.1)


def test_what_an_engine_showed_speaks_for_its_next_build() -> None:
    priors = priors_of(MODE, LifeSection(**dict.fromkeys(KINDS, 10.0)), strip_interval_h=None)
    doses = {"oil_starvation": 15.0}
    pieces = [Piece(name, (PieceLook(doses, grade),)) for name, grade in (("E1", 3), ("E2", 0)) * 3]
    looks = [Observation(Load(doses), p.looks[0].grade > 1, (p.looks[0].grade,)) for p in pieces]
    learned = learn(priors, looks, pieces, develops=0.99)
    hard, unknown, soft = (
        chance(learned, Load(doses, engine_id=name)).replace.p for name in ("E1", "E3", "E2")
    )
    assert soft < unknown < hard


def test_lives_are_believed_as_they_are_stated() -> None:
    prior = gradual_prior({"x": 40.0}, {"x": 0.5})
    assert (prior.causes, prior.spread[-1]) == (("x",), 0.5)
    assert prior.mean[-1] == pytest.approx(math.log(40.0))
