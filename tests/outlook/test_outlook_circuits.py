"""The next runs at a circuit: drawn from runs there, of the engine or else of its type."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_outlook import state

from babbitt.damage.ledger import column_of
from babbitt.errors import RegisterError
from babbitt.outlook.ahead import LEAST_RUNS, LEAST_THERE, pool_of
from babbitt.outlook.circuits import circuits_of, headed_for
from babbitt.outlook.outlook import Outlook, look_ahead
from babbitt.present.outlook_words import (
    drawn_in_words,
    gap_in_words,
    outlook_json,
    reach_in_words,
    reasons,
    would_change,
)
from made_lives import MAY, READER, WIPED, a_ledger, day, known

STARVED = column_of("oil_starvation")
WHERE = ("Tollbar", "Fennick", "Rookmere", None)


def a_season(doses: dict[str | None, float], engine_id: str = "E1", *, rounds: int = 4):
    """A ledger of runs that go round circuits, each with the dose of its circuit."""
    places = [*doses] * rounds
    rows = ({"running": 1.0, "oil_starvation": doses[place]} for place in places)
    return a_ledger(*rows, engine_id=engine_id, circuits=places)


OWN = a_season({"Tollbar": 20.0, "Fennick": 0.0, None: 5.0})
MATE = a_season({"Tollbar": 30.0, "Rookmere": 7.0}, "E2", rounds=2)
FLEET = {"E1": OWN, "E2": MATE}
STATE = replace(state(dose=40.0), at=day(30), pool=pool_of(OWN, MAY, None, FLEET.values()))


def gaps(outlook: Outlook) -> list[str]:
    return [gap_in_words(gap, READER) for gap in outlook.gaps]


def at(circuit: str | None, *, runs: int = 3, fleet=FLEET, since=MAY) -> Outlook:
    there = replace(STATE, since=since)
    there = there if circuit is None else headed_for(there, fleet, circuit)
    posteriors = {WIPED: known(oil_starvation=(200.0, 2.0))}
    return look_ahead(there, posteriors, runs=runs, service={})


def test_a_circuit_that_starves_the_engine_makes_damage_likelier_than_one_that_does_not() -> None:
    hard, easy, anywhere = at("Tollbar"), at("Fennick"), at(None)
    p_hard, p_easy, p_any = (found.modes[0].next.replace.p for found in (hard, easy, anywhere))
    assert p_hard > p_any > p_easy
    # (40 + 3 * 20) / 200 and 40 / 200, by the damage model's own sum, and 3 % unlogged
    assert p_hard == pytest.approx(1.0 - np.exp(-(0.03 + 0.5**2)), abs=1e-6)
    assert p_easy == pytest.approx(1.0 - np.exp(-(0.03 + 0.2**2)), abs=1e-6)
    assert hard.modes[0].now == easy.modes[0].now
    assert hard.verdict.call == "pull"
    assert easy.verdict.call == "run on"


def test_only_runs_there_are_drawn_and_however_it_is_written() -> None:
    pool = at(" tollbar ").pool
    assert (pool.circuit, pool.source, pool.made_by) == ("Tollbar", "build", {"E1": 4})
    assert pool.doses[:, STARVED].tolist() == [20.0] * 4


def test_too_few_since_the_refresh_are_joined_by_earlier_ones_and_then_by_others_of_the_type() -> (
    None
):
    assert LEAST_THERE < LEAST_RUNS
    of_build = at("Tollbar", since=day(3))  # three of four
    assert (of_build.pool.source, of_build.pool.runs) == ("build", LEAST_THERE)
    of_engine = at("Tollbar", since=day(4))
    assert (of_engine.pool.source, of_engine.pool.runs) == ("engine", 4)
    few = {"E1": a_season({"Tollbar": 20.0, "Fennick": 0.0}, rounds=2), "E2": MATE}
    of_type = at("Tollbar", fleet=few)
    assert (of_type.pool.source, of_type.pool.made_by) == ("fleet", {"E1": 2, "E2": 2})
    assert sorted(of_type.pool.doses[:, STARVED]) == [20.0, 20.0, 30.0, 30.0]
    never = at("Rookmere")
    assert (never.pool.source, never.pool.made_by) == ("fleet", {"E2": 2})


def test_a_circuit_where_none_of_the_type_was_is_refused_with_those_that_are_known() -> None:
    with pytest.raises(RegisterError) as refused:
        at("Nowhere")
    assert str(refused.value) == (
        "No run of E1, or of another engine of its type, was logged at Nowhere. Known circuits: "
        "Fennick, Rookmere, Tollbar."
    )


def test_unlogged_running_and_what_came_later_are_no_examples() -> None:
    assert circuits_of(STATE, FLEET) == {"Fennick": 4, "Rookmere": 0, "Tollbar": 4}
    early = replace(STATE, at=day(1))
    assert circuits_of(early, FLEET) == {"Tollbar": 1}
    unlogged = replace(OWN, logged=np.array([place != "Fennick" for place in OWN.circuits]))
    assert "Fennick" not in circuits_of(STATE, {"E1": unlogged, "E2": MATE})


def test_the_words_say_where_from_how_many_runs_and_of_whom() -> None:
    hard = at("Tollbar")
    assert "after 3 more runs at Tollbar (90 % interval" in reasons(hard, READER, {})[0]
    assert drawn_in_words(hard) == "Drawn from 4 runs of E1 at Tollbar in its present build."
    assert "reached after 3 more runs at Tollbar" in reach_in_words(hard)
    easy = at("Fennick")
    assert reach_in_words(easy).endswith("not reached within 40 runs at Fennick.")
    assert would_change(easy) == ["The accepted 10 % is not passed within 40 runs like these."]
    engine = at("Tollbar", since=day(11))
    assert drawn_in_words(engine) == "Drawn from 4 runs of E1 at Tollbar in all its builds."
    assert (
        "Fewer than 3 runs at Tollbar since the refresh: the next ones are expected to be like "
        "all 4 of this engine there."
    ) in gaps(engine)
    fleet = at("Rookmere")
    assert drawn_in_words(fleet) == (
        "Drawn from 2 runs at Rookmere by engines of its type: 2 by E2."
    )
    assert any("all 2 of its type there." in each for each in gaps(fleet))
    assert drawn_in_words(at(None)) == ""
    assert not any(" at " in each for each in gaps(at(None)))


def test_many_engines_that_were_there_are_counted() -> None:
    mates = {f"E{n}": a_season({"Rookmere": 1.0}, f"E{n}", rounds=1 + n // 8) for n in range(2, 9)}
    found = at("Rookmere", fleet={"E1": OWN, **mates})
    assert drawn_in_words(found) == (
        "Drawn from 8 runs at Rookmere by engines of its type: 7 engines, of which E8 made most."
    )


def test_json_names_the_circuit_and_what_the_runs_are_drawn_from() -> None:
    told = outlook_json(at("tollbar"), READER, {})
    assert told["circuit"] == "Tollbar"
    assert told["drawn_from"] == {"source": "build", "runs": {"E1": 4}}
    assert outlook_json(at(None), READER, {})["circuit"] is None
