"""Files that someone hands over: they name nothing else on this disk, and run nothing."""

from __future__ import annotations

import hashlib
import io
import json
import os
import sqlite3
import tarfile
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from sqlalchemy import select, text

import bombs
from babbitt.errors import BabbittError, LogbookError, RegisterError
from babbitt.exchange.importing import import_rows
from babbitt.ingest.source import Instructions
from babbitt.jobs.back_up import back_up, restore
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.record_teardown import record_findings, record_teardown
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import Logbook
from babbitt.register.backup import REVISION
from babbitt.register.records import engines
from babbitt.register.tables.part_models import FindingRow
from bounded import bounded
from invented import SPEC
from strip_book import APART, found, jpeg

OUTSIDE = [
    "../secret.jpg",
    "a/../../secret.jpg",
    "/etc/passwd",
    "/dev/zero",
    "/dev/stdin",
    "link.jpg",
    "folder/../../secret.jpg",
    ".",
    "..",
    "fifo.jpg",
]


def recorded(book: Logbook, folder: Path, name: str) -> None:
    findings = [found("head_gasket", None, photos=(name,))]
    record_findings(book, "E2", findings, photos_in=folder, at=APART, who="Bob")


@pytest.mark.parametrize("name", OUTSIDE)
def test_findings_bring_in_photos_from_beside_them_only(
    book: Logbook, tmp_path: Path, name: str
) -> None:
    handed = tmp_path / "handed"
    (handed / "folder").mkdir(parents=True)
    (tmp_path / "secret.jpg").write_bytes(jpeg("blue"))
    (handed / "link.jpg").symlink_to(tmp_path / "secret.jpg")
    os.mkfifo(handed / "fifo.jpg")
    before = set((book.root / "photos").rglob("*"))
    ended = bounded(recorded, book, handed, name)
    assert ended.refused
    assert "photo" in ended.said
    assert set((book.root / "photos").rglob("*")) == before
    (handed / "folder" / "own.jpg").write_bytes(jpeg("green"))
    recorded(book, handed, "folder/own.jpg")


def test_a_findings_file_is_held_to_the_same(book: Logbook, tmp_path: Path) -> None:
    (tmp_path / "secret.jpg").write_bytes(jpeg())
    path = tmp_path / "handed" / "findings.csv"
    path.parent.mkdir()
    path.write_text("part,grade,disposition,photos\nhead_gasket,0,reuse,../secret.jpg\n", "utf-8")
    with pytest.raises(RegisterError, match=r"\.\./secret\.jpg .* lies elsewhere"):
        record_teardown(book, "E2", path, at=APART, who="Bob")


@pytest.mark.parametrize(
    "name",
    [
        "../E",
        "/E",
        "E/1",
        "..",
        ".",
        "",
        "E\\1",
        "E\0",
        "E\n1",
        "-E/",
        "C:",
        "E" * 65,
        "É",
        "E ",
        "~",
    ],
)
def test_an_engine_is_called_nothing_that_leads_elsewhere(book: Logbook, name: str) -> None:
    with pytest.raises(RegisterError), book.register.writing() as session:
        engines.add_engine(session, name, SPEC)


@pytest.mark.parametrize("name", ["../../x", "a/../../x", "a/../x", "a//b", "a\0b", "a/./b"])
def test_no_file_of_a_logbook_has_a_name_that_leads_elsewhere(book: Logbook, name: str) -> None:
    for act in (book.files.open, book.files.exists, book.files.delete, book.files.stamp):
        with pytest.raises(OSError, match="no name of a file"):
            act(f"runs/{name}")
    with pytest.raises(LogbookError, match="no name of a file"):
        book.read_run(name, "r1")
    with pytest.raises(LogbookError, match="no name of a file"):
        book.read_original(f"../{name}")


def test_a_register_that_lists_other_files_as_photos_shows_none_of_them(book: Logbook) -> None:
    with book.register.writing() as session:
        session.scalars(select(FindingRow)).first().photos = ["../../../../../../dev/zero"]
    told = bounded(verified, book).value
    assert any("/dev/zero" in fault and "no photo is called" in fault for fault in told)


def verified(book: Logbook) -> tuple[str, ...]:
    return verify(book).faults


ZIPPED = ["../../x.csv", "/tmp/x.csv", "..\\..\\x.csv", "a/../../../x.csv", "x.csv"]


@pytest.mark.parametrize("name", ZIPPED)
def test_a_zipped_log_is_unpacked_nowhere(book: Logbook, tmp_path: Path, name: str) -> None:
    log = tmp_path / "handed" / "log.zip"
    log.parent.mkdir()
    log.write_bytes(bombs.zip_of(name, iter([b"Time (s),RPM\n0,1\n"])))
    os.utime(log, (1_780_000_000, 1_780_000_000))
    before = set(tmp_path.rglob("*"))
    intake = ingest_log(book, log, Instructions(engine_id="E2"))
    assert intake.status == "refused"
    strange = {path for path in set(tmp_path.rglob("*")) - before if "register" not in path.name}
    assert not strange
    assert not Path("/tmp/x.csv").exists()


