import numpy as np
import pytest

from babbitt.ingest.columns.plausible import plausible_units
from babbitt.model.channels import channels
from babbitt.present.remedies import options_text
from ingest_logs import refused


@pytest.mark.parametrize(
    ("name", "low", "high", "likeliest", "impossible"),
    [
        ("oil_pressure", 10.0, 65.0, "psi", "bar"),
        ("oil_pressure", 0.7, 4.5, "bar", "psi"),
        ("oil_pressure", 70.0, 450.0, "kPa", "psi"),
        ("oil_temperature", 20.0, 110.0, "°C", "K"),
        ("oil_temperature", 180.0, 250.0, "°F", "°C"),
        ("coolant_temperature", 300.0, 365.0, "K", "°C"),
        ("rpm", 900.0, 7600.0, "1/min", "1/s"),
        ("lateral_g", -1.3, 1.2, "g", "m/s²"),
        ("lateral_g", -13.0, 12.0, "m/s²", "g"),
    ],
)
def test_units_that_fit_are_listed_likeliest_first(
    name: str, low: float, high: float, likeliest: str, impossible: str
) -> None:
    values = np.linspace(low, high, 200, dtype=np.float32)
    symbols = [unit.symbol for unit in plausible_units(values, channels()[name])]
    assert symbols[0] == likeliest
    assert impossible not in symbols


def test_absolute_pressure_is_judged_as_such() -> None:
    values = np.linspace(0.3, 2.4, 100, dtype=np.float32)
    assert plausible_units(values, channels()["boost"], absolute=True)[0].symbol == "bar"


def test_no_values_fit_no_unit() -> None:
    assert plausible_units(np.full(3, np.nan, dtype=np.float32), channels()["boost"]) == ()


def test_every_missing_unit_is_told_at_once_with_its_options() -> None:
    rows = "".join(f"{i / 10},3000,{55 + i % 9},{90 + i % 3}\n" for i in range(40))
    error = refused("time,rpm,oil press,Coolant [deg]\n" + rows)
    for said in (
        "run7.csv: the unit is not known of oil_pressure (column 'oil press': none stated; ",
        "values 55 to 63 would fit psi",
        "coolant_temperature (column 'Coolant [deg]': 'deg' is none of its units; ",
        "values 90 to 92 would fit °C",
    ):
        assert said in str(error)
    assert options_text(error.remedies) == ("--unit oil_pressure=psi --unit coolant_temperature=°C")
