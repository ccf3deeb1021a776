"""How long the parts of the job take as a logbook grows: 10, 100, 1,000 and 10,000 runs.

``python tests/benchmarks/growth.py [--most RUNS] [--table FILE.md]``; runs are invented and short,
so that what grows is their number.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from ratios import as_markdown, publish
from season import SPEC
from test_bench_pages import first_page

from babbitt.commands.totals import totals_of
from babbitt.ingest.source import Instructions
from babbitt.jobs.backlog import in_order, process_pool, take_in
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import incoming_folder, ingest_log
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.model.kinds import KINDS
from babbitt.present.views.fleet import fleet
from babbitt.present.views.foresight import Foresight
from babbitt.register.records import builds, engines
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk

STEPS = (10, 100, 1_000, 10_000)
ENGINES = 10
EACH_BUILD = timedelta(days=60)
BEGAN = datetime(2020, 1, 1, tzinfo=UTC)
SAMPLES = 600
TIMES = 5
TOML = SPEC + "[life]\n" + "".join(f"{kind} = 1000.0\n" for kind in KINDS)
NAMES = tuple(f"E{n:02d}" for n in range(ENGINES))


def write_log(folder: Path, number: int, at: datetime) -> Path:
    """Write a log of a minute at 10 Hz, with an over-rev in it."""
    rng = np.random.default_rng(number)
    seconds = np.arange(SAMPLES) / 10.0
    rpm = 5000.0 + 2000.0 * np.sin(seconds / 3.0) + rng.normal(0.0, 10.0, SAMPLES)
    rpm[300:306] = 7900.0
    pressure = 150.0 + 0.05 * rpm + rng.normal(0.0, 3.0, SAMPLES)
    lines = [f"Start,{at:%Y-%m-%dT%H:%M:%SZ}", "Time (s),RPM (1/min),Oil Press (kPa),Oil Temp (°C)"]
    lines += [f"{t:.1f},{n:.0f},{p:.1f},95" for t, n, p in zip(seconds, rpm, pressure, strict=True)]
    path = folder / f"{number:06d}.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def at(number: int) -> datetime:
    """When a run began: the engines take turns, a run each every six hours."""
    return BEGAN + timedelta(hours=6 * (number // ENGINES), minutes=number % ENGINES)


def grow(book: Logbook, folder: Path, have: int, count: int) -> None:
    """Take in logs until there are so many runs."""
    with incoming_folder(book) as incoming, process_pool(2) as pool:
        for place, name in enumerate(NAMES):
            numbers = [n for n in range(have, count) if n % ENGINES == place]
            logs = [write_log(folder, n, at(n)) for n in numbers]
            apply = in_order(pool, 16)
            for intake in take_in(book, logs, Instructions(engine_id=name), incoming, apply=apply):
                if intake.status != "ingested":
                    raise SystemExit(f"{intake.file}: {intake.error}")
            for log in logs:
                log.unlink()
            judge_engine(book, name, apply=apply)
    refresh(book, count)


def refresh(book: Logbook, count: int) -> None:
    """Rebuild every engine each EACH_BUILD of its running so far."""
    with book.register.writing() as session:
        for name in NAMES:
            known = len(builds.builds_of(session, name))
            for build in range(known, 1 + (at(count) - BEGAN) // EACH_BUILD):
                builds.add_refresh(session, name, BEGAN + build * EACH_BUILD)
    for name in NAMES:
        judge_engine(book, name)


def median_ms(function: Callable[[], object], times: int = TIMES) -> float:
    """Return the median of so many calls, in ms."""
    spent = []
    for _ in range(times):
        began = time.perf_counter()
        function()
        spent.append(1e3 * (time.perf_counter() - began))
    return statistics.median(spent)


def one_more(book: Logbook, folder: Path, count: int) -> float:
    """Return how long it takes to take in one log, in ms: the last of its engine, and the next."""
    spent = []
    for more in range(TIMES):
        log = write_log(folder, count + more, at(count + more))
        name = NAMES[(count + more) % ENGINES]
        began = time.perf_counter()
        if ingest_log(book, log, Instructions(engine_id=name)).status != "ingested":
            raise SystemExit(f"{log} was not taken in")
        spent.append(1e3 * (time.perf_counter() - began))
    return statistics.median(spent)


def search_all(book: Logbook, redline_rpm: int) -> None:
    """Search every run anew, for a redline that was moved."""
    for name in NAMES:
        with book.register.writing() as session:
            toml = TOML.replace("redline_rpm = 7600", f"redline_rpm = {redline_rpm}")
            engines.set_spec(session, name, toml)
        judge_engine(book, name)


def measure(most: int, folder: Path) -> list[tuple[str, ...]]:
    """Return a row for every part of the job, a column for every size."""
    book = create_logbook(folder / "book", settings_text())
    with book.register.writing() as session:
        for name in NAMES:
            engines.add_engine(session, name, TOML, built_at=BEGAN)
    rows: dict[str, list[str]] = {}
    have = 0

    def keep(what: str, ms: float) -> None:
        rows.setdefault(what, []).append(f"{ms:,.0f} ms")

    for count in [step for step in STEPS if step <= most]:
        grow(book, folder, have, count)
        now = at(count) + timedelta(days=1)
        client = make_app(Desk(book, lambda now=now: now, "Ann")).server.test_client()
        keep("taking in one more log", one_more(book, folder, count))
        have = count + TIMES
        began = time.perf_counter()
        search_all(book, 7500 + len(rows["taking in one more log"]))
        keep("searching all runs for a moved redline", 1e3 * (time.perf_counter() - began))
        keep("totals of all engines", median_ms(lambda: totals_of(book, None)))
        keep(
            "outlook of all engines",
            median_ms(lambda now=now: fleet(Foresight(book).at(now), runs=1), times=1),
        )
        keep("first page, once it was worked out", median_ms(lambda c=client: first_page(c)))
        print(f"{count:,} runs: { ({what: row[-1] for what, row in rows.items()}) }", flush=True)
    return [(what, *row) for what, row in rows.items()]


def main() -> int:
    """Measure, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=STEPS[-1])
    parser.add_argument("--table", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        rows = measure(given.most, Path(name))
    headings = ("what", *(f"{step:,} runs" for step in STEPS if step <= given.most))
    table = as_markdown("A logbook that grows", headings, rows)
    publish(table, given.table)
    return 0


if __name__ == "__main__":
    sys.exit(main())
