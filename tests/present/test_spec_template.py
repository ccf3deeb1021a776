from __future__ import annotations

import re

import pytest

from babbitt.errors import SettingsError
from babbitt.model.engine_spec import parse_spec
from babbitt.present.spec_template import spec_template
from invented import SPEC
from shop import SPEC as SPEC_WITH_LIFE


@pytest.mark.parametrize("text", [SPEC, SPEC_WITH_LIFE])
def test_a_template_like_an_engine_is_its_spec(text: str) -> None:
    like = parse_spec(text, source="like.toml")
    assert parse_spec(spec_template(like), source="template.toml") == like


def test_a_bare_template_is_refused_until_what_is_needed_is_filled_in() -> None:
    template = spec_template()
    with pytest.raises(SettingsError, match="redline_rpm"):
        parse_spec(template, source="template.toml")
    needed = {
        "type": '"four"',
        "cylinders": "4",
        "bore_mm": "86",
        "stroke_mm": "86",
        "rod_length_mm": "143",
        "idle_rpm": "1100",
        "redline_rpm": "7600",
        "mechanical_rpm": "8300",
        "limit_c": "130",
        "limit_kpa": "180",
    }
    filled = re.sub(
        r"^# (\w+) =  # needed", lambda m: f"{m[1]} = {needed[m[1]]}  #", template, flags=re.M
    )
    spec = parse_spec(filled, source="filled.toml")
    assert spec.oil_pressure.floor_above_rpm == 2500.0
    assert spec.life.of("over_rev") is None
