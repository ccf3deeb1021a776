"""What a logbook tells once a job was disturbed, and whether it is whole."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

from babbitt.commands.totals import totals_of
from babbitt.errors import BabbittError
from babbitt.jobs.verify import verify
from babbitt.logbook.folder import open_logbook
from babbitt.register.journal import entries as journal
from babbitt.register.records import events, parts, refusals, runs, teardowns


def tell(folder: Path) -> dict[str, Any]:
    """Return what a logbook and its backups tell, without what tells of the clock on the wall."""
    book = open_logbook(folder / "book")
    with book.register.reading() as session:
        told = {
            "runs": [
                f"{r.run_id} {r.engine_id} {r.samples} {r.removed_at is None} {r.judged_by is None}"
                for r in runs.list_runs(session, include_removed=True)
            ],
            "events": [
                f"{d.event.event_id} {d.event.kind} {d.event.dose!r} {d.event.review}"
                for d in events.list_events(session)
            ],
            "refused": [
                f"{r.file} {r.error} {r.set_aside_at is None}"
                for r in refusals.list_refusals(session, include_set_aside=True)
            ],
            "findings": [
                f"{f.finding.part} {f.finding.grade} {f.finding.photos}"
                for f in teardowns.findings_of(session)
            ],
            "parts": [each.part_id for each in parts.list_parts(session)],
            "journal": [f"{e.action} {e.engine_ids}" for e in journal.journal(session)],
        }
    told["totals"] = [repr(totals) for totals in totals_of(book)]
    book.register.close()
    told["files"] = sorted(
        str(path.relative_to(folder))
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith("register.sqlite-") and not is_aside(path)
    )
    return told


def differences(told: dict[str, Any], after: dict[str, Any]) -> list[str]:
    """Return in what a logbook tells other things than it should, a few words each."""
    return [f"{name} differ" for name in after if told[name] != after[name]]


def doubles(told: dict[str, Any]) -> tuple[str, ...]:
    """Return the runs and events of a logbook that stand in it more than once."""
    counted = Counter(told["runs"] + told["events"] + told["refused"]).items()
    return tuple(f"{name}: {count} times" for name, count in counted if count > 1)


def faults_of(folder: Path) -> list[str]:
    """Return what is wrong with a logbook, a sentence each."""
    try:
        book = open_logbook(folder / "book")
        faults = list(verify(book).faults)
        book.register.close()
    except BabbittError as error:
        return [str(error)]
    return faults


def is_aside(path: Path) -> bool:
    """Whether a file lies under a name that nothing reads: what a kill left half-written."""
    return any(name.startswith(".") for name in path.parts)
