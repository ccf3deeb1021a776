"""Where the next runs of an engine may be: circuits at which engines of its type were logged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from babbitt.damage.ledger import Ledger
from babbitt.errors import RegisterError, Remedy
from babbitt.model.circuit import known_in_words, one_spelling, same_circuit
from babbitt.outlook.ahead import pool_of
from babbitt.outlook.outlook import EngineState


def headed_for(state: EngineState, ledgers: Mapping[str, Ledger], circuit: str) -> EngineState:
    """Return what is known of an engine whose next runs will be at one circuit.

    Args:
        state: wherever they will be.
        ledgers: of all engines of its type, its own among them.
        circuit: however it is written.

    Raises:
        RegisterError: no engine of its type was logged there; names the circuits that are known.
    """
    there = circuits_of(state, ledgers)
    name = next((each for each in there if same_circuit(each, circuit)), None)
    if name is None:
        raise RegisterError(
            f"No run of {state.engine_id}, or of another engine of its type, was logged at "
            f"{circuit}. {known_in_words(tuple(there))}",
            *(() if there else (Remedy("state_circuit"),)),
        )
    own = ledgers[state.engine_id]
    pool = pool_of(own, state.since, state.at, ledgers.values(), circuit=name)
    return replace(state, pool=pool)


def circuits_of(state: EngineState, ledgers: Mapping[str, Ledger]) -> dict[str, int]:
    """Return the circuits at which engines of the type of one were logged, and its own runs there.

    Each is spelled as in the earliest run there; in the order of the alphabet.

    Args:
        state: of the engine.
        ledgers: of all engines of its type, its own among them.
    """
    counted = {name: each.within(None, state.at) & each.logged for name, each in ledgers.items()}
    runs = [
        (started_s, circuit)
        for name, ledger in ledgers.items()
        for started_s, circuit, counts in zip(
            ledger.started_s.tolist(), ledger.circuits, counted[name], strict=True
        )
        if counts and circuit is not None
    ]
    own = ledgers[state.engine_id]
    return {
        name: int((own.at(name) & counted[state.engine_id]).sum())
        for name in one_spelling([circuit for _, circuit in sorted(runs)])
    }
