"""The audit of dependencies: it fails where an advisory applies, and never keeps silent."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from audit import LOCK, audit

HOLE = {
    "id": "MADE-UP-1",
    "summary": "an invented hole",
    "affected": [
        {
            "package": {"name": "invented-loose", "ecosystem": "PyPI"},
            "ranges": [
                {"type": "ECOSYSTEM", "events": [{"introduced": "0"}, {"fixed": "9.9"}]},
            ],
        }
    ],
}
Serve = Callable[[Callable[[Any], tuple[int, Any]]], str]


@pytest.fixture
def serve() -> Iterator[Serve]:
    """Start a database that answers by a function, and return the option that names it."""
    servers = []

    def start(answer: Callable[[Any], tuple[int, Any]]) -> str:
        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                asked = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                status, told = answer(asked)
                body = json.dumps(told).encode()
                self.send_response(status)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: object) -> None:
                pass

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        servers.append((server, thread))
        return f"--osv-url=http://127.0.0.1:{server.server_port}/v1/query"

    yield start
    for server, thread in servers:
        server.shutdown()
        server.server_close()
        thread.join(10.0)


@pytest.fixture
def lock(tmp_path: Path) -> Path:
    path = tmp_path / "made.lock"
    path.write_text(
        f"invented-loose==1.0 --hash=sha256:{'0' * 64}\ninvented-tight==2.0 "
        f"--hash=sha256:{'1' * 64}\n",
        "utf-8",
    )
    return path


def loose(asked: Any) -> tuple[int, Any]:
    return 200, {"vulns": [HOLE]} if asked["package"]["name"] == "invented-loose" else {}


def test_an_advisory_that_applies_fails_and_is_named(lock: Path, serve: Serve) -> None:
    status, said = audit(lock, serve(loose))
    assert status == 1
    assert said == (
        "2 dependencies of made.lock audited: invented-loose 1.0: MADE-UP-1, mended in 9.9."
    )


def test_without_an_advisory_it_passes_and_says_so(lock: Path, serve: Serve) -> None:
    assert audit(lock, serve(lambda _: (200, {}))) == (
        0,
        "2 dependencies of made.lock audited: no advisory applies.",
    )


@pytest.mark.parametrize("status", [403, 500, 503])
def test_a_database_that_does_not_answer_is_said(lock: Path, serve: Serve, status: int) -> None:
    assert audit(lock, serve(lambda _: (status, {}))) == (
        0,
        "not audited: the database of advisories for made.lock cannot be reached.",
    )


def test_a_database_that_is_not_there_is_said(lock: Path) -> None:
    status, said = audit(lock, "--osv-url=http://127.0.0.1:1/v1/query", "--timeout=5")
    assert (status, said[:12]) == (0, "not audited:")


def test_a_lock_that_cannot_be_read_fails(tmp_path: Path) -> None:
    (tmp_path / "broken.lock").write_text("]]]", "utf-8")
    status, said = audit(tmp_path / "broken.lock", "--osv-url=http://127.0.0.1:1/")
    assert status == 1
    assert said.startswith("not audited, for broken.lock cannot be read")


def test_every_locked_dependency_is_asked_about(serve: Serve) -> None:
    asked = set()

    def note(about: Any) -> tuple[int, Any]:
        asked.add(f"{about['package']['name']}=={about['version']}")
        return 200, {}

    status, said = audit(LOCK, serve(note))
    assert status == 0, said
    locked = re.findall(r"^([a-z0-9-]+)(?:\[[^]]*\])?==([^ ;\\]+)", LOCK.read_text("utf-8"), re.M)
    assert asked <= {"==".join(pair) for pair in locked}
    assert len(asked) > len(locked) / 2  # some are for other systems
