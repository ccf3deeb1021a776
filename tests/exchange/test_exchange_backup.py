"""A backup of a live logbook restores to a whole one; what is no backup leaves nothing."""

from __future__ import annotations

import hashlib
import io
import json
import multiprocessing
import shutil
import tarfile
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import select

from babbitt.errors import LogbookError, SettingsError
from babbitt.jobs import back_up as backup
from babbitt.jobs.back_up import MANIFEST_FILE, back_up, restore, without_server
from babbitt.jobs.move_runs import assign_run
from babbitt.jobs.verify import Verified, verify
from babbitt.logbook.folder import Logbook, open_logbook
from babbitt.logbook.settings import parse_settings
from babbitt.register.backup import copy_rows
from babbitt.register.records import runs
from babbitt.register.tables.models import Base
from babbitt.register.tables.part_models import FindingRow
from babbitt.register.tables.store import Register, sqlite_url
from exchange_books import take_in, write_log


def everything(register: Register) -> dict[str, list[tuple[object, ...]]]:
    with register.reading() as session:
        return {
            table.name: sorted(map(tuple, session.execute(select(table))), key=repr)
            for table in Base.metadata.sorted_tables
        }


def files_of(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith("register.sqlite")
    }


def test_a_restored_logbook_is_the_one_that_was_backed_up(full: Logbook, tmp_path: Path) -> None:
    done = back_up(full, tmp_path / "b.tar")
    assert (done.missing, done.files) == ((), 2 + 3 + 3 + 2)
    assert restore(tmp_path / "b.tar", tmp_path / "back") == Verified(3, ())
    restored = open_logbook(tmp_path / "back")
    assert everything(restored.register) == everything(full.register)
    assert files_of(restored.root) == files_of(full.root)
    assert len(list((restored.root / "photos").rglob("*.*"))) == 2


def test_backups_hold_names_of_the_logbook_and_nothing_else(full: Logbook, tmp_path: Path) -> None:
    back_up(full, tmp_path / "b.tar")
    with tarfile.open(tmp_path / "b.tar") as archive:
        members = archive.getmembers()
    assert all(member.isreg() for member in members)
    assert {m.name for m in members} == {*files_of(full.root), "register.sqlite", MANIFEST_FILE}
    assert {m.uname for m in members} == {""}


def test_a_row_by_row_copy_is_the_same_register(full: Logbook, tmp_path: Path) -> None:
    with full.register.reading() as session:
        copy_rows(session, tmp_path / "copy.sqlite")
    with Register.open(sqlite_url(tmp_path / "copy.sqlite"), create=False) as copy:
        assert everything(copy) == everything(full.register)
        assert copy.faults() == ()


def ingest_on_and_on(root: Path, folder: Path, started: object, stop: object) -> None:
    """Take in one log after another until told to stop."""
    book = open_logbook(root)
    for number in range(200):
        if stop.is_set():  # type: ignore[attr-defined]
            return
        start = f"2026-08-{1 + number // 24:02d}T{number % 24:02d}:00:00Z"
        take_in(book, write_log(folder, f"live{number}.csv", start))
        started.set()  # type: ignore[attr-defined]


def test_a_backup_taken_while_another_process_ingests_is_clean(
    full: Logbook, tmp_path: Path
) -> None:
    processes = multiprocessing.get_context("spawn")
    started, stop = processes.Event(), processes.Event()
    (tmp_path / "logs").mkdir()
    other = processes.Process(
        target=ingest_on_and_on, args=(full.root, tmp_path / "logs", started, stop)
    )
    other.start()
    made: list[Path] = []
    try:
        assert started.wait(60)
        before = len(run_ids(full))
        while len(made) < 3 or len(run_ids(full)) == before:
            made.append(tmp_path / f"{len(made)}.tar")
            back_up(full, made[-1])
    finally:
        stop.set()
        other.join(60)
    assert other.exitcode == 0
    for path in {made[0], made[1], made[-1]}:
        found = restore(path, path.with_suffix(""))
        assert found.faults == ()
        assert found.runs > 3
    assert verify(full).faults == ()


def run_ids(book: Logbook) -> list[str]:
    with book.register.reading() as session:
        return [run.run_id for run in runs.list_runs(session) if not run.unlogged]


