"""What becomes of a log that was to be taken in, and what is remembered of one that was refused."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from babbitt.errors import BabbittError, LogbookError, LogRefusedError, Remedy, SettingsError
from babbitt.model.circuit import same_circuit
from babbitt.model.plain_text import visible
from babbitt.model.records import RunRecord
from babbitt.model.sensor_doubt import SensorDoubt
from babbitt.register.records.refusals import Refusal


@dataclass(frozen=True)
class Intake:
    """What became of one log.

    Attributes:
        file: as the user named it.
        status: ingested, duplicate (the same bytes are a run already) or refused.
        engine_id: whose run it is, None where refused.
        run_id: of the run, None where refused.
        rows: samples on the run's time base.
        duration_s: of the run.
        channels: those of the run, in the order of the log.
        warnings: what a reader of the run should know, a sentence each.
        doubts: what speaks against its sensors or clock.
        error: why it was refused, one sentence.
        remedies: that would settle a refusal.
        profile: name of the logger profile it was read by, None where there is none.
        later: nothing is wrong with the log itself: it may be taken in when tried again.
        sha256: of its bytes; None where nothing is kept of it, not even that it was refused.
    """

    file: str
    status: Literal["ingested", "duplicate", "refused"]
    engine_id: str | None = None
    run_id: str | None = None
    rows: int | None = None
    duration_s: float | None = None
    channels: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    doubts: tuple[SensorDoubt, ...] = ()
    error: str | None = None
    remedies: tuple[Remedy, ...] = ()
    profile: str | None = None
    later: bool = False
    sha256: str | None = None


@dataclass(frozen=True)
class Refused:
    """A log that was refused for what is in it, which is not written down yet.

    Attributes:
        intake: what became of it.
        refusal: what is to be remembered of that.
    """

    intake: Intake
    refusal: Refusal


def refused(path: Path, error: BabbittError) -> Intake:
    """Return what became of a log that was refused.

    Args:
        path: as the user named it.
        error: why.
    """
    later = isinstance(error, LogbookError) or (isinstance(error, LogRefusedError) and error.later)
    said = visible(str(error))  # it names the log, and a log may be called anything
    return Intake(str(path), "refused", error=said, remedies=error.remedies, later=later)


def held_back(
    path: Path, error: BabbittError, sha256: str, name: str, engine_id: str
) -> Refused | Intake:
    """Return what became of a log that was refused, to be remembered where the log is the reason.

    It is not where the moment was wrong, or what was said of the log.

    Args:
        path: as the user named it.
        error: why.
        sha256: of its bytes.
        name: its file name.
        engine_id: the engine that it was to be taken in for.
    """
    intake = refused(path, error)
    if intake.later or isinstance(error, SettingsError):
        return intake
    refusal = Refusal(
        sha256, name, engine_id, str(intake.error), intake.remedies, datetime.now(UTC)
    )
    return Refused(replace(intake, sha256=sha256), refusal)


def duplicate(path: Path, known: RunRecord, engine_id: str, circuit: str | None = None) -> Intake:
    """Return what became of a log whose bytes are a run already.

    Args:
        path: as the user named it.
        known: the run.
        engine_id: the engine that it was to be taken in for.
        circuit: where it was recorded, as was stated with it; None: nothing was.
    """
    said = []
    if known.engine_id != engine_id:
        said.append(
            f"The same log is a run of engine {known.engine_id}; if {engine_id} made it: "
            f"`babbitt run assign {known.run_id} --engine {engine_id}`."
        )
    if circuit and not same_circuit(known.circuit, circuit):
        said.append(
            f"The same log is a run at {known.circuit or 'a circuit that nobody named'}; if it was "
            f'at {circuit}: `babbitt run correct {known.run_id} --circuit "{circuit}"`.'
        )
    return Intake(
        str(path),
        "duplicate",
        engine_id=known.engine_id,
        run_id=known.run_id,
        rows=known.samples,
        duration_s=known.duration_s,
        channels=tuple(channel.name for channel in known.channels),
        warnings=tuple(said),
        sha256=known.source_sha256,
    )
