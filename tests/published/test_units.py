"""Units against NIST Special Publication 811 (2008), Appendix B.8 and B.9."""

import pytest

from babbitt.model.units import parse, units_of

pytestmark = pytest.mark.published


def converted(value: float, from_unit: str, to_unit: str, dimension: str) -> float:
    source, target = (parse(text, dimension=dimension) for text in (from_unit, to_unit))
    assert source is not None
    assert target is not None
    factor, offset = source.to_canonical()
    back, back_offset = target.from_canonical()
    return back * (factor * value + offset) + back_offset


@pytest.mark.parametrize(
    ("value", "from_unit", "to_unit", "expected", "tolerance"),
    [
        (1.0, "psi", "Pa", 6894.757293, 1e-9),  # 6.894 757 E+03
        (60.0, "psi", "bar", 4.136854376, 1e-9),  # psi over bar, 1.0 E+05 exact
        (100.0, "psi", "kPa", 689.4757293, 1e-9),
        (1.0, "bar", "psi", 14.50377377, 1e-9),
        (1.0, "inHg", "Pa", 3386.38864, 2e-7),  # conventional inch of mercury, 3.386 389 E+03
        (1.0, "atm", "kPa", 101.325, 1e-9),  # 1.013 25 E+05 exact
        (1.0, "atm", "psi", 14.69594878, 1e-9),
        (1.0, "atm", "inHg", 29.92125558, 2e-7),
    ],
)
def test_pressure(
    value: float, from_unit: str, to_unit: str, expected: float, tolerance: float
) -> None:
    assert converted(value, from_unit, to_unit, "pressure") == pytest.approx(
        expected, rel=tolerance
    )


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [(212.0, 100.0), (250.0, 121.1111111), (32.0, 0.0), (-40.0, -40.0), (300.0, 148.8888889)],
)
def test_degrees_fahrenheit(fahrenheit: float, celsius: float) -> None:
    """t/degC = (t/degF - 32)/1.8; the expected values are given to seven decimals."""
    assert converted(fahrenheit, "degF", "degC", "temperature") == pytest.approx(celsius, abs=6e-8)


@pytest.mark.parametrize(
    ("celsius", "kelvin", "fahrenheit"),
    [(0.0, 273.15, 32.0), (100.0, 373.15, 212.0), (130.0, 403.15, 266.0)],
)
def test_degrees_celsius(celsius: float, kelvin: float, fahrenheit: float) -> None:
    """T/K = t/degC + 273.15."""
    assert converted(celsius, "C", "K", "temperature") == pytest.approx(kelvin, abs=1e-9)
    assert converted(celsius, "C", "F", "temperature") == pytest.approx(fahrenheit, abs=1e-9)


def test_difference_of_temperature_has_no_offset() -> None:
    """Interval factor 1/1.8: 45 degF are 25 K."""
    fahrenheit = parse("degF")
    assert fahrenheit is not None
    assert 45.0 * fahrenheit.factor == pytest.approx(25.0, abs=1e-12)


def test_standard_gravity() -> None:
    """9.806 65 m/s2, exact."""
    assert converted(1.0, "g", "m/s2", "acceleration") == pytest.approx(9.80665, rel=1e-9)


@pytest.mark.parametrize("dimension", ["pressure", "temperature", "rotation", "acceleration"])
def test_every_unit_comes_back_to_itself(dimension: str) -> None:
    for unit in units_of(dimension):
        assert converted(7.25, unit.symbol, unit.symbol, dimension) == pytest.approx(7.25)
