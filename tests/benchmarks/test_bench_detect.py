"""How fast detection is, against reading the same columns and against a pandas script."""

from __future__ import annotations

import gc
import time
from collections import Counter

import pyarrow.parquet as pq
import pytest
from pandas_script import find_events, frame_of
from season import make_run, make_spec

from pipeline.detect.judge import detect
from pipeline.detect.pressure import learn_surface, steady_pressure
from pipeline.logbook import write_run

SAMPLES = 1_400_000
ROUNDS = 5
READ_REACH = 4.0
"""Detection takes no longer than so many times reading; exposure has the rest of 5."""
SCRIPT_REACH = 5.0


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    run, spec = make_run(SAMPLES), make_spec()
    path = tmp_path_factory.mktemp("runs") / "run.parquet"
    write_run(run, path)
    surface = learn_surface([steady_pressure(run, spec)], spec)
    assert surface is not None
    return run, spec, surface, path


def least_seconds(function, *args):
    """Shortest of ROUNDS calls, after one to warm up."""
    function(*args)
    gc.collect()
    seconds = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        function(*args)
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def test_detection_against_reading_the_same_columns(benchmark, season):
    run, spec, surface, path = season
    reading_s = least_seconds(pq.read_table, path)

    benchmark.pedantic(detect, args=(run, spec, surface), rounds=ROUNDS, warmup_rounds=1)

    ratio = benchmark.stats.stats.min / reading_s
    benchmark.extra_info["times as long as reading"] = round(ratio, 2)
    assert ratio < READ_REACH


def test_detection_against_a_pandas_script(benchmark, season):
    run, spec, surface, _ = season
    log = frame_of(run)
    script_s = least_seconds(find_events, log, spec, surface)

    events = benchmark.pedantic(detect, args=(run, spec, surface), rounds=ROUNDS, warmup_rounds=1)

    by_script = Counter(find_events(log, spec, surface)["kind"])
    found = Counter(event.kind for event in events)
    assert {kind: found[kind] for kind in by_script} == dict(by_script)
    assert len(by_script) >= 4
    ratio = script_s / benchmark.stats.stats.min
    benchmark.extra_info["times faster than the script"] = round(ratio, 2)
    assert ratio > SCRIPT_REACH
