"""Files to take away: reports as one page of HTML, tables as CSV."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import cast, get_args

import flask
from dash import Dash

from babbitt.errors import BabbittError, RegisterError
from babbitt.exchange.files import csv_text
from babbitt.exchange.tables import tables_of
from babbitt.outlook.ahead import MOST_RUNS
from babbitt.present.reports.engine import engine_report
from babbitt.present.reports.fleet import fleet_report
from babbitt.present.reports.lists import (
    logs_report,
    register_report,
    runs_report,
    teardowns_report,
)
from babbitt.present.reports.run import run_report
from babbitt.present.reports.teardown import teardown_report
from babbitt.present.views.engine_prospect import prospect
from babbitt.present.views.engine_story import engine_story
from babbitt.present.views.fleet import fleet
from babbitt.present.views.logs import logs_view
from babbitt.present.views.logs_quality import sensors_view
from babbitt.present.views.logs_refused import count_refused
from babbitt.present.views.run import read_run
from babbitt.present.views.run_traces import open_run
from babbitt.present.views.shelf import RunShelf
from babbitt.present.views.teardown import recorded_teardown, stripped
from babbitt.present.views.teardowns import teardown_list
from babbitt.register.queries.run_lines import Only
from babbitt_dashboard.address import day_from, number_from, seconds_from
from babbitt_dashboard.desk import Desk

TABLES = {"events": "event", "totals": "totals_kind"}
"""Tables that pages offer: name of the file -> table of the export."""

REPORT_POLICY = "frame-ancestors 'none'"
"""A report brings the rest of its policy with it, so that a saved copy keeps it."""


def add_downloads(app: Dash, desk: Desk) -> None:
    """Serve the files that the pages' buttons ask for."""

    def add(rule: str, name: str, answer: Callable[..., flask.Response]) -> None:
        app.server.add_url_rule(rule, name, _in_a_sentence(answer))

    add("/report/engines.html", "report_engines", lambda: engines_file(desk))
    add("/report/engine/<engine_id>.html", "report_engine", lambda **p: engine_file(desk, **p))
    add(
        "/report/teardown/<engine_id>.html", "report_teardown", lambda **p: teardown_file(desk, **p)
    )
    add("/report/run/<run_id>.html", "report_run", lambda **p: run_file(desk, **p))
    add("/report/runs.html", "report_runs", lambda: runs_file(desk))
    add("/report/teardowns.html", "report_teardowns", lambda: teardowns_file(desk))
    add("/report/logs.html", "report_logs", lambda: logs_file(desk))
    add("/report/register.html", "report_register", lambda: register_file(desk))
    add("/csv/<name>.csv", "csv", lambda **p: csv_file(desk, **p))


def engines_file(desk: Desk) -> flask.Response:
    """Return the report of all engines."""
    foreseen = desk.foresight.at(desk.now())
    found = fleet(foreseen, runs=_runs())
    refused = count_refused(desk.book)
    html = fleet_report(found, desk.reader, at=foreseen.at, refused=refused)
    return report_answer(html, "engines.html")


def engine_file(desk: Desk, engine_id: str) -> flask.Response:
    """Return the report of one engine."""
    foreseen = desk.foresight.at(desk.now())
    story = engine_story(desk.book, foreseen, engine_id)
    circuit = flask.request.args.get("circuit")
    found = prospect(desk.book, foreseen, engine_id, _runs(), circuit or None)
    return report_answer(engine_report(story, found, desk.reader), f"{engine_id}.html")


def teardown_file(desk: Desk, engine_id: str) -> flask.Response:
    """Return the report of a teardown, that of the instant in the address."""
    foreseen = desk.foresight.at(desk.now())
    teardown = recorded_teardown(desk.book, engine_id, flask.request.args.get("at"))
    shown = stripped(desk.book, teardown, foreseen)
    name = f"{engine_id}-{teardown.at:%Y-%m-%d}.html"
    return report_answer(teardown_report(shown, desk.reader, at=foreseen.at), name)


def run_file(desk: Desk, run_id: str) -> flask.Response:
    """Return the report of a run, with the event and the window that the address names."""
    view = read_run(desk.book, run_id)
    run = None if view.record.unlogged else open_run(RunShelf(desk.book), view)
    asked = flask.request.args
    html = run_report(
        view,
        run,
        desk.reader,
        at=desk.now(),
        chosen=asked.get("event"),
        start_s=seconds_from(asked.get("start")),
        end_s=seconds_from(asked.get("end")),
    )
    return report_answer(html, f"{view.record.engine_id}-{view.record.run_id}.html")


def runs_file(desk: Desk) -> flask.Response:
    """Return the report of the runs that fit the filter in the address."""
    asked = flask.request.args
    only = asked.get("only", "all")
    html = runs_report(
        desk.book,
        desk.reader,
        at=desk.now(),
        engine_id=asked.get("engine"),
        circuit=asked.get("circuit"),
        first_day=day_from(asked.get("since")),
        last_day=day_from(asked.get("until")),
        only=cast(Only, only) if only in get_args(Only) else "all",
    )
    return report_answer(html, "runs.html")


def teardowns_file(desk: Desk) -> flask.Response:
    """Return the report of all teardowns."""
    foreseen = desk.foresight.at(desk.now())
    listed = teardown_list(desk.book, foreseen)
    return report_answer(teardowns_report(listed, desk.reader, at=foreseen.at), "teardowns.html")


def logs_file(desk: Desk) -> flask.Response:
    """Return the report of the logs taken in lately, and of every engine's sensors."""
    view = logs_view(desk.book)
    sensors = [sensors_view(desk.book, engine_id) for engine_id in view.engines]
    return report_answer(logs_report(view, sensors, desk.reader, at=desk.now()), "logs.html")


def register_file(desk: Desk) -> flask.Response:
    """Return the report of the register."""
    return report_answer(register_report(desk.book, desk.reader, at=desk.now()), "register.html")


def csv_file(desk: Desk, name: str) -> flask.Response:
    """Return a table of the export, of one engine where the address names it."""
    if name not in TABLES:
        raise RegisterError(f"There is no table {name!r} to take away: {', '.join(TABLES)}.")
    engine_id = flask.request.args.get("engine")
    dumps = tables_of(desk.book, engine_id=engine_id)
    (dump,) = (each for each in dumps if each.name == TABLES[name])
    answer = flask.Response(csv_text(dump), mimetype="text/csv")
    stem = f"{name}-{engine_id}" if engine_id else name
    answer.headers.set("Content-Disposition", "attachment", filename=f"{stem}.csv")
    return answer


def report_answer(html: str, filename: str) -> flask.Response:
    """Return a report as a page that is shown, and saved under a name of its own."""
    answer = flask.Response(html, mimetype="text/html")
    answer.headers.set("Content-Disposition", "inline", filename=filename)
    answer.headers["Content-Security-Policy"] = REPORT_POLICY
    return answer


def _runs() -> int:
    return number_from(flask.request.args.get("runs"), 1, low=1, high=MOST_RUNS)


def _in_a_sentence(answer: Callable[..., flask.Response]) -> Callable[..., flask.Response]:
    """Return what answers with the sentence of a refusal where there is one."""

    @wraps(answer)
    def answered(**parts: str) -> flask.Response:
        try:
            return answer(**parts)
        except BabbittError as error:
            return flask.Response(str(error), status=404, mimetype="text/plain")

    return answered
