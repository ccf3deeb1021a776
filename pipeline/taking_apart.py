"""A teardown goes in: its findings file and photos come to lie in the logbook."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from pipeline.errors import RegisterError
from pipeline.finding import Finding
from pipeline.logbook import Logbook, saying_what_failed, whole_file
from pipeline.register import teardowns
from pipeline.register.part_values import TeardownRecord
from pipeline.teardown.findings_file import read_findings
from pipeline.teardown.photos import Photo, prepare_photo


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
    photos: dict[str, Photo] = {}
    kept = [_with_photos(finding, path.parent, photos) for finding in findings]
    with (
        saying_what_failed(f"cannot record the teardown of {engine_id}"),
        ExitStack() as files,
        book.register.writing(who) as session,
    ):
        record = teardowns.record_teardown(
            session, engine_id, at, kept, note=note, earlier_build=earlier_build
        )
        for name, photo in photos.items():
            for place, data in (
                (book.photo_path(name), photo.data),
                (book.thumbnail_path(name), photo.thumbnail),
            ):
                files.enter_context(whole_file(place)).write_bytes(data)
        files.close()
    return record


def _with_photos(finding: Finding, folder: Path, photos: dict[str, Photo]) -> Finding:
    """Prepare the photos of a finding, and name them as the logbook keeps them."""
    names = []
    for name in finding.photos:
        try:
            data = (folder / name).read_bytes()
        except OSError as error:
            raise RegisterError(
                f"The photo {name} of the {finding.part} cannot be read ({error.strerror}): put it "
                f"beside the findings in {folder}, or take its name out."
            ) from error
        photo = prepare_photo(data, name=name)
        photos[photo.file_name] = photo
        names.append(photo.file_name)
    return replace(finding, photos=tuple(names))
