"""babbitt log: the logs that were refused, what settles each, and setting them aside."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from shop import LogWriter, Shop


@pytest.fixture
def no_unit(write_log: LogWriter) -> Path:
    """A log that does not say in which unit its oil pressure is."""
    path = write_log("no unit.csv")
    text = path.read_text(encoding="utf-8").replace("Oil Press (kPa)", "Oil Press")
    path.write_text(text, encoding="utf-8")
    return path


def test_nothing_refused_is_a_sentence_and_an_empty_list(shop: Shop) -> None:
    done = shop("refused", "list")
    assert (done.status, done.out) == (0, "No refused log is left.\n")
    assert shop("refused", "list", "--json").json == []


def test_a_refused_log_is_listed_until_its_own_command_takes_it_in(
    shop: Shop, no_unit: Path
) -> None:
    taken = shop("ingest", no_unit, "--engine", "E1", "--json")
    assert taken.status == 1
    (refusal,) = shop("refused", "list", "--json").json
    assert set(refusal) == {
        "sha256", "file", "engine_id", "error", "option", "at", "set_aside_at",
    }  # fmt: skip
    assert refusal["sha256"] == taken.json[0]["sha256"]
    assert (refusal["file"], refusal["engine_id"]) == ("no unit.csv", "E1")
    listing = shop("refused", "list", "--engine", "E1")
    assert listing.status == 0
    assert refusal["error"] in " ".join(listing.out.split())
    (command,) = [line.strip() for line in listing.out.splitlines() if "babbitt ingest" in line]
    words = shlex.split(command)
    assert words[1:3] == ["ingest", "no unit.csv"]
    assert shop("ingest", no_unit, *words[3:]).status == 0
    assert shop("refused", "list", "--json").json == []
    unknown = shop("refused", "list", "--engine", "E9")
    assert (unknown.status, "'E9'" in unknown.err) == (1, True)


def test_a_log_that_is_set_aside_leaves_the_list_and_can_come_back(
    shop: Shop, no_unit: Path
) -> None:
    log_id = shop("ingest", no_unit, "--engine", "E1", "--json").json[0]["sha256"]
    done = shop("refused", "set-aside", log_id[:9])
    assert done.status == 0
    assert f"babbitt refused take-up {log_id[:9]}" in done.out
    assert shop("refused", "list", "--json").json == []
    assert "set aside" in shop("refused", "list", "--set-aside").out
    assert shop("refused", "take-up", log_id[:9]).status == 0
    assert len(shop("refused", "list", "--json").json) == 1
    refused = shop("refused", "set-aside", "zz")
    assert refused.status == 1
    assert refused.err.startswith("babbitt: There is no refused log 'zz'")
