"""A PostgreSQL server of the tests' own: on loopback, in a temporary folder, gone with them."""

from __future__ import annotations

import os
import pwd
import secrets
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import URL

_DEBIAN = Path("/usr/lib/postgresql")
_MISSING = "PostgreSQL is needed to test the register: install it with `apt-get install postgresql`"

_QUICK = {
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "autovacuum": "off",
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
    programs = _programs()
    with tempfile.TemporaryDirectory(prefix="register-postgres-") as name:
        folder, password = Path(name), secrets.token_hex(16)
        (folder / "password").write_text(password)
        run_as = _ordinary_user(folder)
        _run(
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
            **run_as,
        )
        port = _free_port()
        settings = [f"-c {key}={value!r}" for key, value in (_QUICK | {"port": port}).items()]
        control = [programs / "pg_ctl", f"--pgdata={folder / 'data'}", "--silent", "-w"]
        log = f"--log={folder / 'log'}"
        _run([*control, log, "-o", " ".join(settings), "start"], **run_as)
        try:
            yield URL.create(
                "postgresql", "register", password, "127.0.0.1", port, database="postgres"
            )
        finally:
            _run([*control, "--mode=immediate", "stop"], **run_as)


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


def _run(command: list[Any], **options: Any) -> None:
    done = subprocess.run(
        command, cwd="/", stdin=subprocess.DEVNULL, capture_output=True, text=True, **options
    )
    if done.returncode:
        pytest.fail(f"{command[0]} failed: {done.stderr.strip() or done.stdout.strip()}")
