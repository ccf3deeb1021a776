"""The name of a circuit: what tells one from another, and what does not."""

from __future__ import annotations

import pytest

from babbitt.errors import RegisterError
from babbitt.model.circuit import LONGEST, circuit_name, known_in_words, one_spelling, same_circuit


def test_white_space_is_collapsed_and_blank_is_none() -> None:
    assert circuit_name("  Tollbar \t Bowl ") == "Tollbar Bowl"
    assert circuit_name(" \n ") is None
    assert circuit_name("T" * LONGEST) == "T" * LONGEST


@pytest.mark.parametrize("text", ["T" * (LONGEST + 1), "Toll\x00bar"])
def test_what_cannot_be_kept_is_no_name(text: str) -> None:
    with pytest.raises(RegisterError, match="no name of a circuit"):
        circuit_name(text)


def test_neither_case_nor_white_space_tells_circuits_apart() -> None:
    assert same_circuit("Straßenring  Süd", "STRASSENRING süd")
    assert not same_circuit("Tollbar", "Tollbar Bowl")
    assert not same_circuit(None, None)
    assert not same_circuit("Tollbar", None)


def test_each_circuit_is_told_once_by_its_first_spelling() -> None:
    assert one_spelling(["tollbar", "Fennick", "TOLLBAR", "fennick "]) == ("Fennick", "tollbar")


def test_the_known_ones_are_told_in_a_sentence() -> None:
    assert known_in_words(["Fennick", "Tollbar"]) == "Known circuits: Fennick, Tollbar."
    assert known_in_words(["Fennick"]) == "Known circuit: Fennick."
    assert known_in_words([]) == "No run says where it was: tell that first."
