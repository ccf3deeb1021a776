"""Is the logbook whole? Every file against the register, and the register against itself."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.errors import BabbittError
from pipeline.logbook import Logbook
from pipeline.register import runs, teardowns
from pipeline.register.values import RunRecord


@dataclass(frozen=True)
class Verified:
    """What a check of a logbook found.

    Attributes:
        runs: how many logged runs were read in full.
        faults: what is wrong, a sentence each; none where the logbook is whole.
    """

    runs: int
    faults: tuple[str, ...]


def verify(
    book: Logbook,
    *,
    track: Callable[[Iterable[RunRecord], int], Iterable[RunRecord]] = lambda items, _: items,
) -> Verified:
    """Read everything that a logbook holds, and compare it with the register.

    Args:
        book: the logbook.
        track: passes the records through, and is told their number; for a progress bar.
    """
    faults = list(book.register.faults())
    with book.register.reading() as session:
        records = [r for r in runs.list_runs(session, include_removed=True) if not r.unlogged]
        photos = sorted(teardowns.kept_photos(session))
    for record in track(records, len(records)):
        faults += _faults_of(book, record)
    faults += [fault for name in photos for fault in _photo_faults(book, name)]
    faults += _strangers(book, records, photos)
    return Verified(len(records), tuple(faults))


def _faults_of(book: Logbook, record: RunRecord) -> list[str]:
    faults = []
    if record.judged_by is None and record.removed_at is None:
        faults.append(
            f"Run {record.run_id} was not searched for events yet: repeat `babbitt detect`."
        )
    try:
        run = book.read_run(record.engine_id, record.run_id)
        if (run.info.run_id, run.info.source_sha256) != (record.run_id, record.source_sha256):
            faults.append(
                f"{book.run_path(record.engine_id, record.run_id)} is another run than its name "
                "says: restore it from a backup."
            )
        elif len(run.time_s) != record.samples or not (np.diff(run.time_s) > 0.0).all():
            faults.append(
                f"{book.run_path(record.engine_id, record.run_id)} has other samples than were "
                "written: restore it from a backup."
            )
    except BabbittError as error:
        faults.append(str(error))
    try:
        if record.source_sha256 is not None:
            kept = hashlib.sha256(book.read_original(record.source_sha256)).hexdigest()
            if kept != record.source_sha256:
                faults.append(
                    f"The kept log of run {record.run_id} ({record.source_name}) is not what came "
                    "in: restore it from a backup."
                )
    except BabbittError as error:
        faults.append(str(error))
    return faults


def _photo_faults(book: Logbook, name: str) -> list[str]:
    """Compare a photo with its name, which is its hash."""
    path = book.photo_path(name)
    try:
        whole = hashlib.sha256(path.read_bytes()).hexdigest() == path.stem
    except OSError:
        return [f"The photo {path} of a finding is missing: restore it from a backup."]
    return [] if whole else [f"The photo {path} is not what came in: restore it from a backup."]


def _strangers(book: Logbook, records: Iterable[RunRecord], photos: Iterable[str]) -> list[str]:
    """Name the files that the register knows nothing of."""
    known: set[Path] = set()
    for record in records:
        known.add(book.run_path(record.engine_id, record.run_id))
        known.add(book.original_path(record.source_sha256 or ""))
    for name in photos:
        known |= {book.photo_path(name), book.thumbnail_path(name)}
    found = [
        path
        for folder in ("runs", "originals", "photos")
        for path in sorted((book.root / folder).rglob("*"))
        if path.is_file() and path not in known
    ]
    return [
        f"{path} is in no record, left by a command that was cut off: repeat that command, "
        "or delete the file."
        for path in found
    ]
