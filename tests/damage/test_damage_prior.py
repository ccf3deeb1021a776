from __future__ import annotations

import math

import numpy as np
import pytest

from babbitt.damage.prior import DOUBT, priors_of, running_prior
from babbitt.errors import SettingsError
from babbitt.model.damage_modes import mode_named
from babbitt.model.engine_spec import LifeSection

LIFE = LifeSection(over_rev=900.0, overboost=300.0, coolant_overheat=5000.0)


def b10(prior, cause) -> float:
    """Dose at which the median parameters have damaged one in ten by that cause alone."""
    k, j = len(prior.causes), prior.causes.index(cause)
    eta, beta = math.exp(prior.mean[1 + j]), math.exp(prior.mean[1 + k + j])
    return eta * (-math.log(0.9)) ** (1.0 / beta)


def test_one_in_ten_is_damaged_at_the_life_dose() -> None:
    (prior,) = priors_of(mode_named("exhaust_valve", "bent"), LIFE, strip_interval_h=None)
    assert prior.causes == ("over_rev.driven", "over_rev.on_power", "overboost")
    assert b10(prior, "over_rev.driven") == pytest.approx(900.0)


def test_a_contributing_cause_needs_ten_times_its_life_dose() -> None:
    (prior,) = priors_of(mode_named("exhaust_valve", "bent"), LIFE, strip_interval_h=None)
    assert b10(prior, "over_rev.on_power") == pytest.approx(9000.0)
    assert b10(prior, "overboost") == pytest.approx(3000.0)


def test_running_time_alone_is_believed_with_doubt() -> None:
    mode = mode_named("head_gasket", "leaking")
    by_doses, by_running = priors_of(mode, LIFE, strip_interval_h=12.0)
    assert b10(by_running, "running") == pytest.approx(12.0)
    assert (by_doses.belief, by_running.belief) == (1.0 - DOUBT, DOUBT)


def test_a_mode_without_logged_causes_has_the_unlogged_one() -> None:
    mode = mode_named("valve_retainer", "face_rubbed")
    (prior,) = priors_of(mode, LifeSection(), strip_interval_h=None)
    assert prior.causes == ()
    assert np.exp(prior.mean) == pytest.approx([0.03])


def test_a_missing_life_is_named() -> None:
    with pytest.raises(SettingsError) as refused:
        priors_of(mode_named("rod_bearing", "wiped"), LIFE, strip_interval_h=None)
    assert str(refused.value) == (
        "[life] of the engine spec has no oil_starvation, low_oil_pressure, oil_overheat, "
        "dry_start, cold_load, which rod_bearing wiped needs: state the dose at which one engine "
        "in ten shows damage."
    )


def test_what_fatigues_ages_by_its_turns() -> None:
    mode = mode_named("rod_bolt", "stretched")
    _, by_turns = priors_of(mode, LIFE, strip_interval_h=12.0)
    assert by_turns.causes == ("fatigue.rod",)
    assert b10(by_turns, "fatigue.rod") == pytest.approx(12.0)


def test_running_prior_stands_alone_by_default() -> None:
    assert running_prior(8.0).belief == 1.0
