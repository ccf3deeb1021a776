"""Runs and logs in a store elsewhere: the same job as in the logbook's folder, byte for byte."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import boto3
import pytest
from moto.server import ThreadedMotoServer

from babbitt.errors import LogbookError, SettingsError
from babbitt.ingest.correct import Correction
from babbitt.ingest.source import Instructions
from babbitt.jobs import move_runs as moves
from babbitt.jobs.back_up import back_up, restore
from babbitt.jobs.backlog import in_order, process_pool, take_in
from babbitt.jobs.detect import judge_engine
from babbitt.jobs.ingest import incoming_folder, ingest_log
from babbitt.jobs.ingest_result import Intake
from babbitt.jobs.verify import verify
from babbitt.logbook.file_store import FileStore, elsewhere
from babbitt.logbook.folder import Logbook, create_logbook, open_logbook, settings_text
from babbitt.register.records import engines, events, runs
from invented import SPEC
from small_logs import write_log, write_season

FOR_E1 = Instructions(engine_id="E1")
_numbers = count()


@pytest.fixture(scope="module")
def s3_server() -> Iterator[str]:
    """An S3-compatible server on loopback, moto's; yields its address."""
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    yield f"{host}:{port}"
    server.stop()


@pytest.fixture(params=["another disk", "S3"])
def address(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """The address of an empty store."""
    if request.param == "another disk":
        return (tmp_path / "big disk").as_uri()
    where = request.getfixturevalue("s3_server")
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "team")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "invented")
    monkeypatch.setenv("AWS_EC2_METADATA_DISABLED", "true")
    bucket = f"team{next(_numbers)}"
    client = boto3.client("s3", endpoint_url=f"http://{where}", region_name="us-east-1")
    client.create_bucket(Bucket=bucket)
    return f"s3://{bucket}/babbitt?region=us-east-1&scheme=http&endpoint_override={where}"


@pytest.fixture
def make_book(tmp_path: Path) -> Callable[..., Logbook]:
    def make(name: str, files: str | None = None) -> Logbook:
        line = f'files = "{files}"\n' if files else ""
        book = create_logbook(
            tmp_path / name, settings_text().replace("units =", f"{line}units =", 1)
        )
        with book.register.writing() as session:
            for engine_id in ("E1", "E2"):
                engines.add_engine(session, engine_id, SPEC)
        return book

    return make


@pytest.fixture
def book(make_book: Callable[..., Logbook], address: str) -> Logbook:
    return make_book("book", address)


def take_in_all(book: Logbook, logs: list[Path]) -> list[Intake]:
    with incoming_folder(book) as folder, process_pool(2) as pool:
        intakes = list(take_in(book, logs, FOR_E1, folder, apply=in_order(pool, 4)))
        assert judge_engine(book, "E1", apply=in_order(pool, 4)).failures == ()
    return intakes


def in_folders(files: FileStore) -> dict[str, bytes]:
    names = [name for folder in ("runs", "originals") for name in files.names(folder)]
    return {name: files.open(name).read() for name in names}


def test_the_same_files_and_events_come_to_lie_in_any_store(
    book: Logbook, make_book: Callable[..., Logbook], tmp_path: Path
) -> None:
    logs = write_season(tmp_path / "logs", logs=4)
    at_home = make_book("home")
    assert take_in_all(book, logs) == take_in_all(at_home, logs)
    there, here = in_folders(book.files), in_folders(at_home.files)
    assert there == here
    assert len(there) == 10
    with book.register.reading() as one, at_home.register.reading() as other:
        assert events.list_events(one) == events.list_events(other)
    assert verify(book).faults == ()
    assert verify(book).unfinished == ()
    assert not (book.root / "runs").exists()


