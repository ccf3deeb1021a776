"""The tables of an export: the register's own, and the builds and totals that follow from them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import Any

from babbitt.logbook.folder import Logbook
from babbitt.model.kinds import KINDS
from babbitt.model.part_records import PartSums
from babbitt.model.records import Build, Window
from babbitt.register import Session
from babbitt.register.dictionary import dictionary
from babbitt.register.queries.dump import TableDump, dump_tables
from babbitt.register.queries.part_sums import part_sums
from babbitt.register.queries.sums import window_sums
from babbitt.register.records import builds, engines
from babbitt.totals.totals import Totals, make_totals

_OF_BUILDS = {"build", "totals", "totals_kind"}
_OF_PARTS = {"part_totals", "part_totals_kind"}

Rows = Iterator[tuple[Any, ...]]


def tables_of(
    book: Logbook, *, engine_id: str | None = None, names: Collection[str] | None = None
) -> tuple[TableDump, ...]:
    """Return the tables of a logbook, in the order of schemas/dictionary.toml.

    Args:
        book: the logbook; all tables show one moment of it.
        engine_id: only what concerns this engine; of parts, those that were ever fitted to it, with
            all that they took in other engines too.
        names: of the tables; None: all that are exported.

    Raises:
        RegisterError: no such engine.
        SettingsError: the spec of an engine cannot be used by this program.
    """
    wanted = [
        table.name
        for table in dictionary().values()
        if (table.exported if names is None else table.name in names)
    ]
    of_parts = not _OF_PARTS.isdisjoint(wanted)
    with book.register.reading() as session:
        stored = dump_tables(
            session, engine_id=engine_id, names={*wanted, "part"} if of_parts else wanted
        )
        every = {dump.name: dump for dump in stored}
        if not _OF_BUILDS.isdisjoint(wanted):
            made = _builds(session, engine_id)
            totals = _totals(session, made)
            every["build"] = _dump("build", _build_rows(made))
            every["totals"] = _dump("totals", _totals_rows(totals))
            every["totals_kind"] = _dump("totals_kind", _totals_kind_rows(totals))
        if of_parts:
            part_ids = {row[0] for row in every["part"].rows}
            parts = [each for each in part_sums(session) if each.part.part_id in part_ids]
            every["part_totals"] = _dump("part_totals", _part_rows(parts))
            every["part_totals_kind"] = _dump("part_totals_kind", _part_kind_rows(parts))
    return tuple(every[name] for name in wanted)


def _builds(session: Session, engine_id: str | None) -> list[Build]:
    names = [engine_id] if engine_id else [e.engine_id for e in engines.list_engines(session)]
    return [build for name in names for build in builds.builds_of(session, name)]


def _totals(session: Session, made: Iterable[Build]) -> list[tuple[Build, Totals]]:
    """Return each build with its totals, held against the engine's limits of today."""
    made = list(made)
    specs = {name: engines.spec_of(session, name) for name in {each.engine_id for each in made}}
    windows = [
        Window(each.engine_id, each.since, each.until, specs[each.engine_id].version())
        for each in made
    ]
    return [
        (build, make_totals(sums, specs[build.engine_id], build.engine_id, build.since))
        for build, sums in zip(made, window_sums(session, windows), strict=True)
    ]


def _dump(name: str, rows: Rows) -> TableDump:
    return TableDump(name, tuple(c.name for c in dictionary()[name].columns), tuple(rows))


def _build_rows(made: Iterable[Build]) -> Rows:
    for each in made:
        yield (each.engine_id, each.number, each.since, each.until, each.note)


def _totals_rows(totals: Iterable[tuple[Build, Totals]]) -> Rows:
    for build, each in totals:
        yield (
            each.engine_id,
            build.number,
            build.since,
            build.until,
            each.runs,
            each.unlogged_runs,
            each.running_s,
            each.unlogged_s,
            each.revolutions,
            each.starts,
            each.heat_cycles,
            each.runs_without_heat_cycles,
            each.rod_fatigue_s,
            each.spring_fatigue_s,
            each.first_run,
            each.last_run,
        )


def _totals_kind_rows(totals: Iterable[tuple[Build, Totals]]) -> Rows:
    for build, each in totals:
        for of_kind in each.events:
            yield (
                each.engine_id,
                build.number,
                of_kind.kind,
                of_kind.count,
                of_kind.duration_s,
                of_kind.dose,
                of_kind.dose_unit,
                of_kind.limit,
                of_kind.used,
                of_kind.watched_s,
                of_kind.watched_share,
                of_kind.stale,
            )


def _part_rows(parts: Iterable[PartSums]) -> Rows:
    for each in parts:
        yield (
            each.part.part_id,
            each.part.kind,
            len(each.fitments),
            each.sums.runs,
            each.sums.running_s,
            each.sums.unlogged_s,
            each.sums.history_s,
            each.sums.revolutions,
            each.sums.uncounted_s,
            each.sums.starts,
            each.sums.first_start,
            each.sums.last_end,
        )


def _part_kind_rows(parts: Iterable[PartSums]) -> Rows:
    for each in parts:
        for kind in KINDS:
            of_kind = each.sums.kinds[kind]
            unseen = of_kind.watched_s == 0.0 and of_kind.count == 0 and each.sums.running_s > 0.0
            yield (
                each.part.part_id,
                kind,
                of_kind.count,
                of_kind.duration_s,
                None if unseen else of_kind.dose,
                KINDS[kind].dose_unit,
                of_kind.watched_s,
            )
