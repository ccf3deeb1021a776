"""Answers browsers: puts the application, its guard and the server together."""

from __future__ import annotations

import logging
import os
import socket
from contextlib import closing, suppress
from functools import partial
from typing import Any

import waitress

from babbitt.errors import BabbittError, LogbookError
from babbitt.logbook.folder import Logbook, saying_what_failed
from babbitt.logbook.safe_files import whole_file
from babbitt.present.views.fleet import fleet
from babbitt_dashboard.app import make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.guard import MOST_BODY_BYTES, add_guard, hash_password, is_loopback

HASH_FILE = "password.argon2"
SHORTEST_PASSWORD = 10
_THREADS = 8


def set_password(book: Logbook, password: str) -> None:
    """Keep the hash of a password in the logbook, readable by its owner only.

    Raises:
        LogbookError: it is too short, or cannot be written.
    """
    if len(password) < SHORTEST_PASSWORD:
        raise LogbookError(f"The password needs at least {SHORTEST_PASSWORD} characters.")
    with (
        saying_what_failed(f"cannot write {HASH_FILE}"),
        whole_file(book.root / HASH_FILE, mode=0o600) as path,
    ):
        path.write_text(hash_password(password) + "\n", encoding="ascii")


def password_hash_of(book: Logbook) -> str | None:
    """Return the hash that `set_password` keeps; None: no password was set.

    Raises:
        LogbookError: it cannot be read.
    """
    with saying_what_failed(f"cannot read {HASH_FILE}"):
        path = book.root / HASH_FILE
        return path.read_text(encoding="ascii").strip() if path.exists() else None


def make_server(desk: Desk, *, host: str, port: int, behind_tls: bool = False) -> Any:
    """Return a server of the pages that listens already; its `run` answers until interrupted.

    Args:
        desk: the logbook, the clock and who changes things.
        host: address to listen on; any but this machine's own needs a password. One that is set
            is asked for everywhere.
        port: 0 takes a free one.
        behind_tls: a server before this one, on this machine, speaks TLS with the browsers.

    Raises:
        LogbookError: others reach what only the server before this one should, there is no
            password for an address that others reach, or the address cannot
            be used.
    """
    if behind_tls and not is_loopback(host):
        raise LogbookError(
            f"Who reaches {host} could go round the server that speaks TLS, and say in its place "
            "who asks: listen on 127.0.0.1, and let that server pass requests on to it."
        )
    alone = is_loopback(host) and not behind_tls
    locked = password_hash_of(desk.book) is not None
    if not alone and not locked:
        raise LogbookError(
            f"Others could reach {host}, and this logbook has no password: set one with "
            "`babbitt serve --set-password` first."
        )
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    app = make_app(desk)
    asked = partial(password_hash_of, desk.book) if locked else None
    listening = _listen(host, port)
    add_guard(
        app,
        password_hash=asked,
        loopback_only=alone,
        behind_tls=behind_tls,
        port=listening.getsockname()[1],
    )
    # behind another server, who tries passwords is told by what that server says of its guests
    proxied = {"trusted_proxy": "*", "trusted_proxy_headers": {"x-forwarded-for"}}
    server = waitress.create_server(
        app.server,
        sockets=[listening],
        threads=_THREADS,
        ident="babbitt",
        max_request_body_size=MOST_BODY_BYTES,
        **(proxied if behind_tls else {}),
    )
    warm(desk)
    return server


def warm(desk: Desk) -> None:
    """Work out what the first page needs, so that nobody waits for it; a refusal stands there."""
    with suppress(BabbittError):
        fleet(desk.foresight.at(desk.now()), runs=1)


def address_of(server: Any) -> str:
    """Return the address of a server of this module, as a browser takes it."""
    host = f"[{server.effective_host}]" if ":" in server.effective_host else server.effective_host
    return f"http://{host}:{server.effective_port}"


def _listen(host: str, port: int) -> socket.socket:
    """Return a socket that listens; what stands in the way is a sentence."""
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        listening = socket.socket(family, kind, protocol)
        if os.name == "posix":  # elsewhere this lets two servers share a port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind(address)
        except OSError:
            with closing(listening):
                raise
    except OSError as error:
        raise LogbookError(
            f"Cannot listen on {host}, port {port} ({error.strerror or error}): name another with "
            "--port or --host."
        ) from error
    return listening
