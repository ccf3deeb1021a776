"""On paper: a series of 1,000 engines that logs 20 TB a year, worked off weekend by weekend.

``python tests/benchmarks/series.py [--table FILE.md]`` simulates the tasks of one weekend with the
costs that the other benchmarks measured here: logs are read and runs searched by any number of
workers; one process records the logs in their order, and the register lets one write after the
other.
"""

from __future__ import annotations

import argparse
import heapq
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from ratios import as_markdown, publish

ENGINES = 1_000
BYTES_A_YEAR = 20e12
WEEKENDS = 40
LOG_BYTES = 50e6
"""Some 20 minutes at 1 kHz, or three hours at 100 Hz."""
WORKERS = (1, 2, 8, 32, 128, 512)

STORAGE_USD_PER_GB_MONTH = 0.023  # object storage, from memory
CORE_USD_PER_HOUR = 0.05  # a core of a rented machine, from memory


@dataclass(frozen=True)
class Costs:
    """What one task takes on one core of the machine that was measured on, in seconds.

    Attributes:
        read_s_per_mb: of CSV: hash, parse, normalise, write.
        record_s: a log, by the one process that records.
        search_s_per_mb: of CSV: the events and the exposure of a run.
        write_s: the events of a run, while the register is locked.
        outlook_s: an engine's outlook.
        kept_share: bytes of run and original, of the bytes of the CSV.
    """

    read_s_per_mb: float
    record_s: float
    search_s_per_mb: float
    write_s: float
    outlook_s: float
    kept_share: float


MEASURED = Costs(
    read_s_per_mb=1 / 40.0,  # test_bench_ingest, plain: 100 MB in 2.5 s
    record_s=0.015,  # flow.record of 150 small logs, one by one, on 2026-11-29
    search_s_per_mb=1 / 151.0,  # reading, detect_parts and summarise of a million samples, 43 MB
    write_s=0.004,  # events.replace_events of the same 150 runs
    outlook_s=0.032,  # test_bench_outlook: 50 engines in 1.6 s
    kept_share=0.52,  # whole_season.py, 2 million samples
)


def in_order(task_s: Sequence[float], workers: int, then_s: float, ahead: int) -> float:
    """Return when the last of some tasks is dealt with.

    Args:
        task_s: what each takes on a worker, in their order.
        workers: how many work at once.
        then_s: what one process takes for each afterwards, in their order.
        ahead: so many tasks are handed out before the first answer is dealt with.
    """
    free = [0.0] * workers
    heapq.heapify(free)
    dealt_with: list[float] = []
    for place, seconds in enumerate(task_s):
        handed_out = dealt_with[place - ahead] if place >= ahead else 0.0
        done = max(heapq.heappop(free), handed_out) + seconds
        heapq.heappush(free, done)
        dealt_with.append(max(done, dealt_with[-1] if dealt_with else 0.0) + then_s)
    return dealt_with[-1] if dealt_with else 0.0


def locked(task_s: Sequence[float], workers: int, write_s: float) -> float:
    """Return when the last of some tasks is written; workers write, one after the other."""
    free = [0.0] * workers
    heapq.heapify(free)
    written = 0.0
    for seconds in task_s:
        done = heapq.heappop(free) + seconds
        written = max(done, written) + write_s
        heapq.heappush(free, written)
    return written


def weekend(costs: Costs, workers: int, logs: int, log_mb: float) -> tuple[float, float]:
    """Return the seconds until the logs of a weekend are recorded, and then searched."""
    recorded = in_order([costs.read_s_per_mb * log_mb] * logs, workers, costs.record_s, 8 * workers)
    searched = locked([costs.search_s_per_mb * log_mb] * logs, workers, costs.write_s)
    return recorded, searched


def rows(costs: Costs) -> Iterator[tuple[str, ...]]:
    """Yield the table: how long a weekend takes with so many workers, and what holds it up."""
    bytes_a_weekend = BYTES_A_YEAR / WEEKENDS
    logs = round(bytes_a_weekend / LOG_BYTES)
    log_mb = LOG_BYTES / 1e6
    for workers in WORKERS:
        recorded, searched = weekend(costs, workers, logs, log_mb)
        serial = logs * (costs.record_s + costs.write_s)
        read_s = logs * log_mb * (costs.read_s_per_mb + costs.search_s_per_mb) / workers
        held_up_by = "reading and searching" if read_s > serial else "recording, one by one"
        yield (
            f"{workers}",
            f"{recorded / 3600:,.2f} h",
            f"{searched / 3600:,.2f} h",
            f"{bytes_a_weekend / 1e9 / (recorded + searched) * 3600:,.0f} GB/h",
            held_up_by,
        )


def costs_of_a_year(costs: Costs) -> list[str]:
    """Return what a year costs, a sentence each."""
    megabytes = BYTES_A_YEAR / 1e6
    core_h = megabytes * (costs.read_s_per_mb + costs.search_s_per_mb) / 3600
    kept_gb = BYTES_A_YEAR * costs.kept_share / 1e9
    core_usd, kept_usd = core_h * CORE_USD_PER_HOUR, kept_gb * STORAGE_USD_PER_GB_MONTH
    return [
        f"Reading and searching a year: {core_h:,.0f} core hours, {core_usd:,.0f} USD.",
        f"Kept of a year: {kept_gb / 1000:,.1f} TB, {kept_usd:,.0f} USD a month more each year.",
        f"Every outlook anew: {ENGINES * costs.outlook_s:,.0f} s on one core.",
    ]


def main() -> int:
    """Simulate, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--table", type=Path)
    given = parser.parse_args()
    headings = ("workers", "recorded after", "searched after that", "in all", "held up by")
    title = f"A weekend of {ENGINES:,} engines, {BYTES_A_YEAR / WEEKENDS / 1e9:,.0f} GB"
    about = "Simulated with costs measured by the other benchmarks (`series.py` names them)."
    page = as_markdown(title, headings, rows(MEASURED), about=about)
    page += "\n" + "\n".join(f"- {line}" for line in costs_of_a_year(MEASURED)) + "\n"
    publish(page, given.table)
    return 0


if __name__ == "__main__":
    sys.exit(main())
