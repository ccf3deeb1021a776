"""Who does the work of a command: processes of this machine, or those of a cluster."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from babbitt.commands.common import err, progress
from babbitt.logbook.folder import Logbook
from babbitt.model.records import RunRecord
from babbitt.register.records import runs

if TYPE_CHECKING:
    from babbitt.jobs.detect import Apply, Judged

WorkersOption = Annotated[
    int | None,
    typer.Option(min=1, help="Processes that share the work.", show_default="as many as pay off"),
]
ClusterOption = Annotated[
    str | None,
    typer.Option(
        metavar="ADDRESS", help="Of a Dask scheduler whose workers do it, like tcp://host:8786."
    ),
]


def at_work(
    work: Sequence[Path | RunRecord], workers: int | None = None, cluster: str | None = None
) -> AbstractContextManager[Apply]:
    """Return what yields a `map` for work on logs or runs.

    Args:
        work: what may have to be read or searched.
        workers: processes of this machine; None: as many as pay off.
        cluster: address of a cluster that does it instead.

    Raises:
        LogbookError: no cluster is there.
    """
    if cluster is None:
        from babbitt.jobs.backlog import on_cores  # slow to import

        return on_cores(work, workers)
    if workers is not None:
        raise typer.BadParameter("the cluster has its own", param_hint="--workers")
    from babbitt.jobs.cluster import on_cluster  # needs a library that few have

    return on_cluster(cluster)


def rejudge(
    book: Logbook,
    engine_id: str,
    *,
    workers: int | None = None,
    cluster: str | None = None,
    quiet: bool = False,
) -> Judged:
    """Search what a change left to be searched again, and say so on standard error.

    Args:
        book: the logbook.
        engine_id: the engine.
        workers: processes that search; None: as many as pay off.
        cluster: address of a cluster that searches instead.
        quiet: say nothing.
    """
    from babbitt.jobs.detect import judge_engine  # slow to import

    with book.register.reading() as session:
        listed = runs.list_runs(session, engine_id=engine_id)
    with (
        at_work(listed, workers, cluster) as apply,
        progress(f"Searching the runs of {engine_id}", quiet=quiet) as track,
    ):
        judged = judge_engine(book, engine_id, track=track, apply=apply)
    if not quiet:
        if judged.judged:
            err.print(f"{engine_id}: searched {len(judged.judged)} runs again.")
        for failure in judged.failures:
            err.print(failure)
    return judged
