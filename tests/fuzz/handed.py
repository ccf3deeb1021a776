"""What people hand over besides logs, and what takes it in."""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import os
import shutil
import tarfile
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
from PIL import Image

from babbitt.errors import RegisterError
from babbitt.exchange.importing import What, import_rows
from babbitt.ingest.log_bytes import open_log
from babbitt.jobs.back_up import MANIFEST_FILE, back_up, restore
from babbitt.jobs.record_teardown import record_teardown
from babbitt.logbook.folder import REGISTER_FILE, Logbook, settings_text
from babbitt.logbook.settings import parse_settings
from babbitt.model.engine_spec import parse_spec
from babbitt.model.plain_text import parse_instant
from babbitt.teardown.build_sheet import read_sheet
from babbitt.teardown.findings_file import COLUMNS, Format, read_findings
from babbitt.teardown.photos import prepare_photo
from engine_book import NOW, SERVICE, TOML
from strip_book import make_strip_book

WRITTEN_S = 1_780_000_000.0
"""When packed logs were written, in seconds since 1970: so long ago that nobody waits for more."""

PROFILE = """
[profile.paddock]
columns = {"Ch 7" = "oil_pressure", "Clock" = "time"}
units = {oil_pressure = "psi", time = "ms"}
lateral_positive = "right"
ambient_kpa = 99.0
timezone = "Europe/Paris"
dates = "day-first"
fingerprint = "0123456789abcdef"
"""
FINDINGS = """
[[finding]]
part = "rod_bearing"
position = "2"
damage_mode = "wiped"
grade = 3
measurement = {name = "clearance", value = 0.071, unit = "mm", low = 0.045, high = 0.065}
disposition = "replace"
note = "over the oil hole"
photos = ["shell.jpg"]

[[finding]]
part = "head_gasket"
grade = 0
disposition = "reuse"
"""
SHEET = """
[[line]]
part = "rod_bearing"
position = "2"
action = "replaced"
part_id = "RB-2"
note = "new"

[[measurement]]
part = "rod_bearing"
position = "2"
name = "clearance"
value = 0.051
unit = "mm"
low = 0.045
high = 0.065
"""
FINDINGS_CSV = (
    f"{','.join(COLUMNS)}\n"
    "rod_bearing,2,wiped,3,clearance,0.071,mm,0.045,0.065,replace,over the hole,a.jpg\n"
    'head_gasket,,,0,,,,,,reuse,"dry, all round",\n'
)
PART_LIST = (
    "part_id,kind,note,engine,position,fitted_at\n"
    "RB-9,rod_bearing,new,E2,2,2026-02-10\nRB-8,rod_bearing,,,,\n"
)
PAST_HISTORY = "subject,running_h,revolutions,until,note\nRB-1,4.5,900000,2026-01-20,from a book\n"
PAST_FINDINGS = (
    "engine,at,part,position,damage_mode,grade,disposition,note\n"
    "E2,2026-02-05T10:00,rod_bearing,2,wiped,3,replace,black\n"
    "E2,2026-02-05T10:00,head_gasket,,,0,reuse,\n"
)
LOG = b"Time (s),RPM (1/min)\n0.0,1000\n0.1,1010\n" * 50


@dataclass(frozen=True)
class Target:
    """Something that takes input in.

    Attributes:
        seeds: input that it takes, to be damaged.
        take: takes input in.
        slow: takes a tenth of a second and more.
    """

    seeds: Sequence[bytes]
    take: Callable[[bytes], Any]
    slow: bool = False


def photos() -> list[bytes]:
    """Small photos of every kind that is read."""
    made = []
    for mode, kind, more in (
        ("RGB", "JPEG", {}),
        ("L", "JPEG", {"progressive": True}),
        ("CMYK", "JPEG", {}),
        ("RGBA", "PNG", {}),
        ("P", "PNG", {}),
        ("I;16", "PNG", {}),
        ("1", "PNG", {}),
    ):
        file, exif = io.BytesIO(), Image.Exif()
        exif[274] = 6
        Image.new(mode, (40, 30)).save(file, kind, exif=exif, **more)
        made.append(file.getvalue())
    return made


