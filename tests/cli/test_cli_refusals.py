"""Bad input: one sentence, the right exit status, and a logbook as it was."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from shop import SPEC, LogWriter, Shop, run


def files_of(folder: Path) -> set[Path]:
    return {
        path
        for path in folder.rglob("*")
        if path.is_file() and "-wal" not in path.name and "-shm" not in path.name
    }


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"Time (s),RPM (1/min)\n", "not one sample"),
        (bytes(range(256)) * 8, "not text"),
        (b"RPM (1/min),Oil Press (kPa)\n1000,300\n1100,310\n1200,320\n", "time"),
        (b"Time (s),RPM (1/min)\n0,900\n9,901\n5,902\n12,903\n", "line 4"),
        (b"Time (s),Oil Press (kPa)\n0,300\n1,301\n2,302\n", "--map HEADER=rpm"),
        (
            b"Time (s),RPM (1/min),Oil Press\n0,900,3.1\n1,901,3.2\n2,902,3.3\n",
            "--unit oil_pressure",
        ),
    ],
    ids=["empty", "header only", "binary", "no time", "backwards", "no rpm", "no unit"],
)
def test_a_bad_log_is_refused_and_the_rest_goes_on(
    content: bytes, words: str, shop: Shop, write_log: LogWriter, tmp_path: Path
) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_bytes(content)
    result = shop("ingest", bad, write_log(), "--engine", "E1", "--json")
    assert result.status == 1
    refused, taken = result.json
    assert refused["status"] == "refused"
    assert words in f"{refused['error']} {refused['option']}"
    assert "bad.csv" in refused["error"]
    assert taken["status"] == "ingested"
    assert shop("verify", "--json").json == {"runs": 1, "faults": [], "unfinished": []}
    assert not list(shop.book.rglob("*.part"))


def test_a_folder_a_missing_file_and_an_unknown_engine(
    shop: Shop, write_log: LogWriter, tmp_path: Path
) -> None:
    before = files_of(shop.book)
    result = shop("ingest", tmp_path, tmp_path / "none.csv", "--engine", "E1", "--json")
    assert result.status == 1
    assert "is a folder" in result.json[0]["error"]
    assert "no file" in result.json[1]["error"]
    unknown = shop("ingest", write_log(), "--engine", "E11", "--json")
    assert unknown.status == 1
    assert "did you mean E1?" in unknown.json[0]["error"]
    assert files_of(shop.book) == before


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such limit")
def test_a_disk_that_takes_no_more_leaves_everything_as_it_was(
    shop: Shop, write_log: LogWriter
) -> None:
    before = files_of(shop.book)
    words = ("--logbook", shop.book, "ingest", write_log(), "--engine", "E1")
    failed = run(*words, most_bytes=20_000)
    assert failed.status == 1
    assert failed.err.count("\n") == 1
    assert files_of(shop.book) == before
    assert run(*words).status == 0


def test_a_log_from_before_the_engine_existed(shop: Shop, write_log: LogWriter) -> None:
    path = write_log(start="2025-12-31T10:00:00Z")
    result = shop("ingest", path, "--engine", "E1", "--json")
    assert result.status == 1
    assert "before the engine E1 was built" in result.json[0]["error"]
    assert shop("verify", "--json").json == {"runs": 0, "faults": [], "unfinished": []}


def test_an_overlapping_log_is_held_back_until_someone_says(
    shop: Shop, write_log: LogWriter
) -> None:
    first = write_log("a.csv", start="2026-05-03T10:00:00Z")
    second = write_log("b.csv", start="2026-05-03T10:00:30Z", peak_rpm=7000.0)
    shop("ingest", first, "--engine", "E1")
    held = shop("ingest", second, "--engine", "E1", "--json")
    assert held.status == 1
    assert "overlaps" in held.json[0]["error"]
    assert shop.totals()["runs"] == 1
    replaced = shop("ingest", second, "--engine", "E1", "--overlap", "replace", "--json")
    assert replaced.json[0]["status"] == "ingested"
    assert shop.totals()["runs"] == 1
    assert shop.totals()["events"]["over_rev"]["count"] == 0
    both = shop("ingest", first, "--engine", "E1", "--overlap", "keep-both")
    assert both.status == 0
    assert shop.totals()["runs"] == 2


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["engine", "add", "E1", "--spec", "{spec}"], "There is an engine E1 already"),
        (["engine", "add", "a/b", "--spec", "{spec}"], "cannot be an engine's ID"),
        (["engine", "add", "E2", "--spec", "none.toml"], "none.toml"),
        (["engine", "refresh", "E11", "--at", "2026-01-02"], "did you mean E1?"),
        (["engine", "refresh", "E1", "--at", "2025-01-01"], "before"),
        (["engine", "refresh", "E1", "--at", "2126-01-01"], "lies in the future"),
        (["events", "--run", "r0"], "There is no run 'r0'"),
        (["review", "abc", "confirmed"], "There is no event 'abc'"),
        (["totals", "E9"], "There is no engine 'E9'"),
        (["run", "remove", "r0"], "There is no run 'r0'"),
        (["run", "add-unlogged", "E1", "--minutes", "-5", "--at", "2026-02-01"], "more than 0"),
        (["ingest", "x.csv", "--engine", "E1", "--profile", "pit"], "no [profile.pit]"),
    ],
)
def test_a_wrong_record_gets_one_sentence(words: list[str], sentence: str, shop: Shop) -> None:
    spec = str(shop.folder / "spec.toml")
    result = shop(*[word.format(spec=spec) for word in words])
    assert result.status == 1
    assert result.out == ""
    first, *options = result.err.splitlines()
    assert sentence in first
    assert all(option.startswith("  ") for option in options)


def test_an_unknown_spec_key_names_the_nearest(shop: Shop) -> None:
    spec = shop.folder / "odd.toml"
    spec.write_text(SPEC.replace("redline_rpm", "red_line_rpm"))
    result = shop("engine", "add", "E2", "--spec", spec)
    assert result.status == 1
    assert "did you mean 'over_rev.redline_rpm'?" in result.err


@pytest.mark.parametrize(
    "words",
    [
        ["events", "--kind", "over_revs"],
        ["review", "abc", "fine"],
        ["ingest", "--engine", "E1"],
        ["ingest", "x.csv", "--engine", "E1", "--unit", "oil_pressure"],
        ["ingest", "x.csv", "--engine", "E1", "--unit", "oil_pressure=degC"],
        ["ingest", "x.csv", "--engine", "E1", "--started", "yesterday"],
        ["engine", "refresh", "E1", "--at", "32 May"],
        ["nonsense"],
    ],
)
def test_wrong_usage_is_status_two(words: list[str], shop: Shop) -> None:
    assert shop(*words).status == 2


def test_a_folder_that_is_no_logbook(tmp_path: Path) -> None:
    result = run("totals", cwd=tmp_path)
    assert result.status == 1
    assert "is not a logbook" in result.err


def test_a_logbook_is_not_made_over_something_else(shop: Shop, tmp_path: Path) -> None:
    assert "is a logbook already" in run("new", shop.book).err
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "diary.txt").write_text("dear diary")
    assert "is not an empty folder" in run("new", tmp_path / "used").err


def test_check_names_what_is_damaged_missing_or_strange(shop: Shop, write_log: LogWriter) -> None:
    logs = [write_log(f"{n}.csv", start=f"2026-05-0{n}T10:00:00Z") for n in (1, 2, 3)]
    intakes = shop("ingest", *logs, "--engine", "E1", "--json").json
    paths = [shop.book / "runs" / "engine=E1" / f"{each['run_id']}.parquet" for each in intakes]
    paths[0].write_bytes(paths[0].read_bytes()[:-2000])
    paths[1].unlink()
    original = next((shop.book / "originals").rglob("*.zst"))
    original.rename(original.with_name("0" * 64 + ".zst"))
    result = shop("verify", "--json")
    assert result.status == 1
    faults = "\n".join(result.json["faults"])
    assert f"{paths[0]} is damaged" in faults
    assert f"{paths[1]} is missing" in faults
    assert "is missing" in faults.splitlines()[2], "the log that was renamed"
    assert len(result.json["faults"]) == 3
    (stranger,) = result.json["unfinished"]
    assert "is in no record" in stranger
