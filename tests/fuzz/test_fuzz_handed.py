"""Files that people hand over, damaged; and documents that hypothesis makes up."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ending
import numpy as np
import pytest
from ending import FaultError, end_of
from fuzz_handed import fuzz
from handed import Target, targets
from hypothesis import given
from hypothesis import strategies as st

from babbitt.exchange.files import harmless
from babbitt.ingest.text.headers import name_and_unit
from babbitt.logbook.settings import parse_settings
from babbitt.model.csv_rows import read_number
from babbitt.model.engine_spec import parse_spec
from babbitt.teardown.build_sheet import read_sheet
from babbitt.teardown.findings_file import read_findings
from bounded import bounded

COUNT, SLOW_COUNT = 60, 6
MB = 1_000_000
NAMES = [
    *("spec", "settings", "findings", "findings-csv", "sheet", "instant", "import-parts"),
    *("import-history", "import-findings", "photo", "packed", "teardown", "backup", "backup-list"),
    "register",
]


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Target]:
    return targets(tmp_path_factory.mktemp("handed"))


def test_every_target_is_tried(known: dict[str, Target]) -> None:
    assert list(known) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_what_is_damaged_is_taken_or_refused(known: dict[str, Target], name: str) -> None:
    target = known[name]
    for seed in target.seeds[:2]:
        assert end_of(lambda seed=seed: target.take(seed)) == "taken"
    ends = fuzz(name, target, range(SLOW_COUNT if target.slow else COUNT))
    assert ends["refused"] > 0


def test_only_what_the_work_itself_holds_counts_against_it() -> None:
    # in a process of its own: what other tests leave behind is given back at any time
    small, large = bounded(ends_after_much_was_held).value
    assert small == "taken"
    assert re.fullmatch(r"took [78]\d MB", large)


def ends_after_much_was_held() -> tuple[str, str]:
    held_before = np.ones(20 * MB)
    del held_before
    ending.MOST_BYTES = 40 * MB
    small = end_of(lambda: np.ones(MB))
    try:
        # so much that it cannot come out of what was given back and is kept at hand
        return small, end_of(lambda: np.ones(10 * MB))
    except FaultError as error:
        return small, str(error)


keys = st.one_of(
    st.sampled_from(
        ["engine", "over_rev", "life", "profile", "service", "finding", "line", "measurement"]
    ),
    st.sampled_from(["cylinders", "redline_rpm", "units", "part", "grade", "note", "value", "a"]),
    st.text(max_size=5),
)
values = st.recursive(
    st.one_of(
        st.integers(),
        st.floats(),
        st.booleans(),
        st.text(max_size=20),
        st.sampled_from(["rod_bearing", "wiped", "replace", "reused", "psi", "2", "metric"]),
        st.dates(),
        st.times(),
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(keys, inner, max_size=4)),
    max_leaves=15,
)


def written(value: Any) -> str:
    """A value as TOML; one that TOML cannot hold is written so that it must be refused."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {written(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    return json.dumps(value) if isinstance(value, str) else str(value)


@given(st.dictionaries(keys, values, max_size=5))
def test_whatever_a_document_says_is_taken_or_refused(document: dict[str, Any]) -> None:
    text = "\n".join(f"{json.dumps(key)} = {written(value)}" for key, value in document.items())
    for read in (
        lambda: parse_spec(text, source="x"),
        lambda: parse_settings(text, source="x"),
        lambda: read_sheet(text, source="x"),
        lambda: read_findings(text, source="x", format="toml"),
        lambda: read_findings(text, source="x", format="csv"),
    ):
        end_of(read)


DEEP = {
    "lists": "a = " + "[" * 100_000,
    "tables": "a = " + "{b=" * 100_000,
    "dotted key": "a" + ".a" * 100_000 + " = 1",
    "dotted table": "[a" + ".a" * 100_000 + "]",
    "whole number": "a = " + "9" * 900_000,
    "keys": "\n".join(f"a{n} = 1" for n in range(60_000)),
    "tables in tables": "\n".join(f"[a{n}]" for n in range(100_000)),
    "findings": "[[finding]]\n" * 80_000,
    "one line": "#" + "x" * 5_000_000,
    "quotes": 'a = "' + "\\u00e9" * 160_000 + '"',
}


@pytest.mark.parametrize("name", DEEP)
def test_what_is_deep_or_long_keeps_nobody_waiting(name: str, tmp_path: Path) -> None:
    for ended in (bounded(spec_of, DEEP[name]), bounded(findings_of, DEEP[name])):
        assert ended.refused
        assert len(ended.said) < 6_000


def spec_of(text: str) -> None:
    parse_spec(text, source="spec.toml")


def findings_of(text: str) -> None:
    read_findings(text, source="findings.toml", format="toml")


@pytest.mark.parametrize(
    "read", [lambda cell: read_number(cell, decimal_comma=False), harmless, name_and_unit]
)
def test_no_pattern_takes_time_by_the_square_of_a_cell(read: Callable[[str], Any]) -> None:
    for sign in ("1", "a", " ", "-", "=", "1.", "a,", "a[", "[]", "'"):
        for last in ("", "!", "\0", "1"):
            begun = time.process_time()
            read(sign * 200_000 + last)
            assert time.process_time() - begun < 1.0, (sign, last)
