"""The front door: what `import babbitt` offers, keeps to, and does not load."""

from __future__ import annotations

import doctest
import json
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest

import babbitt as bb
from babbitt import _door
from babbitt.jobs.demo import run_demo
from babbitt.logbook.folder import create_logbook, settings_text
from babbitt.register.dictionary import dictionary

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_logs"
LOG = DEMO / "logs" / "NB-03_2025-03-29_rolls.csv"
SPEC = DEMO / "specs" / "NB-03.toml"
FRAMES = {
    "engines": "engine",
    "events": "event",
    "runs": "run",
    "laps": "lap",
    "totals": "totals_kind",
    "running": "totals",
    "findings": "finding",
    "outlook": "outlook",
}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo's logbook, a log and a spec, as the examples name them."""
    folder = tmp_path_factory.mktemp("bench")
    run_demo(folder / "engines")[0].register.close()
    shutil.copy(LOG, folder / "friday.csv")
    shutil.copy(SPEC, folder / "nb-03.toml")
    return folder


@pytest.fixture(scope="module")
def book(bench: Path) -> bb.Logbook:
    return bb.open_logbook(bench / "engines")


@pytest.fixture
def empty(tmp_path: Path) -> bb.Logbook:
    create_logbook(tmp_path / "none", settings_text(timezone="Europe/Paris")).register.close()
    return bb.open_logbook(tmp_path / "none")


def fresh(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout


def test_what_is_public_is_listed_and_nothing_else_is() -> None:
    assert sorted(bb.__all__) == sorted(_door.__all__) == dir(bb)
    for name in bb.__all__:
        assert getattr(bb, name) is getattr(_door, name)
        assert getattr(bb, name).__doc__, name
    shown = fresh("import babbitt; print([n for n in vars(babbitt) if not n.startswith('_')])")
    assert set(re.findall(r"'(\w+)'", shown)) <= {
        "sys",
        "ModuleType",
        "TYPE_CHECKING",
        "Any",
        "annotations",
    }
    with pytest.raises(AttributeError):
        bb.ingest_log  # noqa: B018


def test_importing_it_loads_nothing_of_weight() -> None:
    loaded = fresh("import json, sys, babbitt; print(json.dumps(list(sys.modules)))")
    ours = [name for name in json.loads(loaded) if name.startswith("babbitt")]
    assert ours == ["babbitt"]
    assert not {"numpy", "pandas", "pyarrow", "sqlalchemy"} & set(json.loads(loaded))


def test_detect_is_the_function_whatever_was_imported_before() -> None:
    code = "import babbitt.detect.judge, babbitt as bb; print(bb.detect.__module__)"
    assert fresh(code).strip() == "babbitt._door"


def test_the_examples_in_the_docstrings_run(bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(bench)
    book = bb.open_logbook("engines")
    finder = doctest.DocTestFinder(exclude_empty=True)
    runner = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE)
    tests = finder.find(_door, "_door", globs={"bb": bb, "book": book})
    for test in tests:
        assert runner.run(test).failed == 0, test.name
    without = {test.name for test in tests if not test.examples}
    public = {
        f"_door.{name}" for name in ("Logbook", "open_logbook", "read_log", "read_spec", "detect")
    }
    public |= {f"_door.Logbook.{name}" for name in (*FRAMES, "run")}
    assert public <= {test.name for test in tests} - without


@pytest.mark.parametrize(("method", "table"), FRAMES.items())
def test_a_frame_is_as_the_dictionary_says_with_rows_and_without(
    method: str, table: str, book: bb.Logbook, empty: bb.Logbook
) -> None:
    filled, without = getattr(book, method)(), getattr(empty, method)()
    columns = dictionary()[table].columns
    assert list(filled) == list(without) == [column.name for column in columns]
    assert filled.dtypes.equals(without.dtypes)
    assert len(filled) > len(without) == 0
    units = {column.name: column.unit for column in columns if column.unit}
    assert filled.attrs["units"] == without.attrs["units"] == units


def test_events_are_filtered_by_engine_kind_and_time(book: bb.Logbook) -> None:
    every = book.events()
    some = book.events("NB-01", since="2026-07-01", until=datetime(2026, 9, 1, tzinfo=UTC))
    expected = every[
        (every["engine_id"] == "NB-01")
        & (every["at"] >= pd.Timestamp("2026-07-01", tz="Europe/Berlin"))
        & (every["at"] < pd.Timestamp("2026-09-01", tz="UTC"))
    ]
    assert 0 < len(some) < len(every)
    assert list(some["event_id"]) == list(expected["event_id"])
    assert set(book.events(kind="over_rev")["kind"]) == {"over_rev"}


def test_what_was_taken_back_is_not_handed_out(bench: Path, tmp_path: Path) -> None:
    from babbitt.logbook.folder import open_logbook
    from babbitt.register.records.corrections import remove_run

    root = shutil.copytree(bench / "engines", tmp_path / "engines")
    book = bb.open_logbook(root)
    run_id = book.events("NB-01")["run_id"].iloc[0]
    with open_logbook(root).register.writing() as session:
        remove_run(session, run_id, "test bench")
    assert run_id not in set(book.runs()["run_id"]) | set(book.events()["run_id"])


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda book: book.events(kind="over-rev"), "over_rev"),
        (lambda book: book.events("NB-09"), "NB-09"),
        (lambda book: book.events(since="friday"), "friday"),
        (lambda book: book.run("zzz"), "zzz"),
        (lambda book: book.outlook("NB-09"), "NB-09"),
    ],
)
def test_a_wrong_question_gets_a_sentence(ask, said: str, book: bb.Logbook) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(bb.RegisterError, match=said):
        ask(book)


