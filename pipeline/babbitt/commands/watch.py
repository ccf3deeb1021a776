"""babbitt watch: logs are taken in as they land in a folder."""

from __future__ import annotations

import signal
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from babbitt.commands.common import JsonOption, LogbookOption, err, open_from, out, print_json_line
from babbitt.commands.logs import judge_taken
from babbitt.commands.reading import (
    CircuitOption,
    DatesOption,
    LateralOption,
    MapOption,
    OverlapOption,
    ProfileOption,
    TimezoneOption,
    UnitOption,
    instructions_from,
)
from babbitt.errors import BabbittError, LogRefusedError
from babbitt.ingest.source import Instructions
from babbitt.jobs.backlog import take_in
from babbitt.jobs.ingest import Overlap, incoming_folder
from babbitt.jobs.ingest_result import Intake
from babbitt.jobs.watch import Back, Landed, Landing, Missing, State, watch_folder
from babbitt.logbook.folder import Logbook, read_settings
from babbitt.logbook.settings import Settings, zone
from babbitt.model.kinds import KINDS, Kind
from babbitt.present.remedies import options_text, remarks_of, with_option
from babbitt.present.words import duration, short
from babbitt.register.records import engines, events

_AGAIN_AFTER_S = 20.0
"""A log that could not be taken in by no fault of its own is tried again after so long."""

_AT_ONCE = 20
"""So many logs are taken in before their engine is judged, and they are told."""


def watch(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder that logs land in.")],
    engine: Annotated[str, typer.Option("--engine", metavar="ID", help="The engine that runs.")],
    profile: ProfileOption = None,
    units: UnitOption = None,
    columns: MapOption = None,
    dates: DatesOption = None,
    timezone: TimezoneOption = None,
    lateral_positive: LateralOption = None,
    circuit: CircuitOption = None,
    overlap: OverlapOption = "refuse",
    steady: Annotated[
        float,
        typer.Option(
            min=0.0, metavar="SECONDS", help="A log is whole once it has not changed for so long."
        ),
    ] = 5.0,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Take logs in as they land in a folder, until Ctrl-C; what lies there already, too."""
    book = open_from(context, logbook)
    if folder.is_file():
        raise LogRefusedError(f"{folder} is a file: name the folder that logs land in.")
    with book.register.reading() as session:
        engines.spec_of(session, engine)

    def instructions(settings: Settings) -> Instructions:
        return instructions_from(
            settings,
            engine,
            profile=profile,
            columns=columns,
            units=units,
            dates=dates,
            timezone=timezone,
            lateral_positive=lateral_positive,
            circuit=circuit,
        )

    instructions(book.settings)  # what is wrong with the options is said at once
    landing = Landing(steady)
    watching = Watcher(book, instructions, overlap, landing, as_json=as_json)
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        watching.say(f"Watching {folder} for logs of {engine}; Ctrl-C ends it.")
        for seen in watch_folder(folder, landing):
            match seen:
                case Landed(logs):
                    watching.take(logs)
                case Missing(why):
                    watching.say(f"{folder} cannot be read ({why}): waiting for it.")
                case Back():
                    watching.say(f"{folder} is there again.")
    except KeyboardInterrupt:
        watching.say(f"Stopped watching {folder}.")


class Watcher:
    """Takes in what landed, and tells of each log in a line."""

    def __init__(
        self,
        book: Logbook,
        instructions: Callable[[Settings], Instructions],
        overlap: Overlap,
        landing: Landing,
        *,
        as_json: bool,
    ) -> None:
        self._book = book
        self._instructions = instructions
        self._overlap = overlap
        self._landing = landing
        self._as_json = as_json
        self._said = ""

    def take(self, logs: Mapping[Path, State]) -> None:
        """Take logs in, judge their engine, and settle what need not be looked at again."""
        paths = list(logs)
        for start in range(0, len(paths), _AT_ONCE):
            self._take({path: logs[path] for path in paths[start : start + _AT_ONCE]})

    def say(self, sentence: str) -> None:
        """Tell what is no log's; not again what was told last."""
        if sentence != self._said:
            self._said = sentence
            err.print(f"{self._clock()}  {sentence}", soft_wrap=True)

    def _take(self, logs: Mapping[Path, State]) -> None:
        again_at = time.monotonic() + _AGAIN_AFTER_S
        for path, state in logs.items():
            self._landing.settle(path, state, again_at=again_at)
        try:
            # Profiles may have been saved since the watch began.
            instructions = self._instructions(read_settings(self._book.root))
            with incoming_folder(self._book) as folder:
                taken = take_in(self._book, logs, instructions, folder, overlap=self._overlap)
                intakes = list(taken)
            intakes = judge_taken(self._book, intakes, quiet=True)
            there = [each for each in intakes if each.status != "refused" or _is_there(each.file)]
            self._tell(there)
        except BabbittError as error:
            self.say(str(error))
            return
        for each in there:
            if not each.later:
                self._landing.settle(Path(each.file), logs[Path(each.file)])

    def _tell(self, intakes: Sequence[Intake]) -> None:
        known = [intake for intake in intakes if intake.status == "duplicate"]
        if len(known) > 1 and not self._as_json:
            self.say(f"{len(known):,} logs there were taken in before.")
            intakes = [intake for intake in intakes if intake.status != "duplicate"]
        for intake in intakes:
            if intake.later:
                self.say(f"{intake.error} Trying again later.")
            elif self._as_json:
                line = with_option(intake) | {
                    "at": datetime.now(UTC),
                    "events": self._events(intake),
                }
                print_json_line(line)
            else:
                out.print(f"{self._clock()}  {self._line(intake)}", soft_wrap=True)

    def _line(self, intake: Intake) -> str:
        name = Path(intake.file).name
        if intake.status == "refused":
            options = options_text(intake.remedies)
            return f"{name}  refused: {intake.error}" + (f" ({options})" if options else "")
        run = f"run {short(intake.run_id or '')}, {duration(intake.duration_s)}"
        if intake.status == "duplicate":
            return f"{name}  taken in before: {run}"
        counts = self._events(intake)
        found = ", ".join(f"{count} {KINDS[kind].title}" for kind, count in counts.items())
        by = f", profile {intake.profile}" if intake.profile else ""
        remarks = len(remarks_of(intake))
        warned = f"; {remarks} warnings" if remarks else ""
        return f"{name}  {run}{by}: {found or 'no events'}{warned}"

    def _clock(self) -> str:
        return f"{datetime.now(zone(self._book.settings.timezone)):%H:%M}"

    def _events(self, intake: Intake) -> dict[Kind, int]:
        if intake.run_id is None:
            return {}
        with self._book.register.reading() as session:
            found = events.list_events(session, run_id=intake.run_id)
        return dict(Counter(each.event.kind for each in found).most_common())


def _is_there(file: str) -> bool:
    try:
        return Path(file).exists()
    except OSError:  # on a drive that does not answer
        return False
