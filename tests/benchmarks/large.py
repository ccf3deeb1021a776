"""Ingest of a 2 GB log in a process of its own: its peak memory, and megabytes a second.

``python tests/benchmarks/large.py [GB]``; the logs are made in a temporary folder, and go with it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
from season import RATE_HZ, SPEC, make_run

CHUNK = 250_000
HEADERS = {
    "rpm": "RPM (1/min)",
    "oil_pressure": "Oil Press (kPa)",
    "oil_temperature": "Oil Temp (°C)",
    "coolant_temperature": "Coolant Temp (°C)",
    "boost": "Boost (kPa)",
    "lateral_g": "Lateral G (g)",
}
EVERY = {"oil_temperature": 10, "coolant_temperature": 50, "boost": 2, "lateral_g": 4}
"""Every so many rows a slower channel of the mixed log has a sample."""

BABBITT = [sys.executable, "-c", "from babbitt.commands.cli import main; main()"]

REACH_MB, AIM_MB = 600, 300


def write_log(path: Path, size: int, *, mixed: bool) -> None:
    """Write a log of about `size` bytes.

    Args:
        path: of the file.
        size: in bytes.
        mixed: decimal commas, semicolons, and channels of several rates; else the plain dialect.
    """
    run = make_run(CHUNK)
    columns = {}
    for name, signal in run.signals.items():
        blank = np.arange(CHUNK) % (EVERY.get(name, 1) if mixed else 1) != 0
        columns[HEADERS[name]] = pa.array(signal.values, mask=blank)
    with path.open("wb") as file:
        chunk = 0
        while file.tell() < size:
            time_s = (run.time_s + chunk * CHUNK / RATE_HZ).round(2)
            buffer = pa.BufferOutputStream()
            options = pa.csv.WriteOptions(include_header=chunk == 0, quoting_style="needed")
            pa.csv.write_csv(pa.table({"Time (s)": time_s, **columns}), buffer, options)
            text = buffer.getvalue().to_pybytes()
            file.write(text.translate(bytes.maketrans(b",.", b";,")) if mixed else text)
            chunk += 1


def measure(log: Path, book: Path) -> tuple[float, float]:
    """Ingest a log by the command line.

    Returns:
        Peak memory of the process in MB, and seconds.
    """
    began = time.perf_counter()
    given = ["ingest", str(log), "--engine", "E1", "--logbook", str(book)]
    with subprocess.Popen([*BABBITT, *given], stdout=subprocess.DEVNULL) as process:
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"the ingest of {log} ended with {process.returncode}")
    return usage.ru_maxrss / 1024, time.perf_counter() - began


def main() -> int:
    """Measure both dialects, each in a logbook of its own; 1 where the reach is missed."""
    size = round(float(sys.argv[1] if len(sys.argv) > 1 else "2") * 1e9)
    missed = False
    for mixed in (False, True):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            if shutil.disk_usage(folder).free < 4 * size:
                print(f"{folder} has less than {4 * size / 1e9:.0f} GB free: set TMPDIR.")
                return 1
            log, spec, book = folder / "log.csv", folder / "engine.toml", folder / "book"
            # In a process of its own: this one's memory would count as its children's.
            with ProcessPoolExecutor(1) as maker:
                maker.submit(write_log, log, size, mixed=mixed).result()
            spec.write_text(SPEC)
            add = ["engine", "add", "E1", "--spec", str(spec), "--logbook", str(book)]
            for command in (["new", str(book)], add):
                subprocess.run([*BABBITT, *command], check=True, stdout=subprocess.DEVNULL)
            megabytes = log.stat().st_size / 1e6
            peak, seconds = measure(log, book)
            missed |= peak > REACH_MB
            what = "decimal comma, mixed rates" if mixed else "plain"
            print(
                f"{what:<28} {megabytes:7,.0f} MB in {seconds:5.1f} s, {megabytes / seconds:4.0f} "
                f"MB/s, peak {peak:4.0f} MB (reach {REACH_MB}, aim {AIM_MB})",
                flush=True,
            )
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
