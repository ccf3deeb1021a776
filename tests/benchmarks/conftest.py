"""The table of ratios at the end of a benchmark run."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from ratios import Ratio

RATIOS = pytest.StashKey[list[Ratio]]()


@pytest.fixture
def assert_ratio(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Keep a ratio for the table, and fail where its reach is missed."""

    def check(what: str, values: list[float], *, reach: float, aim: float) -> None:
        ratio = Ratio(what, tuple(values), reach, aim)
        request.config.stash.setdefault(RATIOS, []).append(ratio)
        assert ratio.reached, str(ratio)

    return check


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    ratios = config.stash.get(RATIOS, [])
    if ratios:
        terminalreporter.section("ratios: median (lowest-highest)")
        for ratio in ratios:
            terminalreporter.line(str(ratio))
