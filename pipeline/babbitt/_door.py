"""What ``import babbitt`` offers; see there."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict, astuple
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas as pd

from babbitt.detect.judge import detect as find_events
from babbitt.detect.pressure import steady_pressure, straight_share
from babbitt.errors import (
    BabbittError,
    DamageModelError,
    LogbookError,
    LogRefusedError,
    RegisterError,
    RunFileError,
    SettingsError,
)
from babbitt.exchange.files import to_frame
from babbitt.exchange.tables import tables_of
from babbitt.ingest.log_bytes import open_log
from babbitt.ingest.read import read_log as read_source
from babbitt.ingest.source import Instructions, ReadSource
from babbitt.logbook import folder
from babbitt.logbook.settings import zone
from babbitt.model.engine_spec import EngineSpec, parse_spec
from babbitt.model.kinds import KINDS
from babbitt.model.plain_text import parse_instant
from babbitt.model.records import RunRecord
from babbitt.model.run import Run
from babbitt.register.dictionary import dictionary
from babbitt.register.queries.dump import TableDump
from babbitt.register.records.runs import find_run

__all__ = [
    "BabbittError",
    "DamageModelError",
    "EngineSpec",
    "LogRefusedError",
    "Logbook",
    "LogbookError",
    "RegisterError",
    "Run",
    "RunFileError",
    "SettingsError",
    "detect",
    "open_logbook",
    "read_log",
    "read_spec",
]

Instant = datetime | str
"""An instant, or its text like 2026-06-12 or 2026-06-12 14:30; without a zone, in the logbook's."""