def test_a_zip_of_two_logs_or_a_link_is_no_log(book: Logbook, tmp_path: Path) -> None:
    for names in (["a.csv", "b.csv"], []):
        file = io.BytesIO()
        with zipfile.ZipFile(file, "w") as archive:
            for name in names:
                archive.writestr(name, b"1,2\n")
        log = tmp_path / "log.zip"
        log.write_bytes(file.getvalue() or b"PK\5\6")
        os.utime(log, (1_780_000_000, 1_780_000_000))
        assert ingest_log(book, log, Instructions(engine_id="E2")).status == "refused"


Change = Callable[[dict[str, bytes]], dict[str, bytes]]
FORGED: dict[str, Change] = {
    "upwards": lambda files: files | {"../escaped": b"x"},
    "absolute": lambda files: files | {"/tmp/escaped": b"x"},
    "beside": lambda files: files | {"password.argon2": b"x"},
    "upwards within": lambda files: files | {"runs/engine=../../../escaped.parquet": b"x"},
    "other letters": lambda files: files | {"originals/ab/" + "g" * 64 + ".zst": b"x"},
    "no register": lambda files: {n: d for n, d in files.items() if n != "register.sqlite"},
    "no settings": lambda files: {n: d for n, d in files.items() if n != "logbook.toml"},
    "register of text": lambda files: files | {"register.sqlite": b"x" * 5000},
    "register of nothing": lambda files: files | {"register.sqlite": b""},
    "settings of nonsense": lambda files: files | {"logbook.toml": b"\xff\xfe["},
    "settings of a server": lambda files: (
        files | {"logbook.toml": b'"register" = "postgresql://elsewhere.example/x"\n'}
    ),
}


def packed(files: dict[str, bytes], kind: bytes = tarfile.REGTYPE, to: str = "") -> bytes:
    """A backup of these files, with the list that belongs to them."""
    listed = {
        n: {"sha256": hashlib.sha256(d).hexdigest(), "bytes": len(d)} for n, d in files.items()
    }
    manifest = {"version": 1, "revision": REVISION, "made_at": "", "files": listed}
    plain = bombs.tar_of({**files, "babbitt-backup.json": json.dumps(manifest).encode()})
    if kind == tarfile.REGTYPE:
        return plain
    data = io.BytesIO()
    with (
        tarfile.open(fileobj=io.BytesIO(plain)) as old,
        tarfile.open(fileobj=data, mode="w") as new,
    ):
        for member in old.getmembers():
            content = old.extractfile(member)
            if member.name.startswith("photos/"):
                member.type, member.linkname, member.size, content = kind, to, 0, None
            new.addfile(member, content)
    return data.getvalue()


@pytest.fixture
def files(book: Logbook, tmp_path: Path) -> dict[str, bytes]:
    """What a backup of the logbook holds."""
    back_up(book, tmp_path / "whole.tar")
    with tarfile.open(tmp_path / "whole.tar") as archive:
        held = {m.name: archive.extractfile(m).read() for m in archive.getmembers()}
    del held["babbitt-backup.json"]
    return held


def test_the_whole_backup_comes_back(files: dict[str, bytes], tmp_path: Path) -> None:
    (tmp_path / "b.tar").write_bytes(packed(files))
    restore(tmp_path / "b.tar", tmp_path / "new")
    assert (tmp_path / "new" / "register.sqlite").is_file()


@pytest.mark.parametrize("change", FORGED)
def test_a_forged_backup_is_refused_and_leaves_nothing(
    files: dict[str, bytes], tmp_path: Path, change: str
) -> None:
    (tmp_path / "b.tar").write_bytes(packed(FORGED[change](files)))
    before = set(tmp_path.rglob("*"))
    with pytest.raises(BabbittError, match=r"b\.tar"):
        restore(tmp_path / "b.tar", tmp_path / "new")
    assert set(tmp_path.rglob("*")) == before
    assert not Path("/tmp/escaped").exists()


