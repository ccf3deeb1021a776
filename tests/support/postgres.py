"""A PostgreSQL server of the tests' own: on loopback, in a temporary folder, gone with them."""

from __future__ import annotations

import os
import secrets
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import URL

_DEBIAN = Path("/usr/lib/postgresql")
_MISSING = "PostgreSQL is needed to test the register: install it with `apt-get install postgresql`"

_PATIENCE_S = 60.0

_QUICK = {
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "autovacuum_naptime": "1s",
    "shared_buffers": "16MB",
    "max_connections": "40",
    "max_wal_senders": "0",
    "wal_level": "minimal",
    "unix_socket_directories": "",
    "listen_addresses": "127.0.0.1",
}
"""Settings of a server whose data nobody will miss."""


@contextmanager
def server() -> Iterator[URL]:
    """Yield the address of the database `postgres` on a new server, which then is stopped."""
    if os.name != "posix":
        pytest.skip("a server of the tests' own can be started on POSIX systems only")
    programs = _programs()
    with tempfile.TemporaryDirectory(prefix="register-postgres-") as name:
        folder, password = Path(name), secrets.token_hex(16)
        (folder / "password").write_text(password)
        run_as = _ordinary_user(folder)
        made = subprocess.run(
            [
                programs / "initdb",
                f"--pgdata={folder / 'data'}",
                "--username=register",
                f"--pwfile={folder / 'password'}",
                "--auth=scram-sha-256",
                "--encoding=UTF8",
                "--no-locale",
                "--no-sync",
            ],
            cwd="/",
            capture_output=True,
            text=True,
            **run_as,
        )
        if made.returncode:
            pytest.fail(f"no database could be made: {made.stderr}")
        port = _free_port()
        settings = [f"--{key}={value}" for key, value in (_QUICK | {"port": port}).items()]
        command = [*_die_with_us(), programs / "postgres", "-D", folder / "data", *settings]
        with (folder / "log").open("w") as log:
            running = subprocess.Popen(command, cwd="/", stdout=log, stderr=log, **run_as)
        try:
            _wait_for(running, [programs / "pg_isready", "-q", "-h", "127.0.0.1", "-p", str(port)])
            yield URL.create(
                "postgresql", "register", password, "127.0.0.1", port, database="postgres"
            )
        finally:
            running.send_signal(signal.SIGQUIT)  # at once, without keeping anything
            running.wait()


def _programs() -> Path:
    """Return the folder of the server's programs; without them the tests fail."""
    versions = sorted(_DEBIAN.glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if versions:
        return versions[-1].parent
    found = shutil.which("initdb")
    if found is None:
        pytest.fail(_MISSING)
    return Path(found).parent


def _ordinary_user(folder: Path) -> dict[str, Any]:
    """Give the folder to an ordinary user where the tests run as root, whom the server refuses."""
    import pwd  # POSIX only

    if os.geteuid() != 0:
        return {}
    user = next(
        user for name in ("postgres", "nobody") for user in pwd.getpwall() if user.pw_name == name
    )
    for path in (folder, *folder.iterdir()):
        os.chown(path, user.pw_uid, user.pw_gid)
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _die_with_us() -> list[str]:
    """Return what makes the server stop even where the tests are killed, on Linux."""
    setpriv = shutil.which("setpriv")
    return [setpriv, "--pdeathsig", "QUIT"] if setpriv else []


def _wait_for(running: subprocess.Popen[bytes], is_ready: list[Any]) -> None:
    last = time.monotonic() + _PATIENCE_S
    while subprocess.run(is_ready).returncode:
        if running.poll() is not None or time.monotonic() > last:
            pytest.fail("the PostgreSQL server did not start")
        time.sleep(0.05)
