"""The report of all engines: which one is to be pulled."""

from __future__ import annotations

from datetime import datetime

from babbitt.model.kinds import KINDS
from babbitt.present.reports.engine import CALL_MARK
from babbitt.present.reports.report import Section, write_report
from babbitt.present.views.fleet import (
    Fleet,
    FleetEngine,
    advice,
    ahead_in_words,
    because,
    drift_in_figures,
    lately_in_words,
    quality_in_words,
)
from babbitt.present.views.logs_refused import refused_in_words
from babbitt.present.views.text_table import TextTable
from babbitt.present.words import NOTHING, Reader, duration, share

_EMPTY = "No engine is in the logbook yet: add one with `babbitt engine add ID --spec SPEC.toml`."


def fleet_report(found: Fleet, reader: Reader, *, at: datetime, refused: int) -> str:
    """Return the report of all engines as one file of HTML.

    Args:
        found: the engines.
        reader: whose units and time zone are used.
        at: UTC, the moment that it tells of.
        refused: how many logs had been refused by then, and were neither runs nor set aside.
    """
    calls = TextTable(
        columns=(
            *("Call", "Engine", f"What drove it, {ahead_in_words(found.runs)}", "Logs"),
            *("Running", "Last run", "Oil pressure"),
        ),
        rows=tuple(_call_row(engine, reader) for engine in found.engines),
        caption="Oil pressure: against fresh.",
        left=4,
        empty=_EMPTY,
    )
    lives = TextTable(
        columns=("Engine", *(KINDS[kind].title.capitalize() for kind in found.kinds)),
        rows=tuple(_life_row(engine, found) for engine in found.engines),
        caption=(
            "Share of the life dose used since the refresh, and what the next "
            f"{'run' if found.runs == 1 else f'{found.runs} runs'} would add."
        ),
    )
    lately = ", ".join(filter(None, (lately_in_words(found, reader), refused_in_words(refused))))
    sections = [
        Section(
            "",
            sentences=(*((advice(found),) if found.engines else ()), *found.faults),
            tables=(calls,),
        ),
        Section("Life used", sentences=(f"{lately}.",) if lately else (), tables=(lives,)),
    ]
    return write_report("Engines", sections, at=at, reader=reader)


def _call_row(engine: FleetEngine, reader: Reader) -> tuple[str, ...]:
    return (
        f"{CALL_MARK[engine.call]} {engine.call}",
        engine.engine_id,
        because(engine.outlook, reader),
        quality_in_words(engine.totals),
        duration(engine.totals.running_s),
        reader.day(engine.totals.last_run),
        drift_in_figures(engine.drift),
    )


def _life_row(engine: FleetEngine, found: Fleet) -> tuple[str, ...]:
    uses = [engine.life.get(kind) for kind in found.kinds]
    cells = [NOTHING if use is None else f"{share(use.used)}{_added(use.ahead)}" for use in uses]
    return (engine.engine_id, *cells)


def _added(ahead: float | None) -> str:
    return f" + {share(ahead)}" if ahead and round(100.0 * ahead) else ""