def packed_logs() -> list[bytes]:
    """A log, packed in every way that is unpacked."""
    zstd, zipped = pa.BufferOutputStream(), io.BytesIO()
    with pa.CompressedOutputStream(zstd, "zstd") as stream:
        stream.write(LOG)
    with zipfile.ZipFile(zipped, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("log.csv", LOG)
    return [gzip.compress(LOG), zstd.getvalue().to_pybytes(), zipped.getvalue()]


def targets(folder: Path) -> dict[str, Target]:
    """Return everything that takes input in, with a logbook in `folder` to take it into."""
    book = make_strip_book(folder / "book")
    whole = folder / "whole.tar"
    back_up(book, whole)
    (folder / "shell.jpg").write_bytes(photos()[0])
    return {
        "spec": Target([TOML.encode()], lambda data: parse_spec(_text(data), source="spec.toml")),
        "settings": Target(
            [(settings_text() + SERVICE + PROFILE).encode()],
            lambda data: parse_settings(_text(data), source="logbook.toml"),
        ),
        "findings": Target([FINDINGS.encode()], _findings("toml")),
        "findings-csv": Target([FINDINGS_CSV.encode()], _findings("csv")),
        "sheet": Target([SHEET.encode()], lambda d: read_sheet(_text(d), source="sheet.toml")),
        "instant": Target([b"2026-05-03", b"2026-05-03T14:30:00.5+02:00"], _instant),
        "import-parts": Target([PART_LIST.encode()], _import(book, "parts")),
        "import-history": Target([PAST_HISTORY.encode()], _import(book, "history")),
        "import-findings": Target([PAST_FINDINGS.encode()], _import(book, "findings")),
        "photo": Target(photos(), lambda data: prepare_photo(data, name="shell.jpg")),
        "packed": Target(packed_logs(), _packed(folder / "log.csv")),
        "teardown": Target([FINDINGS.encode()], _teardown(book, folder / "f.toml"), slow=True),
        "backup": Target([whole.read_bytes()], _restore(folder), slow=True),
        "backup-list": Target([_member(whole, MANIFEST_FILE)], _relist(folder), slow=True),
        "register": Target([_member(whole, REGISTER_FILE)], _reregister(folder), slow=True),
    }


def _text(data: bytes) -> str:
    return data.decode("utf-8", errors="replace")


def _findings(form: Format) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        read_findings(_text(data), source="findings", format=form)

    return take


def _instant(data: bytes) -> None:
    try:
        parse_instant(_text(data))
    except ValueError as error:  # every caller makes a sentence of it
        raise RegisterError(f"{error}.") from error


def _import(book: Logbook, what: What) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        import_rows(book, _text(data), source="t.csv", what=what, who="Bob", dry_run=True)

    return take


def _packed(path: Path) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        path.write_bytes(data)
        os.utime(path, (WRITTEN_S, WRITTEN_S))
        with open_log(path) as log:
            for _ in log.blocks():
                pass

    return take


def _teardown(book: Logbook, path: Path) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        path.write_bytes(data)
        record_teardown(book, "E2", path, at=NOW, who="Bob")

    return take


def _restore(folder: Path) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        (folder / "b.tar").write_bytes(data)
        try:
            restore(folder / "b.tar", folder / "new")
        finally:
            shutil.rmtree(folder / "new", ignore_errors=True)

    return take


def _member(path: Path, name: str) -> bytes:
    with tarfile.open(path) as archive:
        file = archive.extractfile(name)
        assert file is not None
        return file.read()


def _relist(folder: Path) -> Callable[[bytes], None]:
    return _rebuilt(folder, lambda data: {MANIFEST_FILE: data})


def _reregister(folder: Path) -> Callable[[bytes], None]:
    def changed(data: bytes) -> dict[str, bytes]:
        listed = json.loads(_member(folder / "whole.tar", MANIFEST_FILE))
        sha256 = hashlib.sha256(data).hexdigest()
        listed["files"][REGISTER_FILE] = {"sha256": sha256, "bytes": len(data)}
        return {REGISTER_FILE: data, MANIFEST_FILE: json.dumps(listed).encode()}

    return _rebuilt(folder, changed)


def _rebuilt(folder: Path, changed: Callable[[bytes], dict[str, bytes]]) -> Callable[[bytes], None]:
    """Take in a backup some of whose members are other ones."""
    take = _restore(folder)

    def rebuild(data: bytes) -> None:
        others, file = changed(data), io.BytesIO()
        with tarfile.open(folder / "whole.tar") as old, tarfile.open(fileobj=file, mode="w") as new:
            for member in old.getmembers():
                content = others.get(member.name, None)
                if content is None:
                    content = _member(folder / "whole.tar", member.name)
                member.size = len(content)
                new.addfile(member, io.BytesIO(content))
        take(file.getvalue())

    return rebuild
