import numpy as np
import pytest

from babbitt.logbook.settings import Profile
from babbitt.model.run import Run
from ingest_logs import read


def run_of(headers: str, *rows: str, **given: object) -> Run:
    body = "".join(f"{i / 10:.1f},{row}\n" for i, row in enumerate(rows))
    return read(f"time,{headers}\n{body}", **given)


def test_readings_come_to_canonical_units_and_it_is_said() -> None:
    run = run_of("rpm,oil press [psi],oil temp [°F],lat acc [m/s²]", *["3000,60,212,9.80665"] * 3)
    assert run.signals["oil_pressure"].values[0] == pytest.approx(413.685437, rel=1e-6)
    assert run.signals["oil_temperature"].values[0] == pytest.approx(100.0, abs=1e-4)
    assert run.signals["lateral_g"].values[0] == pytest.approx(1.0, rel=1e-6)
    assert [run.signals[name].unit for name in run.signals] == ["1/min", "kPa", "°C", "g"]
    assert "Oil pressure: psi to kPa (unit in the header)." in run.info.conversions


def test_unit_given_is_named_as_the_source() -> None:
    run = run_of("rpm,oil press", *["3000,4"] * 3, units={"oil_pressure": "bar"})
    assert run.signals["oil_pressure"].values[0] == 400.0
    assert "Oil pressure: bar to kPa (unit as stated)." in run.info.conversions


def test_ambient_pressure_is_that_before_start_up() -> None:
    still = ["0,98.5"] * 15
    run = run_of("rpm,MAP [kPa]", *still, "250,90", *["1000,40", "3000,198.5"] * 5)
    assert run.signals["boost"].values[-1] == pytest.approx(100.0)
    assert run.info.conversions == (
        "Boost: absolute, less 98.50 kPa ambient (its own reading before start-up).",
    )


@pytest.mark.parametrize("before", [["0,98.5"] * 5, ["900,98.5"] * 15, ["0,40"] * 15, []], ids=str)
def test_ambient_pressure_is_the_standard_atmosphere_without_a_plain_reading(
    before: list[str],
) -> None:
    run = run_of("rpm,MAP [kPa]", *before, *["1000,40", "3000,201.325"] * 5)
    assert run.signals["boost"].values[-1] == pytest.approx(100.0)
    assert "101.33 kPa ambient (the standard atmosphere)" in run.info.conversions[0]


def test_ambient_pressure_of_the_profile_wins() -> None:
    run = run_of("rpm,MAP [kPa]", *["0,98.5"] * 15, "3000,190", profile=Profile(ambient_kpa=90.0))
    assert run.signals["boost"].values[-1] == pytest.approx(100.0)
    assert "from the logger profile" in run.info.conversions[0]


def test_manifold_pressure_at_another_rate_than_engine_speed_still_gives_ambient() -> None:
    rows = [f"{0 if i < 20 else 2000}," if i % 2 else ",97.25" for i in range(40)]
    run = run_of("rpm,MAP [kPa]", *rows)
    assert "97.25 kPa ambient (its own reading before start-up)" in run.info.conversions[0]


def test_oil_pressure_stated_absolute_becomes_gauge() -> None:
    run = run_of("rpm,oil press [bara]", *["3000,5"] * 3)
    assert run.signals["oil_pressure"].values[0] == pytest.approx(398.675, rel=1e-6)
    assert len(run.info.conversions) == 2


@pytest.mark.parametrize(
    ("profile", "value", "said"),
    [
        (None, 1.25, "taken as positive to the left"),
        (Profile(lateral_positive="left"), 1.25, "taken as positive to the left"),
        (Profile(lateral_positive="right"), -1.25, "sign turned"),
    ],
)
def test_lateral_sign_is_that_of_iso_8855(profile: Profile, value: float, said: str) -> None:
    run = run_of("rpm,lateral g", *["3000,1.25"] * 3, profile=profile)
    assert run.signals["lateral_g"].values[0] == value
    assert said in run.info.conversions[0]


def test_columns_without_a_channel_keep_their_numbers_and_unit_as_stated() -> None:
    run = run_of("rpm,Brake Press [psi]", *["3000,60"] * 3)
    brake = run.signals["brake_press_psi"]
    assert (brake.values[0], brake.unit, brake.header) == (60.0, "psi", "Brake Press [psi]")
    assert np.unique(brake.flags).tolist() == [2]
