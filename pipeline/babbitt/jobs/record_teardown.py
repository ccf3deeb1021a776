"""A teardown goes in: its findings and photos come to lie in the logbook, and are mended there.

Findings come from a file, or from a person who enters them one by one. Photos of the latter are set
aside in the logbook until the findings are recorded.
"""

from __future__ import annotations

import errno
import hashlib
import time
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from babbitt.errors import RegisterError
from babbitt.logbook.folder import Logbook, saying_what_failed
from babbitt.logbook.safe_files import whole_file
from babbitt.model.finding import Finding
from babbitt.model.part_records import FindingRecord, TeardownRecord
from babbitt.register import Session
from babbitt.register.records import teardowns
from babbitt.teardown.findings_file import read_findings
from babbitt.teardown.photos import MAX_BYTES, Photo, prepare_photo

_ASIDE = "drafts"
"""Folder of the logbook for photos of findings that are not recorded yet."""
_ASIDE_S = 90 * 86_400.0
"""How long a photo stays there."""


def record_teardown(
    book: Logbook,
    engine_id: str,
    path: Path,
    *,
    at: datetime,
    note: str = "",
    earlier_build: bool = False,
    who: str,
) -> TeardownRecord:
    """Write down what a findings file says; all of it, or nothing.

    Args:
        book: the logbook.
        engine_id: the engine that was taken apart.
        path: the findings, TOML or CSV; photos are looked for beside it.
        at: when it was taken apart.
        note: how much was taken apart, and why.
        earlier_build: it was before the newest refresh.
        who: the name that the journal shows.

    Raises:
        RegisterError: a finding that cannot be, a photo that is none, or a date that does not fit.
        LogbookError: a file cannot be read or written.
    """
    with saying_what_failed(f"cannot read {path}"):
        text = path.read_bytes().decode("utf-8-sig", errors="replace")
    findings = read_findings(
        text, source=str(path), format="csv" if path.suffix.lower() == ".csv" else "toml"
    )
    return record_findings(
        book,
        engine_id,
        findings,
        photos_in=path.parent,
        at=at,
        note=note,
        earlier_build=earlier_build,
        who=who,
    )


def record_findings(
    book: Logbook,
    engine_id: str,
    findings: Iterable[Finding],
    *,
    photos_in: Path,
    at: datetime,
    note: str = "",
    earlier_build: bool = False,
    who: str,
) -> TeardownRecord:
    """Write down that an engine was taken apart, and what was found; all of it, or nothing.

    Args:
        book: the logbook.
        engine_id: the engine.
        findings: with the file names of their photos.
        photos_in: folder of these.
        at: when it was taken apart.
        note: how much was taken apart, and why.
        earlier_build: it was before the newest refresh.
        who: the name that the journal shows.

    Raises:
        RegisterError: a finding that cannot be, a photo that is none, or a date that does not fit.
        LogbookError: a file cannot be read or written.
    """

    def write(session: Session, kept: list[Finding]) -> TeardownRecord:
        return teardowns.record_teardown(
            session, engine_id, at, kept, note=note, earlier_build=earlier_build
        )

    return _write_with_photos(book, findings, photos_in, write, who=who)


def add_findings(
    book: Logbook, teardown_id: int, findings: Iterable[Finding], *, photos_in: Path, who: str
) -> TeardownRecord:
    """Add findings to a teardown that is written down already; all of them, or none.

    Args:
        book: the logbook.
        teardown_id: the teardown.
        findings: with the file names of their photos.
        photos_in: folder of these.
        who: the name that the journal shows.

    Raises:
        RegisterError: no such teardown, a finding that cannot be, or a photo that is none.
        LogbookError: a file cannot be read or written.
    """

    def write(session: Session, kept: list[Finding]) -> TeardownRecord:
        return teardowns.add_findings(session, teardown_id, kept)

    return _write_with_photos(book, findings, photos_in, write, who=who)


