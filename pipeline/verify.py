"""Is the logbook whole? Every file against the register, and the register against itself."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.errors import BabbittError
from pipeline.logbook import INCOMING, Logbook, saying_what_failed
from pipeline.register import runs, teardowns
from pipeline.register.values import RunRecord

_BLOCK = 1 << 20


@dataclass(frozen=True)
class Verified:
    """What a check of a logbook found.

    Attributes:
        runs: how many logged runs were read in full.
        faults: what is wrong, a sentence each; none where the logbook is whole.
        unfinished: what a command that was cut off left to be done; nothing is lost by it.
    """

    runs: int
    faults: tuple[str, ...]
    unfinished: tuple[str, ...] = ()


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
    unfinished = [
        f"Run {record.run_id} was not searched for events yet: repeat `babbitt detect`."
        for record in records
        if record.judged_by is None and record.removed_at is None
    ]
    unfinished += _strangers(book, records, photos)
    return Verified(len(records), tuple(faults), tuple(unfinished))


def _faults_of(book: Logbook, record: RunRecord) -> list[str]:
    faults = []
    try:
        samples, last_s, rising, known, same = 0, -np.inf, True, True, True
        for part in book.run_parts(record.engine_id, record.run_id):
            info = part.info
            known &= (info.run_id, info.source_sha256) == (record.run_id, record.source_sha256)
            same &= (info.started_at, info.conversions) == (record.started_at, record.conversions)
            rising &= bool((np.diff(part.time_s, prepend=last_s) > 0.0).all())
            samples, last_s = samples + part.samples, part.time_s[-1]
        if not known:
            faults.append(
                f"{book.run_path(record.engine_id, record.run_id)} is another run than its name "
                "says: restore it from a backup."
            )
        elif not same:
            faults.append(
                f"{book.run_path(record.engine_id, record.run_id)} was read otherwise than the "
                f"register says: `babbitt run reread {record.run_id}` mends that."
            )
        elif samples != record.samples or not rising:
            faults.append(
                f"{book.run_path(record.engine_id, record.run_id)} has other samples than were "
                "written: restore it from a backup."
            )
    except BabbittError as error:
        faults.append(str(error))
    try:
        sha256 = record.source_sha256
        if sha256 is not None and _sha256_of_original(book, sha256) != sha256:
            faults.append(
                f"The kept log of run {record.run_id} ({record.source_name}) is not what came in: "
                "restore it from a backup."
            )
    except BabbittError as error:
        faults.append(str(error))
    return faults


def _sha256_of_original(book: Logbook, sha256: str) -> str:
    digest = hashlib.sha256()
    what = f"cannot read the kept log {book.original_path(sha256)}"
    with saying_what_failed(what), book.open_original(sha256) as stream:
        while block := stream.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()


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
    found += sorted(book.root.glob(f"{INCOMING}*"))
    return [
        f"{path} is in no record, left by a command that was cut off: repeat that command, "
        "or delete the file."
        for path in found
    ]
