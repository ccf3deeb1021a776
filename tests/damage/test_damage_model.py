"""The likelihood of the damage model, against plain arithmetic one look at a time."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from babbitt.damage.model import (
    Load,
    Observation,
    curves_of,
    hazards,
    log_likelihood,
    log_likelihood_and_slope,
    records_of,
)

CAUSES = ("hot", "dry")
dose = st.one_of(st.just(0.0), st.floats(1e-3, 20.0))


@st.composite
def looks(draw: st.DrawFn, *, unwatched: bool) -> Observation:
    before = {cause: draw(dose) for cause in CAUSES if draw(st.booleans())}
    now = {cause: before.get(cause, 0.0) + draw(dose) for cause in CAUSES}
    unseen = {cause: draw(st.floats(0.05, 5.0)) for cause in CAUSES if unwatched}
    return Observation(Load(now, unwatched=unseen, sound_at=before), damaged=draw(st.booleans()))


parameters = st.tuples(
    st.floats(-6.0, 0.0),
    *(st.floats(-1.0, 2.0) for _ in CAUSES),
    *(st.floats(0.0, 1.2) for _ in CAUSES),
).map(np.array)


def sound_chance(look: Observation, draw: np.ndarray) -> float:
    """Chance of being sound, by the formula, with unseen doses integrated numerically."""
    chance = math.exp(-math.exp(draw[0]))
    for j, cause in enumerate(CAUSES):
        eta, beta = math.exp(draw[1 + j]), math.exp(draw[3 + j])
        now = look.load.doses[cause]
        unseen = look.load.unwatched.get(cause, 0.0)
        earlier = (look.load.sound_at.get(cause, 0.0) / eta) ** beta

        def survival(e, now=now, unseen=unseen, eta=eta, beta=beta, earlier=earlier) -> float:
            return math.exp(earlier - ((now + unseen * e) / eta) ** beta)

        if unseen:
            points = [e for e in ((eta - now) / unseen, 1.0) if 0.0 < e < 40.0]
            chance *= integrate.quad(
                lambda e, f=survival: f(e) * math.exp(-e), 0.0, 40.0, points=points, limit=200
            )[0]
        else:
            chance *= survival(0.0)
    return chance


@given(st.lists(looks(unwatched=False), min_size=1, max_size=6), parameters)
@settings(max_examples=60, deadline=None)
def test_likelihood_is_the_product_over_the_looks(observations, draw) -> None:
    sound = [sound_chance(look, draw) for look in observations]
    chances = [1.0 - s if look.damaged else s for s, look in zip(sound, observations, strict=True)]
    value = log_likelihood(draw[None, :], records_of(observations, CAUSES))[0]
    if min(chances) > 1e-9:
        assert value == pytest.approx(sum(math.log(c) for c in chances), rel=1e-6, abs=1e-6)
    else:
        assert value < math.log(1e-6)


@given(looks(unwatched=True), parameters)
@settings(max_examples=40, deadline=None)
def test_unseen_doses_are_averaged_over(look, draw) -> None:
    sound = Observation(look.load, damaged=False)
    value = log_likelihood(draw[None, :], records_of([sound], CAUSES))[0]
    expected = sound_chance(sound, draw)
    assert math.exp(value) == pytest.approx(expected, abs=0.02, rel=0.05)


@given(
    st.lists(st.booleans().flatmap(lambda u: looks(unwatched=u)), min_size=1, max_size=5),
    parameters,
)
@settings(max_examples=40, deadline=None)
def test_slope_is_that_of_the_likelihood(observations, draw) -> None:
    records = records_of(observations, CAUSES)
    value, slope = log_likelihood_and_slope(draw[None, :], records)
    assert value == pytest.approx(log_likelihood(draw[None, :], records), rel=1e-9, abs=1e-9)
    steps = 1e-5 * np.eye(len(draw))
    up, down = log_likelihood(draw + steps, records), log_likelihood(draw - steps, records)
    assert slope[0] == pytest.approx((up - down) / 2e-5, rel=1e-3, abs=1e-3)


def test_equal_looks_are_one_row_that_counts_twice() -> None:
    look = Observation(Load({"hot": 2.0, "dry": 1.0}), damaged=True)
    records = records_of([look, look], CAUSES)
    draw = np.zeros((1, 5))
    assert records.count.tolist() == [2.0]
    once = log_likelihood(draw, records_of([look], CAUSES))
    assert log_likelihood(draw, records) == pytest.approx(2.0 * once)


def test_many_draws_give_what_each_gives_alone() -> None:
    rng = np.random.default_rng(1)
    draws = rng.normal(0.0, 0.5, (200, 5))
    records = records_of([Observation(Load({"hot": 2.0}), damaged=True)], CAUSES)
    each = [log_likelihood(draw[None, :], records)[0] for draw in draws]
    assert log_likelihood(draws, records) == pytest.approx(each)


def test_looks_of_one_part_multiply_to_its_interval() -> None:
    """Sound at 2, damaged at 5: S(2) - S(5), where no assembly brings a risk of its own."""
    draw = np.array([[-60.0, math.log(4.0), math.log(1.5)]])
    looks = [
        Observation(Load({"hot": 2.0}), damaged=False),
        Observation(Load({"hot": 5.0}, sound_at={"hot": 2.0}), damaged=True),
    ]
    sound_2, sound_5 = math.exp(-((2 / 4) ** 1.5)), math.exp(-((5 / 4) ** 1.5))
    value = log_likelihood(draw, records_of(looks, ["hot"]))[0]
    assert value == pytest.approx(math.log(sound_2 - sound_5))


def test_damage_without_any_dose_is_unlikely_but_not_impossible() -> None:
    records = records_of([Observation(Load({}), damaged=True)], CAUSES)
    value = log_likelihood(np.array([[math.log(0.03), 0.0, 0.0, 0.7, 0.7]]), records)[0]
    assert value == pytest.approx(math.log(-math.expm1(-0.03)))


def test_absurd_parameters_and_doses_stay_finite() -> None:
    records = records_of(
        [
            Observation(Load({"hot": 1e12}), damaged=False),
            Observation(Load({"hot": 1e-12}), damaged=True),
        ],
        ["hot"],
    )
    draws = np.array([[-1e4, 0.0, 900.0], [900.0, -500.0, 3.0], [-1e4, 500.0, 50.0]])
    value, slope = log_likelihood_and_slope(draws, records)
    assert np.isfinite(value).all()
    assert np.isfinite(slope).all()


def test_each_cause_adds_its_part_to_the_hazard() -> None:
    draw = np.log([[0.03, 4.0, 8.0, 2.0, 1.5]])
    added = hazards(curves_of(draw), np.array([[1.0], [2.0], [4.0]]))
    assert added[:, 0] == pytest.approx([0.03, 0.5**2, 0.5**1.5])


@pytest.mark.parametrize(
    "arguments",
    [
        {"doses": {"hot": -1.0}},
        {"doses": {"hot": math.nan}},
        {"doses": {}, "unwatched": {"hot": math.inf}},
        {"doses": {"hot": 1.0}, "sound_at": {"hot": 2.0}},
        {"doses": {}, "sound_at": {"hot": 2.0}},
    ],
)
def test_what_is_no_dose_is_refused(arguments) -> None:
    with pytest.raises(ValueError, match="hot"):
        Load(**arguments)