class Logbook:
    """A team's logbook, to ask. Every answer is of the moment it is asked for.

    >>> import babbitt as bb
    >>> book = bb.open_logbook("engines")
    >>> list(book.engines()["engine_id"])
    ['NB-01', 'NB-02', 'NB-03']
    """

    def __init__(self, book: folder.Logbook) -> None:
        self._book = book

    def __repr__(self) -> str:
        return f"<Logbook {self._book.root}>"

    def engines(self) -> pd.DataFrame:
        """Engines, as the table `engine` of the dictionary has them; withdrawn ones are left out.

        >>> book.engines()["withdrawn_at"].isna().all()
        np.True_
        """
        return _standing(self._table("engine"), "withdrawn_at")

    def events(
        self,
        engine: str | None = None,
        since: Instant | None = None,
        until: Instant | None = None,
        kind: str | None = None,
    ) -> pd.DataFrame:
        """Harmful events in the order of their runs, as the table `event` has them.

        Those of removed runs are left out; those that a person reviewed as harmless or as the
        sensor's fault are there, with `counts` false.

        >>> events = book.events(engine="NB-01", kind="oil_starvation", since="2026-08-01")
        >>> len(events), events.attrs["units"]["duration_s"]
        (9, 's')

        Args:
            engine: only of this engine.
            since: only what began then or later.
            until: only what began before.
            kind: only this kind of harm, like "over_rev".

        Raises:
            RegisterError: no such engine, kind or date.
        """
        if kind is not None and kind not in KINDS:
            raise RegisterError(f"There is no kind of harm {kind!r}: it is {', '.join(KINDS)}.")
        found = self._between(self._table("event", engine), "at", since, until)
        found = found[found["run_id"].isin(self.runs(engine)["run_id"])]
        return (found if kind is None else found[found["kind"] == kind]).reset_index(drop=True)

    def runs(
        self,
        engine: str | None = None,
        since: Instant | None = None,
        until: Instant | None = None,
    ) -> pd.DataFrame:
        """Runs in the order of their start, as the table `run` has them; not those removed.

        >>> runs = book.runs(engine="NB-01", since="2026-08-01")
        >>> len(runs), runs.attrs["units"]["duration_s"]
        (2, 's')

        Args:
            engine: only of this engine.
            since: only what began then or later.
            until: only what began before.

        Raises:
            RegisterError: no such engine or date.
        """
        found = self._between(self._table("run", engine), "started_at", since, until)
        return _standing(found, "removed_at")

    def laps(self, engine: str | None = None, run: str | None = None) -> pd.DataFrame:
        """Laps of runs that are not removed, in their order, as the table `lap` has them.

        >>> laps = book.laps(engine="NB-01")
        >>> laps.attrs["units"]["end_s"]
        's'

        Args:
            engine: only of its runs.
            run: only of this run; the beginning of its id will do.

        Raises:
            RegisterError: no such engine or run.
        """
        found = self._table("lap", engine)
        found = found[found["run_id"].isin(self.runs(engine)["run_id"])]
        if run is not None:
            found = found[found["run_id"] == self._record(run).run_id]
        return found.reset_index(drop=True)

    def totals(self, engine: str | None = None) -> pd.DataFrame:
        """What each build took of each kind of harm, as the table `totals_kind` has it.

        >>> totals = book.totals("NB-01")
        >>> today = totals[totals["build_number"] == totals["build_number"].max()]
        >>> today.set_index("kind").loc["oil_starvation", "used"].round(2)
        np.float64(1.11)

        Raises:
            RegisterError: no such engine.
        """
        return self._table("totals_kind", engine)

    def running(self, engine: str | None = None) -> pd.DataFrame:
        """Running time, turns, starts and heat cycles of each build, as the table `totals` has it.

        >>> running = book.running("NB-01")
        >>> running.attrs["units"]["revolutions"]
        'rev'

        Raises:
            RegisterError: no such engine.
        """
        return self._table("totals", engine)

    def findings(self, engine: str | None = None) -> pd.DataFrame:
        """Findings of teardowns, as the table `finding` has them; withdrawn ones are left out.

        >>> findings = book.findings("NB-02")
        >>> (findings["grade"] >= 2).any()
        np.True_

        Raises:
            RegisterError: no such engine.
        """
        return _standing(self._table("finding", engine), "withdrawn_at")

    def outlook(
        self, engine: str | None = None, runs: int = 1, at: Instant | None = None
    ) -> pd.DataFrame:
        """Chances by part and damage mode of worn, to replace and failed, as `outlook` has them.

        It supports, and never replaces, the judgement of the engine's builder and the rules of the
        series; an engine that may let go at speed is a fire and a track hazard: when in doubt, pull
        it.

        >>> outlook = book.outlook("NB-01", at="2026-10-10")
        >>> outlook["call"].unique().tolist()
        ['pull']

        Args:
            engine: only this one.
            runs: how many runs to look ahead.
            at: what came later is not known; None: now.

        Raises:
            RegisterError: no such engine or date, or the engine was not built by then.
            DamageModelError: the draws of a damage mode do not settle.
        """
        from babbitt.jobs.outlook import outlooks  # scipy, which it needs, is slow to import

        when = datetime.now(UTC) if at is None else self._instant(at)
        rows = tuple(
            (
                each.engine_id,
                each.at,
                each.runs,
                each.verdict.call,
                mode.mode.part,
                [place for place in mode.like.positions if place is not None],
                mode.mode.name,
                mode.develops,
                state,
                *astuple(getattr(mode.now, state)),
                *astuple(getattr(mode.next, state)),
                mode.looks,
                mode.damaged,
            )
            for each in outlooks(self._book, engine, runs=runs, at=when).engines
            for mode in each.modes
            for state in ("worn", "replace", "failed")
        )
        return _frame("outlook", rows)

    def run(self, run_id: str) -> Run:
        """A logged run by its id, or the beginning of it, with or without its first letter.

        >>> run = book.run(book.runs("NB-01")["run_id"].iloc[-1])
        >>> run.to_pandas().columns[0]
        'rpm'

        Raises:
            RegisterError: no run begins so, or several do, or no logger saw it.
            RunFileError: its file is missing or damaged.
        """
        record = self._record(run_id)
        if record.unlogged:
            raise RegisterError(f"Run {record.run_id} is running that no logger saw.")
        return self._book.read_run(record.engine_id, record.run_id)

    def _record(self, run_id: str) -> RunRecord:
        with self._book.register.reading() as session:
            return find_run(session, run_id if run_id[:1] in ("r", "u") else f"r{run_id}")

    def _table(self, name: str, engine: str | None = None) -> pd.DataFrame:
        (dump,) = tables_of(self._book, engine_id=engine, names=[name])
        return to_frame(dump)

    def _between(
        self, frame: pd.DataFrame, column: str, since: Instant | None, until: Instant | None
    ) -> pd.DataFrame:
        if since is not None:
            frame = frame[frame[column] >= self._instant(since)]
        if until is not None:
            frame = frame[frame[column] < self._instant(until)]
        return frame

    def _instant(self, given: Instant) -> datetime:
        try:
            at = parse_instant(given) if isinstance(given, str) else given
        except ValueError as error:
            raise RegisterError(f"{given!r} is no date: {error}.") from error
        at = at if at.tzinfo else at.replace(tzinfo=zone(self._book.settings.timezone))
        return at.astimezone(UTC)


