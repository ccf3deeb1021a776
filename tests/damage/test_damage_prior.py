from __future__ import annotations

import math

import numpy as np
import pytest

from babbitt.damage.chance import forecasts
from babbitt.damage.fleet import learn_modes
from babbitt.damage.life import DOUBT, UNLOGGED_WEIGHT, middle_of
from babbitt.damage.model import Load
from babbitt.damage.prior import priors_of, running_prior
from babbitt.errors import SettingsError
from babbitt.model.damage_modes import mode_named, parts
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS

LIFE = LifeSection(over_rev=900.0, overboost=300.0, coolant_overheat=5000.0)


def median(prior, cause) -> float:
    return math.exp(prior.mean[1 + prior.causes.index(cause)])


def test_lives_are_as_far_from_the_stated_ones_as_the_engine_needs() -> None:
    (prior,) = priors_of(mode_named("exhaust_valve", "bent"), LIFE, strip_interval_h=None)
    assert prior.causes == ("over_rev.driven", "over_rev.on_power", "overboost")
    middle = middle_of("over_rev.driven", 3.0)
    assert median(prior, "over_rev.driven") == pytest.approx(900.0 * math.exp(middle.log_ratio))
    assert prior.spread[1] == middle.spread
    assert prior.gradual.mean[-3] == prior.mean[1]


def test_a_contributing_cause_needs_ten_times_its_life_dose() -> None:
    (prior,) = priors_of(mode_named("exhaust_valve", "bent"), LIFE, strip_interval_h=None)
    on_power = 9000.0 * math.exp(middle_of("over_rev.on_power", 3.0).log_ratio)
    assert median(prior, "over_rev.on_power") == pytest.approx(on_power)


@pytest.mark.parametrize("ratio", [3.0, 5.0])
@pytest.mark.parametrize(
    "kind", ["oil_starvation", "cold_load", "coolant_overheat", "low_oil_pressure"]
)
def test_with_no_teardown_an_engine_keeps_the_two_doses_of_its_spec(kind, ratio) -> None:
    """Any part of those that a kind damages, through the draws: 10 % at the one dose, 50 % at the
    other. 512 draws of each mode leave some points of chance."""
    others = {other: 1e9 for other in KINDS if other != kind}
    life = LifeSection(**others, **{kind: {"one_in_ten": 40.0, "half": 40.0 * ratio}})
    learned = learn_modes(life, {}, {}, usual_h=dict.fromkeys(parts(), 10.0))
    for dose, expected in ((40.0, 0.1), (40.0 * ratio, 0.5)):
        asked = [
            (posterior, Load({kind: dose}, pieces=4 if part.position == "cylinder" else 1))
            for part in parts().values()
            for mode, posterior in learned.items()
            if mode.part == part.name and kind in mode.causes
        ]
        _, of_any = forecasts(asked, {})
        assert of_any.now.replace.p == pytest.approx(expected, abs=0.06)


def test_an_engine_is_believed_to_last_twice_its_strip_interval_where_time_alone_wears() -> None:
    learned = learn_modes(
        LifeSection(**dict.fromkeys(KINDS, 1e9)), {}, {}, usual_h=dict.fromkeys(parts(), 10.0)
    )
    asked = [
        (posterior, Load({mode.clock: 20.0}, pieces=4 if part.position == "cylinder" else 1))
        for part in parts().values()
        for mode, posterior in learned.items()
        if mode.part == part.name
    ]
    _, of_any = forecasts(asked, {})
    assert 0.08 < of_any.now.replace.p < 0.3


def test_running_time_alone_is_believed_with_doubt() -> None:
    mode = mode_named("head_gasket", "leaking")
    by_doses, by_running = priors_of(mode, LIFE, strip_interval_h=12.0)
    expected = 24.0 * math.exp(middle_of("running", 3.0).log_ratio)
    assert median(by_running, "running") == pytest.approx(expected)
    assert (by_doses.belief, by_running.belief) == (1.0 - DOUBT, DOUBT)


def test_a_mode_without_logged_causes_has_the_unlogged_one() -> None:
    mode = mode_named("valve_retainer", "face_rubbed")
    (prior,) = priors_of(mode, LifeSection(), strip_interval_h=None)
    assert prior.causes == ()
    assert np.exp(prior.mean) == pytest.approx([UNLOGGED_WEIGHT])


def test_a_missing_life_is_named() -> None:
    with pytest.raises(SettingsError) as refused:
        priors_of(mode_named("rod_bearing", "wiped"), LIFE, strip_interval_h=None)
    assert str(refused.value) == (
        "[life] of the engine spec has no oil_starvation, low_oil_pressure, oil_overheat, "
        "dry_start, cold_load, which rod_bearing wiped needs: state the dose at which one engine "
        "in ten needs a part replaced."
    )


def test_what_fatigues_ages_by_its_turns() -> None:
    mode = mode_named("rod_bolt", "stretched")
    _, by_turns = priors_of(mode, LIFE, strip_interval_h=12.0)
    assert by_turns.causes == ("fatigue.rod",)
    expected = 24.0 * math.exp(middle_of("fatigue.rod", 3.0).log_ratio)
    assert median(by_turns, "fatigue.rod") == pytest.approx(expected)


def test_running_prior_stands_alone_by_default() -> None:
    assert running_prior(8.0).belief == 1.0
