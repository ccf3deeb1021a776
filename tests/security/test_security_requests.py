"""What a request may ask for: from where, by what name, how much, and what every answer carries."""

from __future__ import annotations

import io
import json
import shutil
import socket
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

import flask.testing
import pytest

from answering import answering
from babbitt.logbook.folder import Logbook, open_logbook
from babbitt.present.views.logs_inbox import MOST_BYTES
from babbitt.register.records.teardowns import kept_photos
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.guard import MOST_BODY_BYTES
from babbitt_dashboard.serving import make_server
from babbitt_dashboard.uploads import MOST_PIECE_BYTES
from engine_book import NOW

OUTSIDE = "root:x:0:0: a secret beside the logbook"
UPWARDS = [
    "../secret",
    "..%2fsecret",
    "%2e%2e/secret",
    "..\\secret",
    "..%5csecret",
    "....//secret",
    "/etc/passwd",
    "%2fetc%2fpasswd",
    "..",
    ".",
    "~root",
    "a/../../secret",
    "%00",
    "secret%00.jpg",
    "x" * 5000,
    "\u202e",
    "con",
    "logbook.toml",
    "..%2flogbook.toml",
    "..%2fpassword.argon2",
    "..%2fregister.sqlite",
]


@pytest.fixture
def secret(book: Logbook) -> Path:
    path = book.root.parent / "secret"
    path.write_text(OUTSIDE, encoding="utf-8")
    (book.root / "password.argon2").write_text(OUTSIDE, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def wire(made_strip_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """The port of a server of these pages, as on a user's machine."""
    book = open_logbook(shutil.copytree(made_strip_book, tmp_path_factory.mktemp("wire") / "book"))
    server = make_server(Desk(book, lambda: NOW, "Bob"), host="127.0.0.1", port=0)
    with answering(server):
        yield server.effective_port


def said_on(port: int, request: bytes) -> bytes:
    with closing(socket.create_connection(("127.0.0.1", port), 10.0)) as line:
        line.sendall(request)
        line.settimeout(10.0)
        told = b""
        while block := line.recv(65536):
            told += block
            if b"\r\n\r\n" in told:
                break
    return told


PLACES = [
    "/photo/{}",
    "/photo/small/{}",
    "/csv/{}.csv",
    "/csv/events.csv?engine={}",
    "/report/engine/{}.html",
    "/report/run/{}.html",
    "/report/teardown/{}.html",
    "/report/runs.html?engine={}",
    "/assets/{}",
    "/_dash-component-suites/dash/{}",
    "/_dash-component-suites/{}/x.js",
    "/engine/{}",
    "/{}",
]


@pytest.mark.parametrize("place", PLACES)
def test_no_address_leads_out_of_what_is_served(
    pages: flask.testing.FlaskClient, secret: Path, place: str
) -> None:
    for name in UPWARDS:
        answer = pages.get(place.format(name))
        assert answer.status_code < 500, name
        assert OUTSIDE.encode() not in answer.data
        assert b"schema_version" not in answer.data
        assert b"SQLite format" not in answer.data


def test_only_photos_of_findings_are_shown(pages: flask.testing.FlaskClient, book: Logbook) -> None:
    with book.register.reading() as session:
        (name,) = kept_photos(session)
    with pages.get(f"/photo/{name}") as answer:
        assert answer.status_code == 200
    other = book.photo_path("0" * 64 + ".jpg")
    other.parent.mkdir()
    other.write_bytes(book.photo_path(name).read_bytes())
    assert pages.get(f"/photo/{other.name}").status_code == 404


@pytest.mark.parametrize(
    "name",
    ["../../x.csv", "/etc/x.csv", "..\\..\\x.csv", "C:\\x.csv", "a/b/../../x.csv", "\0x.csv"],
)
def test_an_uploaded_log_lies_under_a_name_of_our_own(
    pages: flask.testing.FlaskClient, book: Logbook, name: str
) -> None:
    before = {path for path in book.root.parent.rglob("*") if ".uploads" not in path.parts}
    asked = {"name": name, "size": "4", "modified": "0", "at": "0"}
    answer = pages.post("/upload", query_string=asked, data=b"1,2\n")
    assert answer.status_code == 200
    token = answer.json["token"]
    assert (book.root / ".uploads" / token / "log").read_bytes() == b"1,2\n"
    about = json.loads((book.root / ".uploads" / token / "about.json").read_text("utf-8"))
    assert about["name"] == "x.csv"
    after = {path for path in book.root.parent.rglob("*") if ".uploads" not in path.parts}
    assert after == before


@pytest.mark.parametrize("token", ["..", "../..", "%2e%2e", "0" * 15, "0" * 16, "g" * 16, "/etc"])
def test_a_made_up_token_takes_no_piece(pages: flask.testing.FlaskClient, token: str) -> None:
    answer = pages.post("/upload", query_string={"token": token, "at": "0"}, data=b"1")
    assert answer.status_code == 400
    assert answer.json["error"].endswith(".")


@pytest.mark.parametrize(
    "asked",
    [
        {"size": str(MOST_BYTES + 1)},
        {"size": "0"},
        {"size": "-1"},
        {"size": "9" * 16},
        {"size": "٣"},
        {"modified": "9" * 15},
        {"modified": "nan"},
        {"modified": ""},
        {"at": "1"},
        {"at": "9" * 15},
        {"name": "x.exe"},
        {"name": ""},
        {"name": "x.csv" * 5000},
        {},
    ],
)
def test_an_upload_that_cannot_be_is_refused_in_a_sentence(
    pages: flask.testing.FlaskClient, asked: dict[str, str]
) -> None:
    whole = {"name": "x.csv", "size": "4", "modified": "0", "at": "0"} | asked
    answer = pages.post("/upload", query_string=whole, data=b"1,2\n" * (1 if asked else 2))
    assert answer.status_code in ((200, 400) if "name" in asked else (400,))
    if answer.status_code == 400:
        assert answer.json["error"].endswith(".")


def test_more_than_a_piece_or_a_request_is_refused(pages: flask.testing.FlaskClient) -> None:
    piece = io.BytesIO(b"1" * (MOST_PIECE_BYTES + 1))
    assert pages.post("/upload", data=piece).status_code == 413
    body = b'"' + b"1" * MOST_BODY_BYTES + b'"'
    answer = pages.post("/_dash-update-component", data=body, content_type="application/json")
    assert answer.status_code == 413


def test_a_request_too_large_is_refused_before_it_is_read(wire: int) -> None:
    head = (
        f"POST /_dash-update-component HTTP/1.1\r\nHost: 127.0.0.1:{wire}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {MOST_BODY_BYTES + 1}\r\n\r\n"
    )
    assert said_on(wire, head.encode()).startswith(b"HTTP/1.1 413")


@pytest.mark.parametrize(
    "request_line",
    [
        b"GET /../../etc/passwd HTTP/1.1",
        b"GET //etc/passwd HTTP/1.1",
        b"GET /%2e%2e/%2e%2e/etc/passwd HTTP/1.1",
        b"GET http://elsewhere.example/ HTTP/1.1",
        b"GET /\xff\xfe HTTP/1.1",
        b"GET / HTTP/9.9",
        b"\0\1\2",
        b"GET " + b"/a" * 200_000 + b" HTTP/1.1",
    ],
)
def test_requests_that_no_browser_makes_are_answered(wire: int, request_line: bytes) -> None:
    host = f"\r\nHost: 127.0.0.1:{wire}\r\nConnection: close\r\n\r\n".encode()
    told = said_on(wire, request_line + host)
    assert told.startswith(b"HTTP/1.")
    assert b" 500 " not in told.splitlines()[0]
    assert b"root:" not in told


ELSEWHERE = [
    {"Origin": "http://elsewhere.example"},
    {"Origin": "http://localhost.elsewhere.example"},
    {"Origin": "http://localhost:1"},
    {"Origin": "null"},
    {"Origin": "http://["},
    {"Origin": "file://"},
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site"},
    {"Sec-Fetch-Site": "?"},
]


@pytest.mark.parametrize("headers", ELSEWHERE)
@pytest.mark.parametrize("path", ["/_dash-update-component", "/upload", "/login"])
def test_a_change_asked_for_by_another_site_is_refused_everywhere(
    pages: flask.testing.FlaskClient, path: str, headers: dict[str, str]
) -> None:
    assert pages.post(path, json={}, headers=headers).status_code == 403


def test_reading_changes_nothing(pages: flask.testing.FlaskClient, app: object) -> None:
    for path in ("/_dash-update-component", "/upload"):
        assert pages.get(path).status_code in (200, 405)
        assert b"multi" not in pages.get(path).data


@pytest.mark.parametrize(
    "host",
    ["elsewhere.example", "localhost.elsewhere.example", "10.0.0.1", "[", "a b", "", "0", "::"],
)
def test_a_name_that_was_rebound_to_this_machine_is_not_served(wire: int, host: str) -> None:
    request = f"GET /_dash-layout HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
    assert said_on(wire, request.encode()).split(b" ")[1] in (b"400", b"403")


ANSWERS = {
    "/": 200,
    "/nowhere": 200,
    "/_dash-layout": 200,
    "/_dash-dependencies": 200,
    "/report/engines.html": 200,
    "/report/engine/E9.html": 404,
    "/csv/events.csv": 200,
    "/csv/none.csv": 404,
    "/photo/none.jpg": 404,
    "/assets/paper.css": 200,
    "/assets/none.css": 404,
    "/_dash-component-suites/os/x.js": 404,
    "/upload": 200,
    "/login": 302,
}


@pytest.mark.parametrize("path", ANSWERS)
def test_every_answer_tells_the_browser_to_keep_to_itself(
    pages: flask.testing.FlaskClient, path: str
) -> None:
    with pages.get(path) as answer:
        assert answer.status_code == ANSWERS[path]
        told = answer.headers
    assert "frame-ancestors 'none'" in told["Content-Security-Policy"]
    assert told["X-Content-Type-Options"] == "nosniff"
    assert told["X-Frame-Options"] == "DENY"
    assert told["Referrer-Policy"] == "same-origin"
    assert told["Cross-Origin-Opener-Policy"] == "same-origin"
    assert told["Cross-Origin-Resource-Policy"] == "same-origin"
    ours = path.startswith(("/assets/", "/_dash-component-suites/"))
    assert ("no-store" in told.get("Cache-Control", "")) != ours


def test_photos_stay_in_this_browser(pages: flask.testing.FlaskClient, book: Logbook) -> None:
    with book.register.reading() as session:
        (name,) = kept_photos(session)
    for path in (f"/photo/{name}", f"/photo/small/{name}"):
        with pages.get(path) as answer:
            told = answer.headers
        assert "private" in told["Cache-Control"]
        assert "public" not in told["Cache-Control"]
        assert told["Content-Type"] == "image/jpeg"
        assert told["X-Content-Type-Options"] == "nosniff"


def test_the_refusals_of_the_guard_carry_the_headers_too(
    locked: flask.testing.FlaskClient,
) -> None:
    for answer in (
        locked.get("/", headers={"Accept": "text/html"}),
        locked.get("/_dash-layout"),
        locked.get("/login"),
        locked.post("/upload", headers={"Origin": "null"}),
    ):
        assert answer.status_code in (200, 302, 401, 403)
        assert answer.headers["Cache-Control"] == "no-store"
        assert "default-src 'self'" in answer.headers["Content-Security-Policy"]


def test_a_name_to_save_under_is_a_name(pages: flask.testing.FlaskClient) -> None:
    for engine in ('a"b', "a;b", "a\r\nX-Evil: 1", "../x", "é"):
        answer = pages.get(f"/csv/events.csv?engine={quote(engine)}")
        assert answer.status_code == 404
        assert "X-Evil" not in answer.headers


def test_a_fault_says_nothing_of_what_is_inside(
    pages: flask.testing.FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("babbitt_dashboard.downloads.fleet", lambda *_, **__: 1 / 0)
    answer = pages.get("/report/engines.html")
    assert answer.status_code == 500
    assert answer.text == "A fault in Babbitt stopped this, and nothing was changed."
