"""The surface of expected oil pressure against the thinning of oil."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.detect.surface import fit_surface

pytestmark = pytest.mark.published


def test_expected_oil_pressure_falls_as_oil_thins() -> None:
    """A worked sheet on ASTM D341 has an oil of 8.533 mm²/s at 80 °C and 5.4 at 100 °C. Flow
    through a bearing is laminar, so that pressure goes with viscosity (Hagen and Poiseuille)."""
    speeds, degrees = np.arange(2000.0, 7001.0, 500.0), np.array([80.0, 90.0, 100.0])
    viscosity = {80.0: 8.533, 100.0: 5.4}
    rpm, oil_c = np.array([(n, c) for n in speeds for c in viscosity]).T
    kpa = 0.05 * rpm * np.array([viscosity[c] for c in oil_c]) / 5.4
    fitted = fit_surface(
        rpm, oil_c, kpa, np.full(len(rpm), 5.0), speeds, degrees, np.full(len(speeds), 50.0)
    )
    assert fitted[:, 0] / fitted[:, 2] == pytest.approx(8.533 / 5.4, rel=0.02)
    assert (fitted[:, 1] < fitted[:, 0]).all()
    assert (fitted[:, 1] > fitted[:, 2]).all()
