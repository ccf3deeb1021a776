"""The table of what was measured, at the end of a benchmark run."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from ratios import HEADINGS, Row, as_markdown

ROWS = pytest.StashKey[list[Row]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--table", type=Path, help="write what was measured to this Markdown file")


@pytest.fixture
def keep_row(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Keep a row for the table, and fail where its reach is missed."""

    def keep(
        what: str,
        values: list[float],
        *,
        reach: float | None = None,
        aim: float | None = None,
        unit: str = "",
    ) -> None:
        row = Row(what, tuple(values), reach, aim, unit)
        request.config.stash.setdefault(ROWS, []).append(row)
        assert row.reached, str(row)

    return keep


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    rows = config.stash.get(ROWS, [])
    if not rows:
        return
    terminalreporter.section(", ".join(HEADINGS))
    for row in rows:
        terminalreporter.line(str(row))
    if path := config.getoption("--table"):
        table = as_markdown("Benchmarks", HEADINGS, [row.cells() for row in rows])
        path.write_text(table, encoding="utf-8")
