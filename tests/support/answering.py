"""The server of the pages in a thread of a test."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

_PATIENCE_S = 10.0


@contextmanager
def answering(server: Any) -> Iterator[None]:
    """Let a server of `make_server` answer while the block lasts, and what was asked by then."""
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield
    until = time.monotonic() + _PATIENCE_S
    while any(each.requests for each in channels_of(server)) and time.monotonic() < until:
        time.sleep(0.02)

    def close() -> None:
        for each in channels_of(server):
            each.handle_close()
        server.close()

    # The thread that waits on the sockets closes them: it would fail on one that another closes.
    server.trigger.pull_trigger(close)
    thread.join(_PATIENCE_S)
    server.task_dispatcher.shutdown()
    assert not thread.is_alive()


def channels_of(server: Any) -> list[Any]:
    """Return the connections that are open."""
    return list(server.active_channels.values())
