"""A measurement at teardown beside the same one as built."""

from __future__ import annotations

from babbitt.errors import RegisterError
from babbitt.model.finding import Measurement


def wear(built: Measurement, found: Measurement) -> float:
    """Return how much a measurement has grown since the build, in its unit.

    Args:
        built: as built.
        found: at teardown, of the same part and position.

    Raises:
        RegisterError: they measure different things, or in different units.
    """
    if (built.name, built.unit) != (found.name, found.unit):
        raise RegisterError(
            f"{found.name} in {found.unit} cannot be compared with {built.name} in {built.unit} as "
            "built: record both under one name and in one unit."
        )
    return found.value - built.value
