"""Logs: what the page's buttons and fields do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from babbitt.errors import BabbittError, LogRefusedError
from babbitt.jobs.ingest_result import Intake
from babbitt.present.remedies import remarks_of
from babbitt.present.views.logs import (
    choose,
    guess_engine,
    keep_profile,
    preview,
    take_in,
    throw_away,
)
from babbitt.present.views.logs_inbox import waiting_logs
from babbitt.present.views.logs_refused import set_all_aside, set_aside, take_up
from babbitt.present.words import duration
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.marks import refusal

Told = Sequence[dict[str, str]]
"""What became of logs, the newest first: name, status, words and run id of each."""

MOST_TOLD = 200


@dataclass(frozen=True)
class Done:
    """What an action led to.

    Attributes:
        said: what the page says of it; None: nothing.
        told: what became of logs, with that of this one.
        opened: token of the log that is shown; None: none is.
        took: a log went in, so that lists of runs have changed.
    """

    said: Any
    told: Told
    opened: str | None
    took: bool = False


def carry_out(desk: Desk, action: Mapping[str, Any], told: Told, opened: str | None) -> Done:
    """Do what a button or a field asks for; what is refused is a sentence.

    Args:
        desk: the logbook.
        action: `do`, and where it matters `to`, a token or the SHA-256 of a refused log, `field`,
            `key` and `value`.
        told: what became of logs before.
        opened: token of the log that is shown.
    """
    try:
        return _carry_out(desk, action, told, opened)
    except BabbittError as error:
        return Done(refusal(str(error)), told, opened)


def _carry_out(desk: Desk, action: Mapping[str, Any], told: Told, opened: str | None) -> Done:
    book, to = desk.book, str(action.get("to", ""))
    match action.get("do"):
        case "arrived":
            guess_engine(book, to)
            preview(book, to)
            waiting = waiting_logs(book)
            return Done(None, told, to if len(waiting) == 1 else opened)
        case "open":
            return Done(None, told, to)
        case "close":
            return Done(None, told, None)
        case "drop":
            throw_away(book, to, desk.who)
            return Done(None, told, None if to == opened else opened)
        case "drop-all":
            for each in waiting_logs(book):
                throw_away(book, each.token, desk.who)
            return Done(None, told, None)
        case "choose":
            choose(book, to, dict(action["value"]))
            preview(book, to)
            return Done(None, told, to)
        case "fill":
            return _fill(desk, action, told, opened)
        case "keep-profile":
            said = keep_profile(book, to, str(action.get("value", "")))
            return Done(html.P(said, className="done"), told, to)
        case "set-aside" | "set-all-aside" | "take-up" as do:
            _mark_refused(desk, do, to)
            return Done(None, told, opened)
        case "take":
            return _take(desk, to, told, opened)
    raise LogRefusedError("The page asked for something that is not known: load it again.")


def _fill(desk: Desk, action: Mapping[str, Any], told: Told, opened: str | None) -> Done:
    field, key, value = action["field"], action.get("key", ""), action["value"]
    if field in ("engine-all", "circuit-all"):
        for each in waiting_logs(desk.book):
            choose(desk.book, each.token, {field.removesuffix("-all"): value})
        return Done(None, told, opened)
    change = {field: {key: value}} if field in ("columns", "units") else {field: value}
    choose(desk.book, action["to"], change)
    preview(desk.book, action["to"])
    return Done(None, told, opened)


def _mark_refused(desk: Desk, do: str, sha256: str) -> None:
    match do:
        case "set-aside":
            set_aside(desk.book, sha256, desk.who)
        case "set-all-aside":
            set_all_aside(desk.book, desk.who)
        case "take-up":
            take_up(desk.book, sha256, desk.who)


def _take(desk: Desk, token: str, told: Told, opened: str | None) -> Done:
    intake = take_in(desk.book, token)
    if intake.status == "refused":
        preview(desk.book, token)
    line = {
        "name": intake.file,
        "status": intake.status,
        "run": intake.run_id or "",
        "words": intake_words(intake),
    }
    left = None if token == opened and intake.status != "refused" else opened
    return Done(None, [line, *told][:MOST_TOLD], left, took=intake.status != "refused")


def intake_words(intake: Intake) -> str:
    """Say what became of a log."""
    remarks = " ".join(remarks_of(intake))
    if intake.status == "refused":
        return f"refused. {intake.error}"
    if intake.status == "duplicate":
        return f"is in the logbook already, as a run of {intake.engine_id}. {remarks}".strip()
    by = f", read by the profile {intake.profile}" if intake.profile else ""
    return (
        f"taken in for {intake.engine_id}: {duration(intake.duration_s)}, "
        f"{len(intake.channels)} channels{by}. {remarks}"
    ).strip()
