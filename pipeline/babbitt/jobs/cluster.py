"""The machines of a Dask cluster as workers; see backlog.py for those of this one."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError, Future, wait
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar

from babbitt.errors import LogbookError
from babbitt.jobs.backlog import in_order
from babbitt.jobs.detect import Apply

if TYPE_CHECKING:
    from distributed import Client

_AHEAD = 4
"""Items a worker thread may be ahead of the one whose answer is waited for."""

_LOOK_S = 2.0
"""So often it is looked whether the scheduler is still there while an answer is waited for."""

_PATIENCE = "10s"
"""A scheduler that is there answers within this time."""

_TRIES = 3
"""Times that this machine may be too busy to start what speaks with a scheduler."""

T = TypeVar("T")
R = TypeVar("R")


@contextmanager
def on_cluster(address: str) -> Iterator[Apply]:
    """Yield a `map` whose function the workers of a cluster call.

    What a worker that is lost was at goes to another. The workers have this program, and reach the
    logs, the logbook's folder and what it names in its settings by the same names as this machine.

    Args:
        address: of the scheduler, like `tcp://host:8786`.

    Raises:
        LogbookError: no cluster is there, or, from the `map`, it was lost on the way.
    """
    try:
        from distributed.scheduler import KilledWorker
    except ModuleNotFoundError as error:
        raise LogbookError(
            "A cluster needs the library `distributed`: `pip install distributed` on every machine "
            "of it, or leave --cluster out."
        ) from error
    client = connected(address)

    def apply(function: Callable[[T], R], items: Iterable[T], /) -> Iterator[R]:
        # Every call is one of its own, though it be like another: it writes files.
        executor = client.get_executor(pure=False)
        try:
            yield from in_order(executor, _AHEAD * _threads(client), answer)(function, items)
        except KilledWorker as error:
            raise LogbookError(
                "Every worker of the cluster that was given one of the logs was lost, for want of "
                "memory perhaps: repeat the command with larger workers, or without --cluster."
            ) from error
        except (CancelledError, OSError) as error:
            raise LogbookError(
                f"The cluster at {address} was lost: repeat the command, which goes on from there."
            ) from error
        finally:
            executor.shutdown(wait=False)

    def answer(future: Future[R]) -> R:
        """Return an answer; one to a call that was handed out as the cluster went never comes."""
        while not wait([future], timeout=_LOOK_S).done:
            if client.status != "running":
                raise ConnectionError("the scheduler does not answer any more")
        return future.result()

    with client:
        yield apply


def connected(address: str) -> Client:
    """Return a client of the cluster, of which it is not made the default.

    Raises:
        LogbookError: no cluster is there, or this machine is too busy to ask.
    """
    from distributed import Client

    for _ in range(_TRIES):
        answers = True
        try:
            return Client(address, timeout=_PATIENCE, set_as_default=False)
        except (OSError, ValueError):
            answers = False
        except AssertionError:
            pass  # it asserts that its thread runs after 10 s: longer on a crowded machine
        # A client that failed is closed as it is collected; were that while the next one starts,
        # the library would wait for a lock that it holds itself.
        gc.collect()
        if not answers:
            raise LogbookError(
                f"No cluster answers at {address}: start its scheduler, or name it like "
                "tcp://host:8786."
            )
    raise LogbookError(
        "This machine is too busy to speak with the cluster: repeat the command once it has less "
        "to do."
    )


def _threads(client: Client) -> int:
    """Return how many calls the workers that are there make at once."""
    threads: dict[str, int] = client.nthreads()
    return max(1, sum(threads.values()))
