"""What was found, beside what was built."""

from __future__ import annotations

import pytest

from babbitt.errors import RegisterError
from babbitt.model.finding import Measurement
from babbitt.teardown.comparison import wear

BUILT = Measurement("clearance", 0.052, "mm", 0.045, 0.065)


def test_wear_is_the_growth_since_the_build() -> None:
    assert wear(BUILT, Measurement("clearance", 0.071, "mm")) == pytest.approx(0.019)
    assert wear(BUILT, BUILT) == 0.0


@pytest.mark.parametrize(("name", "unit"), [("clearance", "in"), ("shell thickness", "mm")])
def test_what_cannot_be_compared_is_refused(name, unit) -> None:
    with pytest.raises(RegisterError) as refused:
        wear(BUILT, Measurement(name, 0.0028, unit))
    assert str(refused.value) == (
        f"{name} in {unit} cannot be compared with clearance in mm as built: "
        "record both under one name and in one unit."
    )
