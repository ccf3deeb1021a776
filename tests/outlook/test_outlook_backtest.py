"""The back-test: forecasts use what was known before, and beat hours where doses do the damage."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest

from babbitt.damage.fleet import BuildSpan, Fleet
from babbitt.damage.ledger import Ledger
from babbitt.damage.looks import Seen, SeenPiece
from babbitt.model.damage_modes import causes
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS
from babbitt.outlook.backtest import BackTest, back_test
from made_lives import WIPED, day, taken

LIFE = LifeSection(**dict.fromkeys(KINDS, 100.0))
BUILDS = 30


def ledger_of(hours: list[float], doses: list[float]) -> Ledger:
    rows = [taken(running=h, oil_starvation=d) for h, d in zip(hours, doses, strict=True)]
    return Ledger(
        engine_id="E1",
        run_ids=tuple(str(n) for n in range(len(rows))),
        started_s=np.array([day(2 * n).timestamp() for n in range(len(rows))]),
        logged=np.ones(len(rows), dtype=np.bool_),
        doses=np.array([row.doses for row in rows]),
        unwatched_h=np.zeros((len(rows), len(causes()))),
        revolutions=np.full(len(rows), np.nan),
        circuits=(None,) * len(rows),
    )


def fleet(*, outcomes: str = "doses", builds: int = BUILDS, seed: int = 1) -> Fleet:
    """An engine stripped every other day; its rod bearings are wiped by doses, or at random."""
    rng = np.random.default_rng(seed)
    hours = rng.uniform(4.0, 6.0, builds).tolist()
    doses = rng.lognormal(np.log(150.0), 1.2, builds).tolist()
    eta = 250.0
    chances = 1.0 - np.exp(-((np.array(doses) / eta) ** 2) - 0.03)
    damaged = rng.random(builds) < (chances if outcomes == "doses" else chances.mean())
    seen = tuple(
        Seen(
            "E1",
            day(2 * n + 1),
            WIPED,
            (None,),
            taken(running=hours[n], oil_starvation=doses[n]),
            None,
            (SeenPiece((n,), 3 if damaged[n] else 0),),
            ("E1", day(2 * n)),
            fitted_again=False,
        )
        for n in range(builds)
    )
    spans = tuple(BuildSpan("E1", day(2 * n), day(2 * n + 1)) for n in range(builds))
    return Fleet({"E1": ledger_of(hours, doses)}, seen, spans, {"E1": LIFE})


@cache
def back_tested(outcomes: str) -> BackTest:
    return back_test([fleet(outcomes=outcomes)])


def test_every_look_is_forecast_from_earlier_looks_only() -> None:
    found = back_test([fleet(builds=6)])
    assert [each.looks for each in found.forecasts] == list(range(6))
    assert [each.at for each in found.forecasts] == sorted(each.at for each in found.forecasts)


def test_what_comes_later_does_not_change_a_forecast() -> None:
    whole = fleet(builds=8)
    then = Fleet(whole.ledgers, whole.seen[:5], whole.builds[:5], whole.lives)
    assert back_test([whole]).forecasts[:5] == back_test([then]).forecasts


def test_where_doses_do_the_damage_the_model_beats_counting_hours() -> None:
    found = back_tested("doses")
    assert found.score is not None
    assert found.by_hours is not None
    assert found.score.brier < 0.8 * found.by_hours.brier
    assert found.score.skill > 0.2


def test_where_they_do_not_it_claims_no_skill_that_it_has_not() -> None:
    found = back_tested("chance")
    assert found.score is not None
    assert found.score.skill < 0.2


def test_the_calibration_table_counts_every_forecast() -> None:
    found = back_tested("doses")
    assert found.calibration["count"].sum() == len(found.forecasts) == BUILDS


def test_a_mode_without_a_life_dose_is_left_out() -> None:
    made = fleet(builds=3)
    lives = {"E1": LifeSection(over_rev=100.0)}
    found = back_test([Fleet(made.ledgers, made.seen, made.builds, lives)])
    assert found.forecasts == ()
    assert found.score is None
    assert found.to_json()["brier"] is None


def test_it_can_be_written_as_json() -> None:
    found = json.loads(json.dumps(back_test([fleet(builds=4)]).to_json(), allow_nan=False))
    assert len(found["forecasts"]) == 4
    assert found["forecasts"][0]["part"] == "rod_bearing"
    assert found["calibration"][0]["low"] == 0.0
    assert found["brier"] == pytest.approx(
        np.mean([(f["p"] - f["damaged"]) ** 2 for f in found["forecasts"]])
    )


def test_progress_is_told_the_number_of_teardowns() -> None:
    told = []

    def track(items, total):
        told.append(total)
        return items

    back_test([fleet(builds=5)], track=track)
    assert told == [5]
