"""A kind of harm is one entry and one detector: whatever lists kinds shows a made-up one too."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import babbitt as bb
from babbitt.commands.cli import main
from babbitt.detect.assemble import Detector, events_of, max_gap_s
from babbitt.detect.judge import DETECTORS
from babbitt.detect.spans import find_spans
from babbitt.ingest.source import Instructions
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import ingest_log
from babbitt.logbook.folder import Logbook
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.event import Event
from babbitt.model.kinds import KINDS, HarmKind
from babbitt.model.run import Run
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.pages import run as run_page
from babbitt_dashboard.pages import runs as runs_page
from dashboard_calls import text_of
from small_logs import make_book, write_log

HUM = "hum"
LIMIT_KPA = 403.5
NOW = datetime(2026, 6, 1, tzinfo=UTC)


def hums(run: Run, spec: EngineSpec) -> tuple[Event, ...]:
    """Where oil pressure is above a limit, which harms nobody."""
    oil = run.signals["oil_pressure"]
    spans = find_spans(
        run.time_s,
        oil.values - np.float32(LIMIT_KPA),
        release=0.0,
        merge_gap_s=60.0,
        min_duration_s=0.0,
        max_gap_s=max_gap_s(run, "oil_pressure"),
        usable=oil.usable(),
        long_steps=run.long_steps,
    )
    return events_of(
        run,
        spec,
        spans,
        [HUM] * len(spans),
        values=oil.values,
        peaks=spans.peaks(oil.values),
        doses=spans.integrate(np.positive, oil.values, degree=1),
    )


@pytest.fixture(autouse=True)
def made_up(monkeypatch: pytest.MonkeyPatch) -> None:
    about = HarmKind(
        title="oil hum",
        channel="oil_pressure",
        unit="kPa",
        worst="highest",
        dose_unit="kPa·s",
        needs=(),
        rests_on=("oil_pressure",),
        reads=("oil_pressure",),
        governed_by=("oil_pressure.relief_kpa",),
        least_duration=None,
    )
    detector = Detector(
        find=lambda run, spec, _surface, _conditions: hums(run, spec),
        released=lambda run, _spec, _: run.signals["oil_pressure"].values < LIMIT_KPA,
        channels=("oil_pressure",),
    )
    monkeypatch.setitem(KINDS, HUM, about)
    monkeypatch.setitem(DETECTORS, HUM, detector)


@pytest.fixture
def book(tmp_path: Path) -> Logbook:
    made = make_book(tmp_path / "book")
    log = write_log(tmp_path / "run.csv", "2026-05-01T10:00:00Z")
    assert ingest_log(made, log, Instructions(engine_id="E1")).status == "ingested"
    assert judge_engine(made, "E1").failures == ()
    return made


def said(book: Logbook, capsys: pytest.CaptureFixture[str], *words: object) -> str:
    """What a command prints; it runs in this process, which knows the made-up kind."""
    sys.argv = ["babbitt", "--logbook", str(book.root), *map(str, words)]
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code in (0, None)
    return capsys.readouterr().out


def asked(book: Logbook, capsys: pytest.CaptureFixture[str], *words: object) -> Any:
    return json.loads(said(book, capsys, *words, "--json"))


def test_its_events_are_found_and_listed(book: Logbook, capsys: pytest.CaptureFixture[str]) -> None:
    (event,) = asked(book, capsys, "events", "--kind", HUM)
    assert (event["kind"], event["peak"], event["dose_unit"]) == (HUM, 404.0, "kPa·s")
    assert "oil hum" in said(book, capsys, "events")


def test_they_are_in_the_totals(book: Logbook, capsys: pytest.CaptureFixture[str]) -> None:
    (totals,) = asked(book, capsys, "totals", "E1")
    assert totals["events"][HUM]["count"] == 1
    assert totals["events"][HUM]["watched_s"] > 0.0
    assert "oil hum" in said(book, capsys, "totals", "E1")


def test_they_are_on_the_pages(book: Logbook) -> None:
    desk = Desk(book, lambda: NOW, "a mechanic")
    make_app(desk)
    (run_id,) = bb.open_logbook(book.root).runs()["run_id"]
    assert "oil hum" in text_of(run_page.layout(desk, run_id)).casefold()
    assert "oil hum" in text_of(runs_page.layout(desk)).casefold()


def test_they_are_in_reports(
    book: Logbook, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (run_id,) = bb.open_logbook(book.root).runs()["run_id"]
    said(book, capsys, "report", "--run", run_id, "-o", tmp_path / "run.html")
    assert "il hum" in (tmp_path / "run.html").read_text(encoding="utf-8")


def test_they_are_exported_and_at_the_front_door(
    book: Logbook, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said(book, capsys, "export", tmp_path / "out", "--format", "csv")
    assert f",{HUM}," in (tmp_path / "out" / "event.csv").read_text(encoding="utf-8")
    assert f",{HUM}," in (tmp_path / "out" / "totals_kind.csv").read_text(encoding="utf-8")
    door = bb.open_logbook(book.root)
    assert len(door.events(kind=HUM)) == 1
    assert HUM in set(door.totals()["kind"])


def test_a_limit_that_governs_it_has_it_searched_for_again(book: Logbook) -> None:
    from babbitt.detect.governed import judged_key, stale_kinds
    from babbitt.model.engine_spec import parse_spec
    from invented import SPEC

    before = parse_spec(SPEC, source="a.toml")
    after = parse_spec(f"{SPEC}[oil_pressure]\nrelief_kpa = 500\n", source="a.toml")
    assert HUM in stale_kinds(judged_key(before, None), judged_key(after, None))