def test_a_run_that_moves_meanwhile_is_backed_up_where_it_came_to_lie(
    full: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run_id = run_ids(full)[0]
    files = backup._files_of
    moves = iter([lambda: assign_run(full, run_id, "E2", reason="", who="another")])

    def move_then_list(book: Logbook, kept: backup.Kept) -> dict[str, Path]:
        found = files(book, kept)
        next(moves, lambda: None)()
        return found

    monkeypatch.setattr(backup, "_files_of", move_then_list)
    assert back_up(full, tmp_path / "b.tar").missing == ()
    monkeypatch.undo()
    assert restore(tmp_path / "b.tar", tmp_path / "back").faults == ()
    restored = open_logbook(tmp_path / "back")
    assert (restored.root / restored.run_name("E2", run_id)).is_file()


def test_a_run_that_was_not_searched_yet_is_searched(full: Logbook, tmp_path: Path) -> None:
    with full.register.writing() as session:
        for row in session.scalars(select(runs.RunRow)):
            row.judged_by = None
    back_up(full, tmp_path / "b.tar")
    assert restore(tmp_path / "b.tar", tmp_path / "back").faults == ()


def test_a_lost_file_is_told_and_the_rest_is_kept(full: Logbook, tmp_path: Path) -> None:
    lost = full.root / full.run_name("E1", run_ids(full)[0])
    lost.unlink()
    assert back_up(full, tmp_path / "b.tar").missing == (str(lost),)
    (fault,) = restore(tmp_path / "b.tar", tmp_path / "back").faults
    assert "is missing" in fault


def test_a_file_that_is_there_is_not_overwritten(full: Logbook, tmp_path: Path) -> None:
    (tmp_path / "b.tar").write_text("mine")
    with pytest.raises(LogbookError, match="is there already"):
        back_up(full, tmp_path / "b.tar")
    assert (tmp_path / "b.tar").read_text() == "mine"


def test_a_full_disk_leaves_no_backup(
    full: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full_disk(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup, "_add", full_disk)
    there = set(tmp_path.iterdir())
    with pytest.raises(LogbookError, match="the disk is full"):
        back_up(full, tmp_path / "b.tar")
    assert set(tmp_path.iterdir()) == there


def test_only_a_new_or_empty_folder_is_restored_to(full: Logbook, tmp_path: Path) -> None:
    back_up(full, tmp_path / "b.tar")
    with pytest.raises(LogbookError, match="is not an empty folder"):
        restore(tmp_path / "b.tar", full.root)
    (tmp_path / "back").mkdir()
    assert restore(tmp_path / "b.tar", tmp_path / "back").faults == ()


Members = dict[str, bytes]


def without(name: str) -> Callable[[Members], None]:
    return lambda members: members.pop(name) and None


def changed(name: str, data: bytes) -> Callable[[Members], None]:
    return lambda members: members.update({name: data})


def told(**about: object) -> Callable[[Members], None]:
    """Change what the manifest says."""

    def change(members: Members) -> None:
        manifest = json.loads(members[MANIFEST_FILE]) | about
        members[MANIFEST_FILE] = json.dumps(manifest).encode()

    return change


def listed(name: str, data: bytes = b"evil") -> Callable[[Members], None]:
    """Put a file there, and list it as if it had been backed up."""

    def change(members: Members) -> None:
        members[name] = data
        manifest = json.loads(members[MANIFEST_FILE])
        sha256 = hashlib.sha256(data).hexdigest()
        manifest["files"][name] = {"sha256": sha256, "bytes": len(data)}
        members[MANIFEST_FILE] = json.dumps(manifest).encode()

    return change


@pytest.fixture(scope="session")
def members_once(full_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Members:
    folder = tmp_path_factory.mktemp("members")
    back_up(open_logbook(shutil.copytree(full_once, folder / "full")), folder / "b.tar")
    with tarfile.open(folder / "b.tar") as archive:
        return {m.name: archive.extractfile(m).read() for m in archive}  # type: ignore[union-attr]


def write_archive(path: Path, members: Members, *more: tarfile.TarInfo) -> None:
    with tarfile.open(path, "w") as archive:
        for name, data in members.items():
            member = tarfile.TarInfo(name)
            member.size = len(data)
            archive.addfile(member, io.BytesIO(data))
        for member in more:
            archive.addfile(member)


def refusal(path: Path, folder: Path) -> str:
    """Return what is said of an archive that is refused, and see that nothing came of it."""
    around = set(folder.parent.iterdir())
    with pytest.raises((LogbookError, SettingsError)) as error:
        restore(path, folder)
    assert set(folder.parent.iterdir()) == around
    assert "\n" not in str(error.value)
    return str(error.value)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (without(MANIFEST_FILE), "is no whole backup of a logbook: it has no babbitt-backup.json"),
        (without("register.sqlite"), "'register.sqlite' is missing"),
        (changed("logbook.toml", b"units = 'imperial'\n"), "is damaged: logbook.toml"),
        (changed("runs/stranger.txt", b""), "'runs/stranger.txt' is missing from it, or does not"),
        (changed(MANIFEST_FILE, b"{}"), "its list is unreadable"),
        (changed(MANIFEST_FILE, b"[1]"), "its list is unreadable"),
        (changed(MANIFEST_FILE, b"\xff"), "its list is unreadable"),
        (told(files=[1]), "its list is unreadable"),
        (told(version=float("inf")), "its list is unreadable"),
        (told(version=2), "was made by a newer program (version 2 of its form"),
        (told(revision="9999"), "was made by a newer program (revision 9999 of the register"),
        (listed("../evil"), "'../evil'"),
        (listed("/evil"), "'/evil'"),
        (listed("runs/../../evil"), "'runs/../../evil'"),
        (listed("runs/engine=../../evil.parquet"), "'runs/engine=../../evil.parquet'"),
        (listed("originals/ab/../../evil.zst"), "'originals/ab/../../evil.zst'"),
        (listed("photos/ab/x.exe"), "'photos/ab/x.exe'"),
    ],
)
def test_what_is_no_backup_as_it_was_written_leaves_nothing(
    change: Callable[[Members], None], says: str, members_once: Members, tmp_path: Path
) -> None:
    members = dict(members_once)
    change(members)
    write_archive(tmp_path / "b.tar", members)
    assert says in refusal(tmp_path / "b.tar", tmp_path / "back")


@pytest.mark.parametrize(
    "kind", [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.DIRTYPE, tarfile.FIFOTYPE]
)
def test_a_member_that_is_no_plain_file_is_refused(
    kind: bytes, members_once: Members, tmp_path: Path
) -> None:
    members = dict(members_once)
    name = next(name for name in members if name.startswith("runs/"))
    link = tarfile.TarInfo(name)
    link.type, link.linkname = kind, "/etc/hostname"
    del members[name]
    write_archive(tmp_path / "b.tar", members, link)
    assert repr(name) in refusal(tmp_path / "b.tar", tmp_path / "back")


def test_a_member_that_is_there_twice_is_refused(members_once: Members, tmp_path: Path) -> None:
    twice = tarfile.TarInfo("logbook.toml")
    write_archive(tmp_path / "b.tar", members_once, twice)
    assert "'logbook.toml'" in refusal(tmp_path / "b.tar", tmp_path / "back")


@pytest.mark.parametrize("data", [b"", b"not a tar", b"PK\x03\x04" + b"\0" * 600])
def test_another_file_is_no_backup(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "b.tar").write_bytes(data)
    assert "is no whole backup of a logbook" in refusal(tmp_path / "b.tar", tmp_path / "back")


def test_a_backup_that_was_cut_off_is_refused(full: Logbook, tmp_path: Path) -> None:
    back_up(full, tmp_path / "b.tar")
    data = (tmp_path / "b.tar").read_bytes()
    for share in (0.3, 0.9):
        (tmp_path / "cut.tar").write_bytes(data[: int(share * len(data))])
        assert "is no whole backup" in refusal(tmp_path / "cut.tar", tmp_path / "back")


def test_a_backup_that_is_not_there(tmp_path: Path) -> None:
    assert "No such file" in refusal(tmp_path / "b.tar", tmp_path / "back")


def test_a_restored_logbook_has_its_register_in_a_file() -> None:
    text = (
        'units = "metric"\n  register = "postgresql://db/team"\n[profile.a]\nambient_kpa = 99.0\n'
    )
    assert parse_settings(text, source="test").register_url == "postgresql://db/team"
    restored = parse_settings(without_server(text), source="test")
    assert restored.register_url is None
    assert restored.profile["a"].ambient_kpa == 99.0
    assert without_server("[profile.a]\ncolumns = {}\n") == "[profile.a]\ncolumns = {}\n"


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ("schema_version = 9\n", "logbook.toml in "),
        ('note = """\n[\n"""\n', "logbook.toml in "),
        ('"register" = "postgresql://db/team"\n', "names a register or files elsewhere"),
    ],
)
def test_settings_that_cannot_be_used_leave_nothing(
    settings: str, says: str, members_once: Members, tmp_path: Path
) -> None:
    members = dict(members_once)
    listed("logbook.toml", settings.encode())(members)
    write_archive(tmp_path / "b.tar", members)
    assert says in refusal(tmp_path / "b.tar", tmp_path / "back")


def test_a_photo_of_a_name_that_no_photo_has_is_not_backed_up(
    full: Logbook, tmp_path: Path
) -> None:
    with full.register.writing() as session:
        session.scalars(select(FindingRow)).one().photos = ["../../secret.png"]
    assert len(back_up(full, tmp_path / "b.tar").missing) == 1
    restore(tmp_path / "b.tar", tmp_path / "back")
    assert not list((tmp_path / "back").rglob("*.png"))
