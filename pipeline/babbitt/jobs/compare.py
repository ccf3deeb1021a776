"""Two runs at one circuit, beside one another corner by corner."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from babbitt.errors import RegisterError
from babbitt.laps.compare import CHANNELS, CornerChange, compare_corners, corner_samples
from babbitt.logbook.folder import Logbook
from babbitt.model.circuit import same_circuit
from babbitt.model.layout import Layout
from babbitt.model.records import RunRecord
from babbitt.register.records import layouts, runs


@dataclass(frozen=True)
class Comparison:
    """Oil pressure of a later run in each corner against an earlier one.

    Attributes:
        earlier: the run that is held against.
        later: the run that is looked at.
        layout: of the earlier.
        names: of the corners that have one.
        corners: those that both went through at like engine speed and oil temperature.
    """

    earlier: RunRecord
    later: RunRecord
    layout: Layout
    names: Mapping[int, str]
    corners: tuple[CornerChange, ...]


def compare_runs(book: Logbook, one: str, other: str) -> Comparison:
    """Compare two runs by place, the one that was driven later against the other.

    Args:
        book: the logbook.
        one: a run, or the beginning of its id.
        other: likewise.

    Raises:
        RegisterError: no such run, one has no laps or no oil pressure, or they were not on one
            course.
        RunFileError: a file is missing or damaged.
    """
    with book.register.reading() as session:
        records = runs.find_run(session, one), runs.find_run(session, other)
        earlier, later = sorted(records, key=lambda record: record.started_at)
        found = layouts.layouts_of(session, {earlier.run_id, later.run_id})
        names = layouts.corner_names(session, earlier.circuit) if earlier.circuit else {}
    for record in (earlier, later):
        if record.run_id not in found:
            raise RegisterError(f"Run {record.run_id} has no laps: it has no places to compare.")
    _refuse_elsewhere(earlier, later, found)
    samples = []
    for record in (earlier, later):
        parts = book.run_parts(record.engine_id, record.run_id, CHANNELS)
        made = corner_samples(parts, found[record.run_id])
        if made is None:
            raise RegisterError(
                f"Run {record.run_id} has no oil pressure in a corner of a whole lap: there is "
                "nothing to compare."
            )
        samples.append(made)
    changes = compare_corners(samples[0], samples[1])
    return Comparison(earlier, later, found[earlier.run_id], names, changes)


def _refuse_elsewhere(earlier: RunRecord, later: RunRecord, found: Mapping[str, Layout]) -> None:
    if earlier.run_id == later.run_id:
        raise RegisterError("Name two runs: a run is like itself.")
    ways = [
        [corner.direction for corner in found[record.run_id].corners] for record in (earlier, later)
    ]
    if not same_circuit(earlier.circuit, later.circuit) or ways[0] != ways[1]:
        raise RegisterError(
            f"The runs {earlier.run_id} and {later.run_id} were not on one course: say where each "
            "was, if they were."
        )
