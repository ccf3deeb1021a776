"""The outlook of an engine, whole and in words."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from babbitt.damage.looks import LastLook
from babbitt.model.engine_spec import parse_spec
from babbitt.model.kinds import KINDS
from babbitt.model.service_limits import ServiceLimit
from babbitt.outlook.ahead import MOST_RUNS, pool_of
from babbitt.outlook.drift import Drift
from babbitt.outlook.gaps import Coverage
from babbitt.outlook.outlook import EngineState, look_ahead
from babbitt.present.outlook_words import outlook_json, reach_in_words, reasons, would_change
from babbitt.present.words import CAUTION
from invented import SPEC
from made_lives import (
    MAY,
    NO_RATES,
    READER,
    WIPED,
    a_ledger,
    an_event,
    day,
    known,
    like_parts,
    taken,
)

LIFE = parse_spec(SPEC + "[life]\noil_starvation = 100.0\n", source="test")
COSTS = parse_spec(
    SPEC + "[life]\noil_starvation = 100.0\n[decision]\ncost_refresh = 900\ncost_failure = 2000\n",
    source="test",
)
RUNS = a_ledger(*({"running": 1.0, "oil_starvation": 5.0} for _ in range(8)))
POSTERIORS = {WIPED: known(oil_starvation=(200.0, 2.0))}


def state(dose: float = 20.0, **changes) -> EngineState:
    events = [an_event(dose=dose)]
    fields = {
        "engine_id": "E1",
        "at": day(9),
        "since": MAY,
        "spec": LIFE,
        "fitted": (like_parts(now=taken(oil_starvation=dose, running=8.0), events=events),),
        "pool": pool_of(RUNS, MAY, None, [RUNS]),
        "loads": NO_RATES,
        "coverage": Coverage(8, 0.0, dict.fromkeys(KINDS, 1.0), 0, 0, day(8), {}),
        "drift": None,
        "teardowns": 4,
        "usual_h": {"rod_bearing": 10.0},
    } | changes
    return EngineState(**fields)


def look(runs: int = 1, service=None, **changes):
    return look_ahead(state(**changes), POSTERIORS, runs=runs, service=service or {})


def test_chances_grow_with_the_runs_ahead() -> None:
    (after_1,), (after_9,) = look().modes, look(runs=9).modes
    assert after_1.now == after_9.now
    assert after_1.now.replace.p < after_1.next.replace.p < after_9.next.replace.p


def test_a_fresh_engine_runs_on_and_it_is_told_for_how_long() -> None:
    found = look()
    assert found.verdict.call == "run on"
    assert reasons(found, READER, {}) == [
        (
            "4 % likely to have a part to replace after the next run (90 % interval 4 % to 4 %); "
            "10 % is accepted."
        ),
        "Likeliest: rod bearing wiped, 4 %.",
    ]
    # 1 - exp(-.03 - (x/200)^2) passes 0.1 at x = 54.9: after seven more runs of 5
    assert would_change(found) == ["The accepted 10 % is passed after 7 more runs like these."]


def test_a_worn_engine_is_pulled_for_a_reason_that_names_the_events() -> None:
    found = look(dose=120.0)
    assert found.verdict.call == "pull"
    first, likeliest, second = reasons(found, READER, {"e1": 7450.0})
    assert first.startswith("34 % likely to have a part to replace after the next run")
    assert likeliest == "Likeliest: rod bearing wiped, 34 %."
    assert "above the accepted 10 %" in first
    assert second.startswith(
        "What the log holds most against it: starved of oil in long left-handers, 1 "
        "event, worst 120 kPa at 7,450 rpm on 3 May 2026"
    )
    # found sound at 120: .03 + (125/200)^2 - (120/200)^2 = 0.061
    assert would_change(found) == [
        (
            "A look at the rod bearing: found sound now, it would be 6 % likely to need replacing "
            "after the next run."
        )
    ]


def test_costs_are_named_where_they_decide() -> None:
    found = look(dose=120.0, spec=COSTS)
    assert found.verdict.call == "run on"
    assert "Running on is expected to cost 687, a refresh 900." in reasons(found, READER, {})


def test_fallen_pressure_and_a_passed_limit_are_reasons_too() -> None:
    drift = Drift(6000.0, 110.0, -0.08, -0.1, -0.06, hours=9.0, runs=6)
    limits = {"rod_bearing": ServiceLimit(running_h=4.0)}
    found = look(drift=drift, service=limits)
    assert found.verdict.call == "inspect"
    assert reasons(found, READER, {}) == [
        (
            "Oil pressure is 8 % lower at 6,000 rpm and 110 °C than when fresh, 90 % interval "
            "6-10 % (6 runs)."
        ),
        "Rod bearing has used 200 % of its service limit of running hours.",
    ]
    assert found.first is not None
    assert found.first.runs == 0


def test_stale_data_never_pass_in_silence() -> None:
    coverage = replace(state().coverage, stale=2)
    found = look(coverage=coverage)
    assert found.verdict.call == "inspect"
    assert any("under other limits" in reason for reason in reasons(found, READER, {}))


def test_an_engine_of_which_nothing_can_be_judged_says_so() -> None:
    found = look_ahead(state(), {}, runs=1, service={})
    assert found.verdict.call == "inspect"
    assert reasons(found, READER, {}) == ["No damage mode could be judged."]
    assert would_change(found) == ["Life doses in the spec's [life]."]


def test_the_first_limit_is_told_with_its_runs() -> None:
    assert reach_in_words(look(dose=80.0)) == (
        "First limit: rod bearing, life dose of oil starvation: 80 % used, reached after 4 more "
        "runs (90 % interval 4 to 4)."
    )
    still = look(dose=20.0, pool=pool_of(a_ledger({"running": 1.0}), MAY, None, [a_ledger({})]))
    assert reach_in_words(still) == (
        "First limit: rod bearing, life dose of oil starvation: 20 % used, not reached within "
        f"{MOST_RUNS} runs."
    )
    assert reach_in_words(replace(still, first=None)) == "No limit is stated."


def test_json_is_as_the_contract_says_and_carries_the_caution() -> None:
    found = json.loads(json.dumps(outlook_json(look(dose=120.0), READER, {}), allow_nan=False))
    assert found["engine_id"] == "E1"
    assert found["call"] == "pull"
    assert len(found["reasons"]) == 3
    (mode,) = found["modes"]
    assert (mode["part"], mode["damage_mode"]) == ("rod_bearing", "wiped")
    assert set(mode["now"]) == set(mode["next"]) == {"worn", "replace", "failed"}
    assert (
        set(mode["now"]["failed"]) == set(found["engine"]["next"]["worn"]) == {"p", "low", "high"}
    )
    assert mode["develops"] == 0.0
    assert found["caution"] == CAUTION


def test_the_same_engine_gets_the_same_outlook() -> None:
    first, second = (outlook_json(look(dose=50.0, runs=5), READER, {}) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("runs", [1, MOST_RUNS])
def test_a_part_that_went_back_worn_stays_in_the_forecast(runs) -> None:
    then = LastLook(day(1), taken(oil_starvation=40.0), 2)
    worn = like_parts(now=taken(oil_starvation=50.0), looked={"wiped": then})
    (mode,) = look(runs=runs, fitted=(worn,)).modes
    assert mode.now.worn.p == 1.0
    assert 0.0 < mode.now.replace.p < 1.0


def test_without_life_doses_nothing_is_judged_and_the_call_is_to_look() -> None:
    bare = parse_spec(SPEC, source="test")
    found = look_ahead(state(dose=120.0, spec=bare), {}, runs=1, service={})
    assert (found.verdict.call, found.decisive, found.modes) == ("inspect", None, ())
    assert reasons(found, READER, {}) == ["No damage mode could be judged."]
    assert would_change(found) == ["Life doses in the spec's [life]."]


def test_a_mode_without_a_life_dose_for_its_causes_names_none_to_blame() -> None:
    bare = parse_spec(SPEC, source="test")
    found = look_ahead(state(dose=120.0, spec=bare), {WIPED: known()}, runs=1, service={})
    assert [each.mode for each in found.modes] == [WIPED]
    assert found.decisive is None
    assert would_change(found) == ["Life doses in the spec's [life]."]
