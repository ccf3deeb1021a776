"""Service limits: how much of each a part has used, and what nobody knows of it."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from babbitt.model.exposure import KindSums, WindowSums
from babbitt.model.kinds import KINDS
from babbitt.model.service_limits import ServiceLimit, ServiceUse, service_use


def taken(**changes: object) -> WindowSums:
    """Return the sums of ten hours, nine of them watched, of which one has no revolutions."""
    values = {
        "runs": 10,
        "unlogged_runs": 1,
        "running_s": 36_000.0,
        "unlogged_s": 3_600.0,
        "revolutions": 2_000_000.0,
        "starts": 9,
        "heat_cycles": 4.5,
        "runs_without_heat_cycles": 1,
        "kinds": {kind: KindSums(32_400.0, 1, 2.0, 90.0, 0) for kind in KINDS},
        "first_start": None,
        "last_end": None,
        "uncounted_s": 3_600.0,
    }
    return WindowSums(**(values | changes))  # type: ignore[arg-type]


def test_each_limit_is_told_with_what_nobody_knows() -> None:
    limit = ServiceLimit(running_h=20.0, revolutions=2_500_000.0, dose={"over_rev": 100.0})
    assert service_use(limit, taken()) == (
        ServiceUse("running_h", "h", 10.0, 20.0, 0.0),
        ServiceUse("revolutions", "rev", 2_000_000.0, 2_500_000.0, 1.0),
        ServiceUse("over_rev", "weighted rev", 90.0, 100.0, 1.0),
    )


@pytest.mark.parametrize(("used", "near"), [(0.0, False), (7.9, False), (8.0, True), (12.0, True)])
def test_a_limit_is_near_from_four_fifths_on(used: float, near: bool) -> None:
    use = ServiceUse("running_h", "h", used, 10.0, 0.0)
    assert (use.share, use.is_near) == (used / 10.0, near)


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"running_h": 0.0},
        {"revolutions": -1.0},
        {"dose": {"over_revs": 1.0}},
        {"dose": {"over_rev": 0.0}},
        {"hours": 1.0},
        {"running_h": float("inf")},
    ],
)
def test_a_limit_that_limits_nothing_is_refused(given: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        ServiceLimit(**given)  # type: ignore[arg-type]
