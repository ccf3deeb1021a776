"""Remedies as what a person types."""

from __future__ import annotations

from typing import get_args

import pytest

from babbitt.errors import Remedy, RemedyOption
from babbitt.present.remedies import in_terminal, options_text
from shop import Shop

A_TARGET = {"map": "Ch 7", "unit": "oil_pressure", "swap": "boost"}
A_VALUE = {"unit": "kPa", "map": "oil_pressure", "swap": "oil_pressure", "profile": "pit"}


@pytest.mark.parametrize("option", get_args(RemedyOption))
def test_every_remedy_can_be_typed(option: RemedyOption) -> None:
    remedy = Remedy(option, A_TARGET.get(option, "X-1"), A_VALUE.get(option, "v"))
    (line,) = in_terminal([remedy])
    assert line.startswith(("babbitt ", "the same with --"))


def test_what_is_stated_with_the_same_step_is_one_line_ready_to_paste() -> None:
    remedies = [
        Remedy("unit", "oil_pressure", "kPa"),
        Remedy("map", "Ch 7", "boost"),
        Remedy("unit", "oil_pressure", "kPa"),
        Remedy("started"),
    ]
    assert options_text(remedies) == '--unit oil_pressure=kPa --map "Ch 7=boost" --started WHEN'
    assert in_terminal(remedies) == [f"the same with {options_text(remedies)}"]


def test_a_refusal_ends_with_what_to_type(shop: Shop) -> None:
    told = shop("run", "show", "zz")
    assert told.status == 1
    assert told.err.splitlines() == [
        "babbitt: There is no run 'zz': look it up in the list.",
        "  babbitt run list",
    ]


def test_a_serial_with_blanks_is_quoted() -> None:
    assert in_terminal([Remedy("remove_part", "RB 7")]) == ['babbitt part remove "RB 7" --at WHEN']
