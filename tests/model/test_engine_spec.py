"""Engine specs: what is accepted, what is refused and in which words."""

from __future__ import annotations

import pytest

from babbitt.errors import SettingsError
from babbitt.model.engine_spec import LifeDoses, parse_spec
from babbitt.model.kinds import KINDS
from invented import SPEC as BARE_SPEC

SPEC = BARE_SPEC + "[life]\nover_rev = 900.0\n"


def test_sections_left_out_take_their_defaults() -> None:
    spec = parse_spec(SPEC, source="a.toml")
    assert spec.oil_pressure.starved_fraction == 0.75
    assert spec.cornering.lookback_s == 1.5
    assert spec.life.of("over_rev") == 900.0
    assert [spec.life.of(kind) for kind in list(KINDS)[1:]] == [None] * 7


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("redline_rpm = 7600", "redlin_rpm = 7600", "did you mean 'over_rev.redline_rpm'?"),
        ("[boost]", "[bost]", "did you mean 'boost'?"),
        ("[life]\n", "[life]\noverrev = 1.0\n", "did you mean 'life.over_rev'?"),
        ("idle_rpm = 1100", "idle_rpm = 1100\nlookback_s = 1", "'cornering.lookback_s'?"),
        ("idle_rpm = 1100", "", "'engine.idle_rpm' is missing"),
        ("bore_mm = 86.0", "bore_mm = -86.0", "'engine.bore_mm' is -86.0"),
        ("bore_mm = 86.0", 'bore_mm = "wide"', "'engine.bore_mm' is 'wide'"),
        ("bore_mm = 86.0", "bore_mm = nan", "'engine.bore_mm' is nan"),
        ("mechanical_rpm = 8300", "mechanical_rpm = 7000", "must not lie below redline_rpm"),
        ("rod_length_mm = 143.0", "rod_length_mm = 40.0", "more than half of stroke_mm"),
        ("limit_c = 135.0", "limit_c = 60.0", "warm_c must lie below limit_c"),
        ("[engine]", "[engine", "is not TOML"),
        ("= 900.0", "= -1", "'life.over_rev.one_in_ten' is -1: input should be greater than 0"),
        ("= 900.0", '= "few"', "'life.over_rev.one_in_ten' is 'few'"),
        ("= 900.0", "= {half = 1}", "'life.over_rev.one_in_ten' is missing"),
        ("= 900.0", "= {one_in_ten = 1, hlf = 2}", "did you mean 'life.over_rev.half'?"),
        (
            "= 900.0",
            "= {one_in_ten = 4000, half = 1500}",
            "in [life.over_rev] half must lie above one_in_ten",
        ),
    ],
)
def test_a_fault_is_named_with_its_place(old: str, new: str, words: str) -> None:
    with pytest.raises(SettingsError, match=r"a\.toml") as caught:
        parse_spec(SPEC.replace(old, new, 1), source="a.toml")
    assert words in str(caught.value)


def test_a_life_is_the_dose_of_one_in_ten_and_of_half() -> None:
    text = (
        SPEC + "overboost = {one_in_ten = 400, half = 700}\n[life.cold_load]\none_in_ten = 5000\n"
    )
    life = parse_spec(text, source="a.toml").life
    assert {kind: life.doses(kind) for kind in KINDS if life.doses(kind)} == {
        "over_rev": LifeDoses(one_in_ten=900.0, half=2700.0),
        "overboost": LifeDoses(one_in_ten=400.0, half=700.0),
        "cold_load": LifeDoses(one_in_ten=5000.0, half=15_000.0),
    }
    assert life.of("overboost") == 400.0


def test_all_faults_are_named_at_once() -> None:
    with pytest.raises(SettingsError) as caught:
        parse_spec("[engine]\ncolour = 1\n", source="a.toml")
    message = str(caught.value)
    assert "unknown key 'engine.colour'" in message
    assert "'engine.stroke_mm' is missing" in message
    assert "'boost' is missing" in message


def test_version_follows_the_limits_that_judge_runs_and_nothing_else() -> None:
    spec = parse_spec(SPEC, source="a.toml")
    other_limit = SPEC.replace("limit_kpa = 180.0", "limit_kpa = 181.0")
    other_life = SPEC.replace("over_rev = 900.0", "over_rev = 901.0")
    reordered = "# a comment\n" + SPEC
    assert parse_spec(other_limit, source="").version() != spec.version()
    assert parse_spec(other_life, source="").version() == spec.version()
    assert parse_spec(reordered, source="").version() == spec.version()
