"""Is the logbook whole? Every file against the register, and the register against itself."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from babbitt.errors import BabbittError, LogbookError
from babbitt.logbook.file_store import on_disk
from babbitt.logbook.folder import (
    INCOMING,
    PHOTO_FOLDER,
    STORED_FOLDERS,
    Logbook,
    saying_what_failed,
)
from babbitt.model.finding import PHOTO_NAME
from babbitt.model.records import RunRecord
from babbitt.register.records import runs, teardowns

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
    try:
        with saying_what_failed(f"cannot look through {book.files.address}"):
            unfinished += _strangers(book, records, photos)
    except LogbookError as error:
        faults.append(str(error))
    return Verified(len(records), tuple(faults), tuple(unfinished))


def _faults_of(book: Logbook, record: RunRecord) -> list[str]:
    faults = []
    path = book.files.shown(book.run_name(record.engine_id, record.run_id))
    try:
        samples, last_s, rising, known, same = 0, -np.inf, True, True, True
        for part in book.run_parts(record.engine_id, record.run_id):
            info = part.info
            known &= (info.run_id, info.source_sha256) == (record.run_id, record.source_sha256)
            same &= (info.started_at, info.conversions) == (record.started_at, record.conversions)
            rising &= bool((np.diff(part.time_s, prepend=last_s) > 0.0).all())
            samples, last_s = samples + part.samples, part.time_s[-1]
        if not known:
            faults.append(f"{path} is another run than its name says: restore it from a backup.")
        elif not same:
            faults.append(
                f"{path} was read otherwise than the register says: "
                f"`babbitt run reread {record.run_id}` mends that."
            )
        elif samples != record.samples or not rising:
            faults.append(f"{path} has other samples than were written: restore it from a backup.")
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
    what = f"cannot read the kept log {book.files.shown(book.original_name(sha256))}"
    with saying_what_failed(what), book.open_original(sha256) as stream:
        while block := stream.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()


def _photo_faults(book: Logbook, name: str) -> list[str]:
    """Compare a photo with its name, which is its hash."""
    if not PHOTO_NAME.fullmatch(name):
        return [f"The register lists a photo as {name!r}, which no photo is called."]
    path = book.photo_path(name)
    try:
        whole = hashlib.sha256(path.read_bytes()).hexdigest() == path.stem
    except OSError:
        return [f"The photo {path} of a finding is missing: restore it from a backup."]
    return [] if whole else [f"The photo {path} is not what came in: restore it from a backup."]


def _strangers(book: Logbook, records: Iterable[RunRecord], photos: Iterable[str]) -> list[str]:
    """Name the files that the register knows nothing of."""
    known: set[str] = set()
    for record in records:
        known.add(book.run_name(record.engine_id, record.run_id))
        known.add(book.original_name(record.source_sha256 or ""))
    named = [name for name in photos if PHOTO_NAME.fullmatch(name)]
    kept = {path for name in named for path in (book.photo_path(name), book.thumbnail_path(name))}
    home = on_disk(book.root)
    found = [
        book.files.shown(name)
        for folder in STORED_FOLDERS
        for name in book.files.names(folder)
        if name not in known
    ]
    found += [
        str(path)
        for path in sorted((book.root / PHOTO_FOLDER).rglob("*"))
        if path.is_file() and path not in kept
    ]
    begun = {store.shown(n) for store in (home, book.files) for n in store.folders(INCOMING)}
    found += sorted(begun)
    return [
        f"{path} is in no record, left by a command that was cut off: repeat that command, "
        "or delete the file."
        for path in found
    ]