def amend_finding(
    book: Logbook, finding_id: int, finding: Finding, *, seen: int, reason: str, who: str
) -> FindingRecord:
    """Correct a recorded finding; its photos are those that the logbook keeps.

    Args:
        book: the logbook.
        finding_id: the finding.
        finding: what it should say.
        seen: its version that the person looked at.
        reason: for the journal.
        who: the name that the journal shows.

    Raises:
        RegisterError: no such finding, it was changed since, or it contradicts another.
    """
    with book.register.writing(who) as session:
        return teardowns.amend_finding(session, finding_id, finding, seen=seen, reason=reason)


def withdraw_finding(book: Logbook, finding_id: int, *, seen: int, reason: str, who: str) -> None:
    """Withdraw a recorded finding; see `amend_finding`."""
    with book.register.writing(who) as session:
        teardowns.withdraw_finding(session, finding_id, seen=seen, reason=reason)


def aside_in(book: Logbook) -> Path:
    """Return the folder of photos that are set aside."""
    return book.root / _ASIDE


def set_photo_aside(book: Logbook, data: bytes, *, name: str) -> tuple[str, bytes]:
    """Set a photo aside until its finding is recorded; those left there for long go.

    Args:
        book: the logbook.
        data: a JPEG or PNG file.
        name: of the file, for errors.

    Returns:
        The file name in `aside_in`, and a thumbnail (JPEG).

    Raises:
        RegisterError: it is no photo, or too large.
        LogbookError: it cannot be written.
    """
    photo = prepare_photo(data, name=name)
    folder = aside_in(book)
    file_name = f"{hashlib.sha256(data).hexdigest()}{photo.suffix}"
    with saying_what_failed(f"cannot keep {name}"):
        for old in folder.glob("*") if folder.is_dir() else ():
            if time.time() - old.stat().st_mtime > _ASIDE_S:
                old.unlink(missing_ok=True)
        with whole_file(folder / file_name) as path:
            path.write_bytes(data)
    return file_name, photo.thumbnail


def _write_with_photos(
    book: Logbook,
    findings: Iterable[Finding],
    folder: Path,
    write: Callable[[Session, list[Finding]], TeardownRecord],
    *,
    who: str,
) -> TeardownRecord:
    photos: dict[str, Photo] = {}
    named = tuple(findings)
    kept = [_with_photos(finding, folder, photos) for finding in named]
    with (
        saying_what_failed("cannot record the findings"),
        ExitStack() as files,
        book.register.writing(who) as session,
    ):
        record = write(session, kept)
        for name, photo in photos.items():
            for place, data in (
                (book.photo_path(name), photo.data),
                (book.thumbnail_path(name), photo.thumbnail),
            ):
                files.enter_context(whole_file(place)).write_bytes(data)
        files.close()
    if folder == aside_in(book):
        for name in {name for finding in named for name in finding.photos}:
            (folder / name).unlink(missing_ok=True)
    return record


def _with_photos(finding: Finding, folder: Path, photos: dict[str, Photo]) -> Finding:
    """Prepare the photos of a finding, and name them as the logbook keeps them."""
    names = []
    for name in finding.photos:
        try:
            data = _read_beside(folder, name)
        except OSError as error:
            raise RegisterError(
                f"The photo {name} of the {finding.part} cannot be read ({error.strerror}): put it "
                f"beside the findings in {folder}, or take its name out."
            ) from error
        photo = prepare_photo(data, name=name)
        photos[photo.file_name] = photo
        names.append(photo.file_name)
    return replace(finding, photos=tuple(names))


def _read_beside(folder: Path, name: str) -> bytes:
    """Return the bytes of a photo in a folder: who wrote the findings may name no other file.

    Raises:
        OSError: it cannot be read, lies elsewhere, or is no file.
    """
    path = (folder / name).resolve()
    if not path.is_relative_to(folder.resolve()):
        raise OSError(errno.EACCES, "it lies elsewhere")
    if path.exists() and not path.is_file():
        raise OSError(errno.EACCES, "it is no file")
    with path.open("rb") as file:
        return file.read(MAX_BYTES + 1)
