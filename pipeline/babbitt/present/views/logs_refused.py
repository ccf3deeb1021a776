"""The logs that were refused and are no runs since: how they read, and giving them up."""

from __future__ import annotations

from datetime import datetime

from babbitt.logbook.folder import Logbook
from babbitt.model.plain_text import capital
from babbitt.present.remedies import options_text, quoted
from babbitt.present.views.logs_inbox import waiting_logs
from babbitt.register.records import refusals
from babbitt.register.records.refusals import Refusal


def count_refused(book: Logbook, until: datetime | None = None) -> int:
    """Return how many logs were refused and are neither runs nor set aside.

    Args:
        book: the logbook.
        until: only those refused by then, UTC.
    """
    with book.register.reading() as session:
        return refusals.count_refusals(session, until)


def refused_in_words(count: int) -> str:
    """Return how many logs were refused, in a phrase; "" for none."""
    return "" if not count else "1 log refused" if count == 1 else f"{count:,} logs refused"


def why_refused(refusal: Refusal) -> str:
    """Return why a log was refused, where its name stands beside that."""
    name, said = f"{refusal.file}: ", refusal.error
    return capital(said.removeprefix(name)) if said.startswith(name) else said


def settling_command(refusal: Refusal) -> str | None:
    """Return the command that would take a refused log in; None where none does."""
    options = options_text(refusal.remedies)
    if not options:
        return None
    file, engine_id = quoted(refusal.file), quoted(refusal.engine_id)
    return f"babbitt ingest {file} --engine {engine_id} {options}"


def set_aside(book: Logbook, log_id: str, who: str) -> Refusal:
    """Give a refused log up, so that it is counted no more.

    Args:
        book: the logbook.
        log_id: its SHA-256, or the beginning of it.
        who: gives it up.

    Raises:
        RegisterError: no refused log begins so, or several do.
    """
    with book.register.writing(who) as session:
        return refusals.set_aside(session, log_id)


def set_all_aside(book: Logbook, who: str) -> None:
    """Give every refused log up, but for those that wait to be put right."""
    waiting = {each.sha256 for each in waiting_logs(book)}
    with book.register.writing(who) as session:
        for each in refusals.list_refusals(session):
            if each.sha256 not in waiting:
                refusals.set_aside(session, each.sha256)


def take_up(book: Logbook, log_id: str, who: str) -> Refusal:
    """Count a refused log again that was set aside; takes and raises as `set_aside` does."""
    with book.register.writing(who) as session:
        return refusals.take_up(session, log_id)