def open_logbook(path: str | os.PathLike[str]) -> Logbook:
    """Logbook in a folder.

    >>> bb.open_logbook("engines")
    <Logbook engines>

    Raises:
        LogbookError: there is none, or it is damaged or newer than this program.
        SettingsError: its logbook.toml cannot be used.
    """
    return Logbook(folder.open_logbook(Path(path)))


def read_log(
    path: str | os.PathLike[str],
    *,
    engine: str = "",
    started: datetime | None = None,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    timezone: str = "UTC",
) -> Run:
    """Run that a log holds, read without a logbook; nothing is stored.

    >>> run = bb.read_log("friday.csv", engine="NB-03")
    >>> run.signals["oil_pressure"].unit
    'kPa'

    Args:
        path: of the log; it may be packed by gzip, zstd or zip.
        engine: that made the run.
        started: its start, where the log does not say; without a zone it is the log's clock's.
        columns: header -> channel, or "time", where a header is not known.
        units: channel, or "time" -> unit, where the log states none.
        timezone: IANA name of the zone of clocks that name none.

    Raises:
        LogRefusedError: it cannot be read, or only by guessing; says what would settle it.
        SettingsError: a channel, unit or time zone given does not exist.
    """
    try:
        clock_zone = zone(timezone)
    except ValueError as error:
        raise SettingsError(f"timezone: {error}.") from error
    path = Path(path)
    with folder.saying_what_failed(f"cannot read {path}"), open_log(path) as log:
        source = ReadSource(
            path.name, log.open, log.sha256(), datetime.fromtimestamp(log.modified_ns / 1e9, UTC)
        )
        return read_source(
            source,
            Instructions(
                engine_id=engine,
                columns=columns or {},
                units=units or {},
                started=started,
                zone=clock_zone,
            ),
        )


def read_spec(path: str | os.PathLike[str]) -> EngineSpec:
    """Geometry and limits of an engine, from TOML.

    >>> bb.read_spec("nb-03.toml").engine.cylinders
    4

    Raises:
        LogbookError: the file cannot be read.
        SettingsError: names every fault in it.
    """
    path = Path(path)
    with folder.saying_what_failed(f"cannot read {path}"):
        return parse_spec(path.read_text(encoding="utf-8"), source=str(path))


def detect(run: Run, spec: EngineSpec) -> pd.DataFrame:
    """Harmful events of a run in the order of their start, as `Logbook.events` has them.

    Oil pressure is held against the floor line of the spec: what a build usually holds is known to
    a logbook alone, so that its events may be more.

    >>> events = bb.detect(bb.read_log("friday.csv"), bb.read_spec("nb-03.toml"))
    >>> events[["kind", "start_s", "duration_s"]].dtypes["start_s"]
    dtype('float64')
    """
    columns = [column.name for column in dictionary()["event"].columns]
    rows = []
    straight = straight_share(steady_pressure(run, spec), None, spec)
    for event in find_events(run, spec, None, straight=straight):
        at = run.info.started_at + timedelta(seconds=event.start_s)
        own = {"at": at, "counts": True, "confidence": asdict(event.confidence)}
        rows.append(tuple(own[name] if name in own else getattr(event, name) for name in columns))
    return _frame("event", tuple(rows))


def _frame(name: str, rows: tuple[tuple[object, ...], ...]) -> pd.DataFrame:
    return to_frame(TableDump(name, tuple(c.name for c in dictionary()[name].columns), rows))


def _standing(frame: pd.DataFrame, ended: str) -> pd.DataFrame:
    """Return the rows that were not taken back."""
    return frame[frame[ended].isna()].reset_index(drop=True)
