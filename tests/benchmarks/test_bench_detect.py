"""Detection and exposure against reading the same columns, and detection against pandas."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from pandas_script import find_events, frame_of
from ratios import paired_seconds
from season import make_run, make_spec

from babbitt.detect.judge import detect
from babbitt.detect.pressure import PressureSurface, learn_surface, steady_pressure
from babbitt.detect.watch import watched
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.run import Run
from babbitt.totals.exposure import expose
from run_files import write_run

SAMPLES = 1_400_000
ROUNDS = 9

Season = tuple[Run, EngineSpec, PressureSurface]


@pytest.fixture(scope="module")
def season() -> Season:
    run, spec = make_run(SAMPLES), make_spec()
    surface = learn_surface([steady_pressure(run, spec)], spec)
    assert surface is not None
    return run, spec, surface


def test_detection_and_exposure(benchmark, keep_row, season: Season, tmp_path: Path) -> None:
    run, spec, surface = season
    path = tmp_path / "run.parquet"
    write_run(run, path)

    def judge() -> None:
        detect(run, spec, surface)
        expose(run, spec, watched(run, spec))

    pairs = paired_seconds(judge, lambda: pq.read_table(path), rounds=ROUNDS)
    benchmark.pedantic(judge, rounds=1)
    keep_row(
        "detection and exposure / pyarrow reading the columns",
        [ours / reading for ours, reading in pairs],
        reach=5.0,
        aim=3.0,
    )


def test_detection_against_a_pandas_script(benchmark, keep_row, season: Season) -> None:
    run, spec, surface = season
    log = frame_of(run)

    pairs = paired_seconds(
        lambda: detect(run, spec, surface),
        lambda: find_events(log, spec, surface),
        rounds=ROUNDS,
    )
    events = benchmark.pedantic(detect, args=(run, spec, surface), rounds=1)

    by_script = Counter(find_events(log, spec, surface)["kind"])
    found = Counter(event.kind for event in events)
    assert len(by_script) >= 4
    assert {kind: found[kind] for kind in by_script} == dict(by_script)
    keep_row(
        "pandas script / detection of the same events",
        [script / ours for ours, script in pairs],
        reach=5.0,
        aim=10.0,
    )