def test_a_run_can_be_moved_read_again_and_taken_back_there(book: Logbook, tmp_path: Path) -> None:
    log = write_log(tmp_path / "a.csv", "2026-05-03T10:00:00Z")
    run_id = str(ingest_log(book, log, FOR_E1).run_id)
    name = book.run_name("E1", run_id)
    before = in_folders(book.files)
    moves.assign_run(book, run_id, "E2", reason="mixed up", who="Ann")
    assert book.run_name("E2", run_id) in book.files.names("runs")
    assert name not in book.files.names("runs")
    moves.undo(book, reason="", who="Ann")
    moves.reread_run(book, run_id, Correction(units={"oil_pressure": "psi"}), reason="", who="Ann")
    assert (
        in_folders(book.files)[book.run_name("E1", run_id)] != before[book.run_name("E1", run_id)]
    )
    moves.undo(book, reason="", who="Ann")
    assert set(in_folders(book.files)) == set(before)
    assert verify(book).faults == ()


@pytest.mark.parametrize("at", ["stage", "move"])
def test_a_store_that_fails_leaves_nothing(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: str
) -> None:
    log = write_log(tmp_path / "a.csv", "2026-05-03T10:00:00Z")
    real, calls = getattr(FileStore, at), []

    def failing(*args: object) -> object:
        calls.append(args)
        if len(calls) == 2:
            raise OSError("connection lost")
        return real(*args)

    with monkeypatch.context() as broken:
        broken.setattr(FileStore, at, failing)
        intake = ingest_log(book, log, FOR_E1)
    assert intake.status == "refused"
    assert "connection lost" in str(intake.error)
    assert book.files.names("runs") == book.files.names("originals") == []
    assert verify(book).unfinished == ()
    assert ingest_log(book, log, FOR_E1).status == "ingested"


def test_what_a_cut_off_command_left_there_is_named(book: Logbook, tmp_path: Path) -> None:
    with incoming_folder(book) as folder:
        written = folder / "log"
        written.write_bytes(b"half a log")
        staged = book.files.stage(written, folder)
        (left,) = {line for line in verify(book).unfinished if str(folder) not in line}
        assert book.files.shown(staged.split("/")[0]) in left
    assert verify(book).unfinished == ()


def test_a_store_that_does_not_answer_is_said_in_a_sentence(
    make_book: Callable[..., Logbook], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "team")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "invented")
    nowhere = "s3://team/babbitt?region=us-east-1&scheme=http&endpoint_override=127.0.0.1:1"
    book = make_book("book", nowhere)
    (fault,) = verify(book).faults
    assert fault.startswith("Cannot look through s3://team/babbitt: ")
    log = write_log(tmp_path / "a.csv", "2026-05-03T10:00:00Z")
    intake = ingest_log(book, log, FOR_E1)
    assert intake.status == "refused"
    assert str(intake.error).startswith("Cannot take in ")
    assert intake.later
    with pytest.raises(LogbookError, match="or its store lost"):
        book.read_run("E1", "r1")
    with pytest.raises(LogbookError, match="Cannot look for "):
        book.run_stamp("E1", "r1")


def test_a_file_that_is_lost_there_is_told(book: Logbook, tmp_path: Path) -> None:
    log = write_log(tmp_path / "a.csv", "2026-05-03T10:00:00Z")
    run_id = str(ingest_log(book, log, FOR_E1).run_id)
    name = book.run_name("E1", run_id)
    book.files.delete(name)
    (fault,) = verify(book).faults
    assert f"{book.files.shown(name)} is missing" in fault
    with book.register.reading() as session:
        sha256 = str(runs.find_run(session, run_id).source_sha256)
    assert book.read_original(sha256) == log.read_bytes()


def test_a_backup_holds_what_lies_there_and_comes_back_at_home(
    book: Logbook, tmp_path: Path
) -> None:
    ingest_log(book, write_log(tmp_path / "a.csv", "2026-05-03T10:00:00Z"), FOR_E1)
    assert back_up(book, tmp_path / "book.tar").missing == ()
    assert restore(tmp_path / "book.tar", tmp_path / "back").faults == ()
    back = open_logbook(tmp_path / "back")
    assert back.files.on_disk
    assert in_folders(back.files) == in_folders(book.files)
    assert (back.root / "runs").is_dir()


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("ftp://host/folder", "is no address of a store"),
        ("s3://", "is no address of a store"),
        ("s3://team/folder?colour=red", "cannot be used"),
        ("runs", "is no address of a store"),
    ],
)
def test_an_address_that_cannot_be_used_is_refused(address: str, says: str) -> None:
    with pytest.raises(SettingsError, match=says):
        elsewhere(address)