def test_a_run_as_a_frame_has_its_channels_over_time(book: bb.Logbook) -> None:
    record = book.runs("NB-03").query("not unlogged").iloc[0]
    run = book.run(record["run_id"].removeprefix("r")[:8])
    frame, flagged = run.to_pandas(), run.to_pandas(flags=True)
    assert frame.index.name == "time_s"
    assert len(frame) == record["samples"]
    assert set(map(str, frame.dtypes)) == {"float32"}
    assert frame.attrs["units"] == {"time_s": "s"} | {n: s.unit for n, s in run.signals.items()}
    assert list(flagged)[::2] == list(frame)
    assert set(map(str, flagged.dtypes[1::2])) == {"uint8"}


def test_a_log_read_without_a_logbook_is_the_run_and_its_events_the_same(book: bb.Logbook) -> None:
    record = book.runs("NB-03").query("source_name == @LOG.name").iloc[0]
    run = bb.read_log(LOG, engine="NB-03", timezone="Europe/Berlin")
    assert run.info.run_id == record["run_id"]
    pd.testing.assert_frame_equal(run.to_pandas(), book.run(record["run_id"]).to_pandas())
    found = bb.detect(run, bb.read_spec(SPEC))
    assert list(found) == list(book.events())
    assert found.dtypes.equals(book.events().dtypes)
    over = found[found["kind"] == "over_rev"]  # no learned surface bears on them
    kept = book.events("NB-03", kind="over_rev").query("run_id == @run.info.run_id")
    assert list(over["event_id"]) == list(kept["event_id"])


def test_what_cannot_be_read_is_refused_with_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(bb.LogRefusedError, match=r"gone\.csv"):
        bb.read_log(tmp_path / "gone.csv")
    with pytest.raises(bb.SettingsError, match="Mars"):
        bb.read_log(LOG, timezone="Mars/North")
    with pytest.raises(bb.LogbookError, match=r"gone\.toml"):
        bb.read_spec(tmp_path / "gone.toml")
    with pytest.raises(bb.LogbookError, match="not a logbook"):
        bb.open_logbook(tmp_path)
    assert issubclass(bb.RunFileError, bb.BabbittError)


def test_the_example_in_the_readme_runs(bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import matplotlib as mpl

    mpl.use("agg")
    monkeypatch.chdir(bench)
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"^```python\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL)
    assert len(example.splitlines()) < 10
    names: dict[str, object] = {}
    exec(compile(example, "README.md", "exec"), names)  # what people are told to type
    assert len(names["bad"]) > 0  # type: ignore[arg-type]
    assert list(names["found"]) == list(names["bad"])  # type: ignore[call-overload]


TYPED = """
import babbitt as bb
import pandas as pd

book: bb.Logbook = bb.open_logbook("engines")
events: pd.DataFrame = book.events(engine="NB-03", since="2026-06-12", kind="over_rev")
run: bb.Run = bb.read_log("friday.csv")
spec: bb.EngineSpec = bb.read_spec("nb-03.toml")
frame: pd.DataFrame = bb.detect(run, spec)
frame = run.to_pandas()
reveal_type(bb.detect)
bb.detect(run)
book.events(kid="over_rev")
"""


def test_a_user_s_code_is_checked_against_its_types(tmp_path: Path) -> None:
    (tmp_path / "notebook.py").write_text(TYPED, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent", "notebook.py"],
        cwd=tmp_path,
        env={"MYPYPATH": str(ROOT / "pipeline"), "PATH": ""},
        capture_output=True,
        text=True,
        check=False,
    )
    lines = [line.split(": ", 1)[0] for line in done.stdout.splitlines() if " error: " in line]
    assert lines == ["notebook.py:12", "notebook.py:13"], done.stdout + done.stderr
