"""A log is read: its run becomes a file, and everything else that is kept of it small values."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from babbitt.ingest import kept
from babbitt.ingest.circuit import contradiction
from babbitt.ingest.read import open_run
from babbitt.ingest.source import Instructions, ReadSource
from babbitt.jobs.detect import summarise
from babbitt.logbook.run_file import RunWriter
from babbitt.logbook.safe_files import sync
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.exposure import Exposure
from babbitt.model.run import Run, RunOutline
from babbitt.sensors import summary
from babbitt.sensors.thin import Thinner


@dataclass(frozen=True)
class Reading:
    """What became of a log that was read, without the samples of its run.

    Attributes:
        run: without its samples.
        profile: name of the logger profile it was read by, None where there is none.
        exposure: what it put on the engine.
        steady: its steady oil pressures, under the key of what made them.
        sensors: what its sensors read, in a few numbers.
        read_as: how it was read.
        circuit: where it was recorded, as stated or else as the log says; None: nobody said.
        remarks: on what was stated, a sentence each.
    """

    run: RunOutline
    profile: str | None
    exposure: Exposure
    steady: str
    sensors: str
    read_as: dict[str, Any]
    circuit: str | None
    remarks: tuple[str, ...]


def read_into(
    run_path: Path,
    source: ReadSource,
    instructions: Instructions,
    spec: EngineSpec,
    *,
    folder: Path,
    told: Callable[[float], None] = lambda _: None,
) -> Reading:
    """Read a log, write its run as a file, and sum it up.

    Args:
        run_path: the file; on the disk when this returns.
        source: the log.
        instructions: how to read it, and for which engine.
        spec: of that engine.
        folder: for what of a long log does not fit into memory.
        told: is told the share of the samples that are written, from 0 to 1, again and again.

    Raises:
        LogRefusedError: the log cannot be read, or only by guessing.
        SettingsError: a channel or unit given does not exist.
    """
    with open_run(source, instructions, folder=folder) as run, RunWriter(run_path) as writer:
        outline = run.outline()
        thinner = Thinner(outline.samples, outline.duration_s)
        parts = writer.passing(thinner.passing(_telling(run.parts(), outline.samples, told)))
        exposure, steady = summarise(parts, run.info.run_id, spec)
        writer.finish(run.info)
        reading = Reading(
            run=run.outline(),
            profile=run.instructions.profile_name,
            exposure=exposure,
            steady=steady,
            sensors=summary.summarise(thinner.thinned()).to_json(),
            read_as=kept.to_json(run.instructions, source.modified_at),
            circuit=instructions.circuit or (run.noted.name if run.noted else None),
            remarks=contradiction(run.noted, instructions.circuit),
        )
    sync(run_path)
    return reading


def _telling(parts: Iterable[Run], samples: int, told: Callable[[float], None]) -> Iterator[Run]:
    """Yield parts, and tell how far they go."""
    done = 0
    for part in parts:
        yield part
        done += part.samples
        told(done / samples)
