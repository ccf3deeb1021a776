"""A real watch of a real folder: every log that lands is taken in once, whatever happens to it."""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from shop import SCRIPT, LogWriter, Shop

PATIENCE_S = 60.0
STEADY_S = 1.5

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGINT to send")


class Watch:
    """A running watch, and the lines that it prints."""

    def __init__(self, shop: Shop, folder: Path, *words: str) -> None:
        environment = {k: v for k, v in os.environ.items() if k != "BABBITT_LOGBOOK"}
        self.process = subprocess.Popen(
            [
                *(SCRIPT, "--logbook", shop.book, "watch", folder, "--engine", "E1"),
                *("--steady", str(STEADY_S), *words),
            ],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            env={**environment, "PYTHONIOENCODING": "utf-8"},
        )
        self.lines: queue.Queue[str] = queue.Queue()
        self.reader = threading.Thread(target=self._read)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        with self.process.stdout as stream:
            for line in stream:
                self.lines.put(line.rstrip("\n"))

    def says(self, *words: str) -> str:
        """Wait for the next line, and make sure that it holds every one of the words."""
        line = self.lines.get(timeout=PATIENCE_S)
        assert all(word in line for word in words), line
        return line

    def ends(self, by: signal.Signals) -> None:
        """End it, and make sure that it ends well, and had nothing more to say."""
        self.process.send_signal(by)
        assert self.process.wait(PATIENCE_S) == 0
        self.reader.join(PATIENCE_S)
        self.says("Stopped watching")
        assert self.lines.empty(), self.lines.get()


@contextmanager
def watching(shop: Shop, folder: Path, *words: str) -> Iterator[Watch]:
    watch = Watch(shop, folder, *words)
    try:
        watch.says("Watching", str(folder))
        yield watch
    finally:
        watch.process.kill()
        watch.process.wait(PATIENCE_S)
        watch.reader.join(PATIENCE_S)


def names(shop: Shop) -> list[str]:
    return sorted(run["source_name"] for run in shop("run", "list", "--json").json)


def test_logs_are_taken_in_once_as_they_land(
    shop: Shop, write_log: LogWriter, tmp_path: Path
) -> None:
    folder, away = tmp_path / "card", tmp_path / "away"
    folder.mkdir()

    def land(name: str, day: int) -> Path:
        log = write_log(f"new-{name}", start=f"2026-05-{day:02d}T10:00:00Z")
        return log.rename(folder / name)

    land("a.csv", 1)
    with watching(shop, folder) as watch:
        watch.says("a.csv", "run r", "60 s")

        text = write_log("whole.csv", start="2026-05-02T10:00:00Z").read_text()
        with (folder / "b.csv").open("w") as file:  # for longer than a log must be steady
            for start in range(0, len(text), len(text) // 10):
                file.write(text[start : start + len(text) // 10])
                file.flush()
                time.sleep(STEADY_S / 6)
        watch.says("b.csv", "run r", "60 s")

        (folder / "c.csv").write_text("not a log\n")
        watch.says("c.csv", "refused", "no table")

        land("a.csv", 3)  # another under the same name
        watch.says("a.csv", "run r", "60 s")

        folder.rename(away)
        watch.says(str(folder), "waiting for it")
        write_log("d.csv", start="2026-05-04T10:00:00Z").rename(away / "d.csv")
        away.rename(folder)
        watch.says("is there again")
        watch.says("d.csv", "run r", "60 s")
        watch.ends(signal.SIGINT)

    land("e.csv", 5)
    with watching(shop, folder) as watch:
        watch.says("3 logs there were taken in before")
        watch.says("c.csv", "refused")
        watch.says("e.csv", "run r", "60 s")
        watch.ends(signal.SIGTERM)
    assert names(shop) == ["a.csv", "a.csv", "b.csv", "d.csv", "e.csv"]
    assert shop("verify", "--json").json == {"runs": 5, "faults": [], "unfinished": []}