@pytest.mark.parametrize(
    "kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.FIFOTYPE, tarfile.CHRTYPE]
)
@pytest.mark.parametrize("to", ["/etc/passwd", "../../secret", "logbook.toml"])
def test_a_backup_of_links_is_refused(
    files: dict[str, bytes], tmp_path: Path, kind: bytes, to: str
) -> None:
    (tmp_path / "b.tar").write_bytes(packed(files, kind, to))
    with pytest.raises(LogbookError, match="does not belong in it"):
        restore(tmp_path / "b.tar", tmp_path / "new")
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    "program",
    [
        "CREATE TRIGGER t AFTER INSERT ON review BEGIN DELETE FROM run; END",
        "CREATE VIEW v AS WITH RECURSIVE n(i) AS (VALUES(1) UNION ALL SELECT i FROM n) SELECT 1",
        "CREATE VIRTUAL TABLE v USING fts4(x)",
        "CREATE INDEX i ON review (abs(start_s))",
        "CREATE INDEX i ON review (start_s) WHERE end_s > 0",
        "CREATE TABLE t (a INTEGER, b INTEGER GENERATED ALWAYS AS (a + 1))",
        "CREATE TABLE t (a INTEGER, b INTEGER as(a + 1) STORED)",
        "CREATE TABLE t (a INTEGER CHECK (abs(a) > 1))",
        f"UPDATE run SET dialect = '{'[' * 100_000}'",
        "UPDATE run SET dialect = 'nonsense'",
    ],
    ids=lambda program: program[:40],
)
def test_a_register_that_runs_something_is_not_restored(
    files: dict[str, bytes], tmp_path: Path, program: str
) -> None:
    path = tmp_path / "register.sqlite"
    path.write_bytes(files["register.sqlite"])
    with closing(sqlite3.connect(path)) as register:
        register.execute(program)
        register.commit()
    (tmp_path / "b.tar").write_bytes(packed(files | {"register.sqlite": path.read_bytes()}))
    with pytest.raises(LogbookError, match="more than records"):
        restore(tmp_path / "b.tar", tmp_path / "new")
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("names", ['["/etc/passwd"]', "[7, null]", "7", '{"/etc/passwd": 1}'])
def test_a_logbook_that_lists_no_photos_as_photos_is_verified_and_backed_up(
    book: Logbook, tmp_path: Path, names: str
) -> None:
    with book.register.writing() as session:
        session.execute(text("UPDATE finding SET photos = :names"), {"names": names})
    odd = [fault for fault in verify(book).faults if "no photo is called" in fault]
    assert odd
    done = back_up(book, tmp_path / "b.tar")
    assert len([name for name in done.missing if not name.endswith(".zst")]) == len(odd)
    with tarfile.open(tmp_path / "b.tar") as archive:
        assert not any("passwd" in name for name in archive.getnames())


def sparse(files: dict[str, bytes], name: str, size: int) -> bytes:
    """A backup in which a file is said to be far larger than what lies in the archive."""
    listed = {
        n: {"sha256": hashlib.sha256(d).hexdigest(), "bytes": size if n == name else len(d)}
        for n, d in files.items()
    }
    manifest = {"version": 1, "revision": REVISION, "made_at": "", "files": listed}
    data = io.BytesIO()
    with tarfile.open(fileobj=data, mode="w", format=tarfile.PAX_FORMAT) as archive:
        for each, held in {**files, "babbitt-backup.json": json.dumps(manifest).encode()}.items():
            member = tarfile.TarInfo(each)
            if each == name:
                held = b"0\n".ljust(512, b"\0")  # no piece of it is there
                member.pax_headers = {
                    "GNU.sparse.major": "1",
                    "GNU.sparse.minor": "0",
                    "GNU.sparse.name": each,
                    "GNU.sparse.realsize": str(size),
                }
            member.size = len(held)
            archive.addfile(member, io.BytesIO(held))
    return data.getvalue()


@pytest.mark.parametrize("name", ["register.sqlite", "babbitt-backup.json", "photos"])
def test_a_backup_that_unfolds_is_refused_before_it_is_written(
    files: dict[str, bytes], tmp_path: Path, name: str
) -> None:
    hollow = next(each for each in (*files, "babbitt-backup.json") if each.startswith(name))
    (tmp_path / "b.tar").write_bytes(sparse(files, hollow, 1 << 33))
    ended = bounded(restore, tmp_path / "b.tar", tmp_path / "new")
    assert ended.refused
    assert "b.tar" in ended.said
    assert not (tmp_path / "new").exists()


def made_up_run(rows: int, groups: int, columns: int) -> bytes:
    """A small Parquet file of one value again and again."""
    names = ["time_s", *(f"c{n}" for n in range(columns))]
    table = pa.table({name: np.zeros(rows, np.float32) for name in names})
    sink = pa.BufferOutputStream()
    with pq.ParquetWriter(sink, table.schema, compression="zstd") as writer:
        for _ in range(groups):
            writer.write_table(table, row_group_size=rows)
    return sink.getvalue().to_pybytes()


@pytest.mark.parametrize(
    ("rows", "groups", "columns"), [(1 << 21, 1, 2), (1 << 15, 400, 1), (1 << 19, 2, 200)]
)
def test_a_run_that_unfolds_is_refused_unread(
    files: dict[str, bytes], tmp_path: Path, rows: int, groups: int, columns: int
) -> None:
    name = next(each for each in files if each.startswith("runs/"))
    made = made_up_run(rows, groups, columns)
    assert len(made) < 1_000_000
    (tmp_path / "b.tar").write_bytes(packed(files | {name: made}))
    ended = bounded(restore, tmp_path / "b.tar", tmp_path / "new")
    assert ended.refused
    assert "samples of" in ended.said
    assert not (tmp_path / "new").exists()


def test_an_imported_table_names_no_file(book: Logbook) -> None:
    text = f"engine,at,part,grade,disposition,photos\nE2,{APART:%F},head_gasket,0,reuse,/etc/x\n"
    with pytest.raises(RegisterError, match="photos: leave it blank"):
        import_rows(book, text, source="t.csv", what="findings", who="Bob")
