"""A made-up log through the whole job: written, taken in, searched; what was found."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt

from babbitt.ingest.source import Instructions
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import ingest_log
from babbitt.logbook.folder import Logbook, create_logbook, settings_text
from babbitt.model.event import Event
from babbitt.register.records import engines, events
from invented import SPEC

HEADERS = {
    "rpm": "RPM (1/min)",
    "oil_pressure": "Oil Press (kPa)",
    "oil_temperature": "Oil Temp (°C)",
    "coolant_temperature": "Coolant Temp (°C)",
    "boost": "Boost (kPa)",
    "lateral_g": "Lateral G (g)",
    "longitudinal_g": "Longitudinal G (g)",
    "throttle": "Throttle (%)",
    "speed": "Speed (km/h)",
}
FIRST = datetime(2026, 5, 1, 10, tzinfo=UTC)

Channels = Mapping[str, npt.ArrayLike]


def lively(values: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return readings that move by 0.02 % of themselves, as those of a sound sensor do."""
    moved: npt.NDArray[np.float64] = np.asarray(values, float)
    return moved * (1.0 + 2e-4 * np.sin(np.arange(len(moved)) * 2.0))


class JudgedLogs:
    """A logbook of one engine, and the logs that it was given, an hour apart."""

    def __init__(self, folder: Path, spec: str = SPEC) -> None:
        self._folder = folder
        self.book: Logbook = create_logbook(folder / "book", settings_text())
        with self.book.register.writing() as session:
            engines.add_engine(session, "E1", spec)
        self._logs = 0

    def take_in(self, time_s: npt.NDArray[np.float64], channels: Channels) -> str:
        """Take a log in, search it, and return the id of its run.

        Args:
            time_s: from 0 on, rising; shape (samples,).
            channels: in canonical units, shape (samples,) each, or a number that hardly moves.
        """
        started = FIRST + timedelta(hours=4 * self._logs)
        columns = [
            np.asarray(each, float) if np.ndim(each) else lively(np.full(len(time_s), each))
            for each in channels.values()
        ]
        rows = np.column_stack([time_s, *columns])
        head = ["Time (s)", *(HEADERS[name] for name in channels)]
        lines = [f"Start,{started.isoformat()}", ",".join(head)]
        lines += [",".join(f"{value:.10g}" for value in row) for row in rows]
        log = self._folder / f"log{self._logs}.csv"
        log.write_text("\n".join(lines) + "\n", encoding="utf-8")
        self._logs += 1
        intake = ingest_log(self.book, log, Instructions(engine_id="E1"))
        assert intake.status == "ingested", intake.error
        judged = judge_engine(self.book, "E1")
        assert judged.failures == ()
        assert intake.run_id is not None
        return intake.run_id

    def events(self, run_id: str) -> list[Event]:
        """Return what was found in a run."""
        with self.book.register.reading() as session:
            return [each.event for each in events.list_events(session, run_id=run_id)]
