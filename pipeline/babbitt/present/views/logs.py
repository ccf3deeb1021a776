"""The page of logs: what came in, whether it was read right, and what to say where it was not."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from babbitt.errors import BabbittError, LogRefusedError, RegisterError, SettingsError
from babbitt.ingest.circuit import contradiction
from babbitt.ingest.log_bytes import open_log
from babbitt.ingest.preview import LogPreview, preview_log
from babbitt.ingest.source import ReadSource
from babbitt.ingest.text.profile_text import profile_text
from babbitt.jobs.ingest import ingest_log
from babbitt.jobs.ingest_result import Intake
from babbitt.logbook.folder import (
    SETTINGS_FILE,
    Logbook,
    read_settings,
    save_profile,
    saying_what_failed,
)
from babbitt.logbook.settings import Settings, parse_settings
from babbitt.model.records import RunRecord
from babbitt.present.views.logs_choices import (
    Answer,
    Choices,
    answers_to,
    instructions_from,
    settled_profile,
)
from babbitt.present.views.logs_inbox import (
    Seen,
    Waiting,
    discard,
    find_waiting,
    log_path,
    save,
    waiting_logs,
)
from babbitt.present.views.logs_refused import set_aside
from babbitt.register.queries.run_lines import newest_logged
from babbitt.register.records import engines, refusals
from babbitt.register.records.circuits import circuits_known
from babbitt.register.records.refusals import Refusal

LATELY = 10
"""So many of the logs taken in last are listed."""

_LOOKS_KEPT = 32

_NO_READING = {"engine": "", "overlap": "refuse", "circuit": ""}
"""Choices that change nothing of how a log is read."""


@dataclass(frozen=True)
class Preview:
    """What would be read from a log that waits.

    Attributes:
        waiting: the log.
        found: what it holds; None: it is no table.
        problems: why it would be refused, or was, a sentence each.
        answers: that settle these.
        profiles: names of the logger profiles there are.
    """

    waiting: Waiting
    found: LogPreview | None
    problems: tuple[str, ...]
    answers: tuple[Answer, ...]
    profiles: tuple[str, ...]


@dataclass(frozen=True)
class LogsView:
    """What the page of logs lists.

    Attributes:
        engines: ids of the engines there are.
        circuits: that any run was at.
        waiting: the logs that wait, in the order in which they came.
        refused: logs that were refused, those that were set aside too, the newest first.
        lately: runs of the logs taken in last, the newest first.
    """

    engines: tuple[str, ...]
    circuits: tuple[str, ...]
    waiting: tuple[Waiting, ...]
    refused: tuple[Refusal, ...]
    lately: tuple[RunRecord, ...]


def logs_view(book: Logbook) -> LogsView:
    """Read what the page of logs lists."""
    with book.register.reading() as session:
        names = tuple(record.engine_id for record in engines.list_engines(session))
        circuits = circuits_known(session)
        lately = newest_logged(session, LATELY, by="intake")
        refused = refusals.list_refusals(session, include_set_aside=True)
    return LogsView(names, circuits, waiting_logs(book), refused, lately)


def preview(book: Logbook, token: str) -> Preview:
    """Look at a log that waits, and keep what was seen beside it.

    Args:
        book: the logbook.
        token: of the log.

    Raises:
        LogRefusedError: it no longer waits.
        LogbookError: the logbook cannot be read or written.
    """
    waiting = find_waiting(book, token)
    settings = read_settings(book.root)
    found: LogPreview | None = None
    try:
        found = _look(book, waiting)
        said = contradiction(found.circuit, waiting.choices.circuit)
        found = replace(found, warnings=(*found.warnings, *said))
        problems, remedies = found.problems, found.remedies
    except BabbittError as error:
        problems = (_without_path(str(error), book, waiting),)
        remedies = error.remedies
    if not problems and waiting.refused is not None:
        problems, remedies = (waiting.refused,), waiting.remedies
    seen = Seen(
        rows=found.rows if found else None,
        started_at=found.started_at if found else None,
        duration_s=found.duration_s if found else None,
        profile=found.profile_name if found else None,
        problem=problems[0] if problems else None,
    )
    if seen != waiting.seen:
        waiting = waiting.model_copy(update={"seen": seen})
        save(book, waiting)
    answers = answers_to(remedies)
    return Preview(waiting, found, problems, answers, tuple(settings.profile))


def choose(book: Logbook, token: str, change: Mapping[str, Any]) -> Waiting:
    """Keep what a person says of a log that waits.

    Args:
        book: the logbook.
        token: of the log.
        change: of its choices.

    Raises:
        LogRefusedError: it no longer waits.
        SettingsError: something is chosen that does not exist.
        LogbookError: the logbook cannot be written.
    """
    waiting = find_waiting(book, token)
    choices = waiting.choices.changed(change)
    if choices == waiting.choices:
        return waiting
    instructions_from(choices, read_settings(book.root))
    waiting = waiting.model_copy(update={"choices": choices, "refused": None, "remedies": ()})
    save(book, waiting)
    return waiting


def guess_engine(book: Logbook, token: str) -> None:
    """Choose the only engine there is, or the only one that the log's name tells of.

    Args:
        book: the logbook.
        token: of a log that waits, of which nothing was said yet.

    Raises:
        LogRefusedError: it no longer waits.
        LogbookError: the logbook cannot be written.
    """
    waiting = find_waiting(book, token)
    with book.register.reading() as session:
        names = [record.engine_id for record in engines.list_engines(session)]
    told = [name for name in names if name.casefold() in waiting.name.casefold()]
    longest = [name for name in told if not any(name in o and name != o for o in told)]
    fitting = names if len(names) == 1 else longest
    if len(fitting) == 1 and not waiting.choices.engine:
        choose(book, token, {"engine": fitting[0]})


def take_in(book: Logbook, token: str) -> Intake:
    """Take a log in that waits; it waits on where it is refused.

    Args:
        book: the logbook.
        token: of the log.

    Raises:
        LogRefusedError: it no longer waits, or no engine was chosen.
        SettingsError: what was said of it cannot be.
        LogbookError: the logbook cannot be written.
    """
    waiting = find_waiting(book, token)
    engine_id = waiting.choices.engine
    if not engine_id:
        raise LogRefusedError(f"{waiting.name}: choose the engine that ran first.")
    instructions = instructions_from(waiting.choices, read_settings(book.root), engine_id)
    intake = ingest_log(
        book,
        log_path(book, token),
        instructions,
        overlap=waiting.choices.overlap,
        name=waiting.name,
    )
    error = None if intake.error is None else _without_path(intake.error, book, waiting)
    intake = replace(intake, file=waiting.name, error=error)
    if intake.status == "refused":
        kept = {
            "refused": intake.error,
            "remedies": intake.remedies,
            "sha256": intake.sha256 or waiting.sha256,
        }
        save(book, waiting.model_copy(update=kept))
    else:
        discard(book, token)
    return intake


def throw_away(book: Logbook, token: str, who: str) -> None:
    """Throw a log away that waits; where it was refused, that is set aside with it.

    Args:
        book: the logbook.
        token: of the log.
        who: throws it away.

    Raises:
        LogRefusedError: it no longer waits.
        LogbookError: it cannot be deleted.
    """
    waiting = find_waiting(book, token)
    discard(book, token)
    if waiting.sha256 is not None:
        with suppress(RegisterError):  # taken in meanwhile, from elsewhere
            set_aside(book, waiting.sha256, who)


def keep_profile(book: Logbook, token: str, name: str) -> str:
    """Keep what was said of a log as a profile for every log of its kind; return what was done.

    The log is then read by it, and so are the others of its kind that wait.

    Args:
        book: the logbook.
        token: of the log.
        name: of the profile.

    Raises:
        LogRefusedError: the log no longer waits, or is no table.
        SettingsError: there is such a profile, or it has no name.
        LogbookError: the logbook cannot be written.
    """
    waiting = find_waiting(book, token)
    if not name.strip():
        raise SettingsError("A profile needs a name, like that of the logger.")
    name = name.strip()
    settings = read_settings(book.root)
    found = _look(book, waiting)
    rivals = [n for n, p in settings.profile.items() if p.fingerprint == found.fingerprint]
    profile = settled_profile(waiting.choices, settings, found.profile_name, found.fingerprint)
    save_profile(book.root, name, profile_text(name, profile))
    said_by_it = {"columns": {}, "units": {}, "dates": "", "timezone": "", "lateral_positive": ""}
    choices = waiting.choices.model_copy(update=said_by_it | {"profile": name if rivals else ""})
    save(book, waiting.model_copy(update={"choices": choices, "refused": None, "remedies": ()}))
    for other in waiting_logs(book):
        if other.seen is not None and other.seen.problem is not None:
            preview(book, other.token)
    if rivals:
        these = " and ".join([*rivals, name])
        return f"Kept as {name}; {these} now know this kind of log: choose one for each."
    return f"Kept as {name}: this kind of log is known by it from now on."


def _look(book: Logbook, waiting: Waiting) -> LogPreview:
    path = log_path(book, waiting.token)
    with saying_what_failed(f"cannot read {SETTINGS_FILE}"):
        settings = (book.root / SETTINGS_FILE).read_text(encoding="utf-8")
    choices = waiting.choices.model_copy(update=_NO_READING)
    with saying_what_failed(f"cannot read {waiting.name}"):
        return _looked(path, waiting.name, choices.model_dump_json(), settings)


@lru_cache(maxsize=_LOOKS_KEPT)
def _looked(path: Path, name: str, choices_json: str, settings_toml: str) -> LogPreview:
    settings: Settings = parse_settings(settings_toml, source=SETTINGS_FILE)
    instructions = instructions_from(Choices.model_validate_json(choices_json), settings)
    with open_log(path) as data:
        modified_at = datetime.fromtimestamp(data.modified_ns / 1e9, UTC)
        return preview_log(ReadSource(name, data.open, "", modified_at), instructions)


def _without_path(sentence: str, book: Logbook, waiting: Waiting) -> str:
    """Return a sentence with a log's name in place of where it waits."""
    return sentence.replace(str(log_path(book, waiting.token)), waiting.name)
