"""babbitt report: any page of the dashboard as a file, to print and keep."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from babbitt.commands.common import LogbookOption, instant, open_from, out
from babbitt.logbook.folder import Logbook, saying_what_failed
from babbitt.model.circuit import circuit_name
from babbitt.outlook.ahead import MOST_RUNS
from babbitt.present.words import Reader, reader_of
from babbitt.register.queries.run_lines import Only
from babbitt.register.records import events

if TYPE_CHECKING:
    from babbitt.present.views.foresight import Foreseen

Listed = Literal["runs", "teardowns", "logs", "register"]


@dataclass(frozen=True)
class Asked:
    """What was asked for, on the command line, of a page.

    Attributes:
        engine_id: whose page it is; None: every engine's.
        run: the run, or the beginning of its id.
        event: the event of a run that is shown on its own, or the beginning of its id.
        window: the stretch of a run that is shown on its own, s from its start.
        runs: how many runs to look ahead.
        circuit: where they will be, or where the runs listed were; None: anywhere.
        at: UTC, the moment that the page tells of.
        since: only runs that start on this day or later.
        until: only runs that start on this day or before.
        only: all runs, those with events that count, or those with events to review.
    """

    engine_id: str | None
    run: str | None
    event: str | None
    window: tuple[float, float] | None
    runs: int
    circuit: str | None
    at: datetime
    since: datetime | None
    until: datetime | None
    only: Only


def report(
    context: typer.Context,
    to: Annotated[
        Path, typer.Option("-o", "--to", metavar="FILE.html", help="Written anew if it is there.")
    ],
    engine_id: Annotated[
        str | None, typer.Argument(metavar="[ENGINE_ID]", help="One engine; else all.")
    ] = None,
    run: Annotated[
        str | None, typer.Option(metavar="RUN_ID", help="Of this run; the beginning will do.")
    ] = None,
    event: Annotated[
        str | None, typer.Option(metavar="EVENT_ID", help="Of its run, and of this event alone.")
    ] = None,
    teardown: Annotated[
        bool, typer.Option("--teardown", help="Of the engine's newest teardown, at --at or before.")
    ] = False,
    listed: Annotated[Listed | None, typer.Option("--list", help="Of one of these lists.")] = None,
    runs: Annotated[
        int | None,
        typer.Option(min=1, max=MOST_RUNS, help="How many runs to look ahead.", show_default="1"),
    ] = None,
    circuit: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Where they will be, or runs that were there."),
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="WHEN", help="As it stood then, not now.")
    ] = None,
    window: Annotated[
        tuple[float, float] | None,
        typer.Option(metavar="START END", help="Of a run: this stretch alone, too, in seconds."),
    ] = None,
    since: Annotated[
        datetime | None,
        typer.Option(formats=["%Y-%m-%d"], metavar="DAY", help="Runs that day or later."),
    ] = None,
    until: Annotated[
        datetime | None,
        typer.Option(formats=["%Y-%m-%d"], metavar="DAY", help="Runs that day or before."),
    ] = None,
    only: Annotated[
        Only | None,
        typer.Option(help="Runs with harm, or with events to review.", show_default="all"),
    ] = None,
    logbook: LogbookOption = None,
) -> None:
    """Write a page to print: of all engines or one, of a run, a teardown, or a list."""
    named = {"--run": run, "--event": event, "--teardown": teardown, "--list": listed}
    filters = {"--since": since, "--until": until, "--only": only}
    page = _page(engine_id, named)
    _refuse_others(
        page,
        {
            "ENGINE_ID": engine_id,
            "--runs": runs,
            "--circuit": circuit,
            "--at": at,
            "--window": window,
            **filters,
        },
    )
    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    asked = Asked(
        engine_id=engine_id,
        run=run,
        event=event,
        window=window,
        runs=runs or 1,
        circuit=circuit_name(circuit or ""),
        at=instant(at, "--at", reader.timezone).astimezone(UTC) if at else datetime.now(UTC),
        since=since,
        until=until,
        only=only or "all",
    )
    html = _PAGES[page].make(book, reader, asked)
    with saying_what_failed(f"cannot write {to}"):
        to.write_text(html, encoding="utf-8")
    out.print(f"Wrote {to}: open it in any browser, and print it from there.")


def _page(engine_id: str | None, named: Mapping[str, Any]) -> str:
    """Return the name of the page that the options ask for."""
    given = [option for option, value in named.items() if value]
    if len(given) > 1:
        raise typer.BadParameter(f"{' and '.join(given)} are pages of their own: name one")
    if not given:
        return "engine" if engine_id else "engines"
    if given == ["--teardown"] and engine_id is None:
        raise typer.BadParameter("--teardown needs the ENGINE_ID that came apart")
    return named["--list"] or given[0].removeprefix("--")


def _refuse_others(page: str, given: Mapping[str, Any]) -> None:
    """Refuse what the page has no use for, so that nobody believes that it was heeded."""
    idle = [name for name, value in given.items() if value and name not in _PAGES[page].takes]
    if idle:
        raise typer.BadParameter(f"{idle[0]} means nothing for the page {page!r}: leave it out")


# Plotly, and scipy which the damage model needs, are slow to import: what makes a page does it.


def _engines(book: Logbook, reader: Reader, asked: Asked) -> str:
    from babbitt.present.reports.fleet import fleet_report
    from babbitt.present.views.fleet import fleet
    from babbitt.present.views.logs_refused import count_refused

    found = fleet(_foreseen(book, asked.at), runs=asked.runs)
    return fleet_report(found, reader, at=asked.at, refused=count_refused(book, asked.at))


def _engine(book: Logbook, reader: Reader, asked: Asked) -> str:
    from babbitt.present.reports.engine import engine_report
    from babbitt.present.views.engine_prospect import prospect
    from babbitt.present.views.engine_story import engine_story

    foreseen, engine_id = _foreseen(book, asked.at), asked.engine_id or ""
    story = engine_story(book, foreseen, engine_id)
    found = prospect(book, foreseen, engine_id, asked.runs, asked.circuit)
    return engine_report(story, found, reader)


def _run(book: Logbook, reader: Reader, asked: Asked) -> str:
    from babbitt.present.reports.run import run_report
    from babbitt.present.views.run import read_run
    from babbitt.present.views.run_traces import around, open_run
    from babbitt.present.views.shelf import RunShelf

    run_id, chosen, window = asked.run or "", None, asked.window
    if asked.event is not None:
        with book.register.reading() as session:
            chosen = events.find_event(session, asked.event).event
        run_id = chosen.run_id
    view = read_run(book, run_id)
    if chosen is not None and window is None:
        window = around(chosen, view.record.duration_s)
    start_s, end_s = window or (None, None)
    return run_report(
        view,
        None if view.record.unlogged else open_run(RunShelf(book), view),
        reader,
        at=asked.at,
        chosen=chosen.event_id if chosen else None,
        start_s=start_s,
        end_s=end_s,
    )


def _teardown(book: Logbook, reader: Reader, asked: Asked) -> str:
    from babbitt.jobs.attribute import newest_teardown
    from babbitt.present.reports.teardown import teardown_report
    from babbitt.present.views.foresight import require_known
    from babbitt.present.views.teardown import stripped

    now, engine_id = datetime.now(UTC), asked.engine_id or ""
    foreseen = _foreseen(book, now)
    require_known(book, foreseen, engine_id)
    teardown = newest_teardown(foreseen.gathered.teardowns, engine_id, asked.at)
    return teardown_report(stripped(book, teardown, foreseen), reader, at=now)


def _runs(book: Logbook, reader: Reader, asked: Asked) -> str:
    from babbitt.present.reports.lists import runs_report

    return runs_report(
        book,
        reader,
        at=asked.at,
        engine_id=asked.engine_id,
        circuit=asked.circuit,
        first_day=asked.since.date() if asked.since else None,
        last_day=asked.until.date() if asked.until else None,
        only=asked.only,
    )


def _teardowns(book: Logbook, reader: Reader, asked: Asked) -> str:
    from babbitt.present.reports.lists import teardowns_report
    from babbitt.present.views.teardowns import teardown_list

    listed = teardown_list(book, _foreseen(book, asked.at))
    return teardowns_report(listed, reader, at=asked.at)


def _logs(book: Logbook, reader: Reader, asked: Asked) -> str:
    from babbitt.present.reports.lists import logs_report
    from babbitt.present.views.logs import logs_view
    from babbitt.present.views.logs_quality import sensors_view

    view = logs_view(book)
    sensors = [sensors_view(book, engine_id) for engine_id in view.engines]
    return logs_report(view, sensors, reader, at=asked.at)


def _register(book: Logbook, reader: Reader, asked: Asked) -> str:
    from babbitt.present.reports.lists import register_report

    return register_report(book, reader, at=asked.at)


def _foreseen(book: Logbook, at: datetime) -> Foreseen:
    from babbitt.present.views.foresight import Foresight

    return Foresight(book).at(at)


@dataclass(frozen=True)
class _Page:
    """A page to print: what makes it, and what it can be asked for."""

    make: Callable[[Logbook, Reader, Asked], str]
    takes: frozenset[str] = frozenset()


_AHEAD = frozenset({"--runs", "--at"})
_OF_RUNS = ("--circuit", "--since", "--until", "--only")
_PAGES = {
    "engines": _Page(_engines, _AHEAD),
    "engine": _Page(_engine, _AHEAD | {"ENGINE_ID", "--circuit"}),
    "run": _Page(_run, frozenset({"--window"})),
    "event": _Page(_run, frozenset({"--window"})),
    "teardown": _Page(_teardown, frozenset({"ENGINE_ID", "--at"})),
    "runs": _Page(_runs, frozenset({"ENGINE_ID", *_OF_RUNS})),
    "teardowns": _Page(_teardowns),
    "logs": _Page(_logs),
    "register": _Page(_register),
}
