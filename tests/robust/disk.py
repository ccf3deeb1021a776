"""A disk that fails on demand: a library before the C library, and a small disk that fills up.

The library is compiled where it is needed. It holds for the processes that are started with it, so
a script starts itself again (`again_with_library`).
"""

from __future__ import annotations

import ctypes
import mmap
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_SOURCE = Path(__file__).with_name("failing_disk.c")
_ORDERS = "FAILING_DISK"
"""Environment variable that names the file through which the library is told what to do."""


def missing() -> str:
    """Say why no failing disk can be had here; empty where one can."""
    if sys.platform != "linux":
        return "calls of the C library are failed on Linux only"
    if shutil.which("cc") is None:
        return "a C compiler is needed to make a disk fail: install one with `apt-get install gcc`"
    return ""


def again_with_library() -> int:
    """Run this script once more, with the library before the C library; return its exit status."""
    with tempfile.TemporaryDirectory(prefix="failing-disk-") as name:
        library, orders = Path(name) / "disk.so", Path(name) / "orders"
        made = ["cc", "-O1", "-shared", "-fPIC", "-o", library, _SOURCE, "-ldl"]
        subprocess.run(made, check=True)
        orders.write_bytes(bytes(ctypes.sizeof(_Orders)))
        environment = os.environ | {"LD_PRELOAD": str(library), _ORDERS: str(orders)}
        return subprocess.run([sys.executable, *sys.argv], env=environment).returncode


def has_library() -> bool:
    """Whether this process was started with the library."""
    return _ORDERS in os.environ


class _Orders(ctypes.Structure):
    """What failing_disk.c calls `struct orders`."""

    _fields_ = (
        ("on", ctypes.c_int32),
        ("nth", ctypes.c_int32),
        ("error", ctypes.c_int32),
        ("for_good", ctypes.c_int32),
        ("calls", ctypes.c_int32),
        ("failed", ctypes.c_int32),
        ("folder", ctypes.c_char * 4096),
    )


class FailingDisk:
    """Makes the calls that change files below a folder fail, in this process and its children."""

    def __init__(self) -> None:
        with Path(os.environ[_ORDERS]).open("r+b") as file:
            self._orders = _Orders.from_buffer(mmap.mmap(file.fileno(), 0))

    @contextmanager
    def failing(
        self, folder: Path, nth: int = 0, error: int = 0, *, for_good: bool = False
    ) -> Iterator[None]:
        """Let calls fail while the block lasts.

        Args:
            folder: the disk, so to speak.
            nth: the call that fails first, from 1; 0: none.
            error: as `errno` names it.
            for_good: all calls after it fail as well.
        """
        orders = self._orders
        orders.folder = os.fsencode(folder.resolve())
        orders.nth, orders.error, orders.for_good = nth, error, for_good
        orders.calls = orders.failed = 0
        orders.on = 1
        try:
            yield
        finally:
            orders.on = 0

    @property
    def calls(self) -> int:
        """So many calls there were in the last block."""
        return int(self._orders.calls)

    @property
    def failed(self) -> int:
        """So many of them failed."""
        return int(self._orders.failed)


@contextmanager
def small_disk(folder: Path, size: int) -> Iterator[str]:
    """Mount a disk in memory on a folder; yield why that cannot be done, empty where it is.

    Args:
        folder: empty.
        size: of the disk, bytes.
    """
    command = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", folder]
    try:
        refused = subprocess.run(command, capture_output=True, text=True)
    except FileNotFoundError:
        yield "there is no program `mount`"
        return
    if refused.returncode:
        yield f"no disk can be mounted here: {refused.stderr.strip()}"
        return
    try:
        yield ""
    finally:
        subprocess.run(["umount", "--lazy", folder], check=True)
