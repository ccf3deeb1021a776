"""babbitt ingest and detect: taking logs in, searching their runs again."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Annotated

import typer

from babbitt.commands.common import (
    EngineFilter,
    JsonOption,
    LogbookOption,
    err,
    open_from,
    out,
    print_json,
    progress,
    progress_to,
)
from babbitt.commands.reading import (
    CircuitOption,
    DatesOption,
    LateralOption,
    MapOption,
    OverlapOption,
    ProfileOption,
    StartedOption,
    TimezoneOption,
    UnitOption,
    instructions_from,
)
from babbitt.commands.workers import ClusterOption, WorkersOption, at_work, rejudge
from babbitt.exchange.files import harmless
from babbitt.jobs.backlog import take_in
from babbitt.jobs.detect import Apply, judge_engine
from babbitt.jobs.ingest import after_judging, incoming_folder
from babbitt.jobs.ingest_result import Intake
from babbitt.logbook.folder import Logbook, saying_what_failed
from babbitt.logbook.log_files import logs_in
from babbitt.present.remedies import in_terminal, options_text, remarks_of, with_option
from babbitt.present.words import NOTHING, duration, short, table
from babbitt.register.records import engines

_LISTED = 30
"""So many logs are listed one by one; of more, what became of them is summed up."""

_SENTENCES = 10
"""So many of the commonest warnings on many logs, and of their refusals, are shown."""

_INTERRUPTED = 130
"""Exit status of a command that Ctrl-C ended, as shells have it."""


def ingest(
    context: typer.Context,
    logs: Annotated[
        list[Path], typer.Argument(metavar="LOG...", help="CSV logs, or folders of them.")
    ],
    engine: Annotated[str, typer.Option("--engine", metavar="ID", help="The engine that ran.")],
    started: StartedOption = None,
    profile: ProfileOption = None,
    units: UnitOption = None,
    columns: MapOption = None,
    dates: DatesOption = None,
    timezone: TimezoneOption = None,
    lateral_positive: LateralOption = None,
    circuit: CircuitOption = None,
    overlap: OverlapOption = "refuse",
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    report: Annotated[
        Path | None,
        typer.Option(metavar="FILE.csv", help="Write what was refused, and why, to this file."),
    ] = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Take logs in, and search them for harmful events; a log taken in before is a duplicate."""
    book = open_from(context, logbook)
    files = _files(logs)
    if started and len(files) > 1:
        raise typer.BadParameter("name one log at a time", param_hint="--started")
    instructions = instructions_from(
        book.settings,
        engine,
        profile=profile,
        columns=columns,
        units=units,
        started=started,
        dates=dates,
        timezone=timezone,
        lateral_positive=lateral_positive,
        circuit=circuit,
    )
    if report is not None:
        _write_report(report, [])  # what cannot be written is said before the work, not after
    intakes: list[Intake] = []
    try:
        with incoming_folder(book) as folder, at_work(files, workers, cluster) as apply:
            with progress_to(len(files), "Taking in", quiet=as_json) as reach:
                for intake in take_in(
                    book,
                    files,
                    instructions,
                    folder,
                    overlap=overlap,
                    apply=apply,
                    told=lambda share: reach(len(intakes) + share),
                ):
                    intakes.append(intake)
                    reach(len(intakes))
            intakes = judge_taken(book, intakes, apply=apply, quiet=as_json)
    except KeyboardInterrupt:
        err.print(
            f"Stopped: {len(intakes):,} of {len(files):,} logs are dealt with; the same command "
            "again goes on from there."
        )
        raise typer.Exit(_INTERRUPTED) from None
    finally:
        if report is not None:
            _write_report(report, intakes)
    if as_json:
        print_json([with_option(intake) for intake in intakes])
    elif len(intakes) > _LISTED:
        _print_summary(intakes)
    else:
        _print_intakes(intakes)
    if any(intake.status == "refused" for intake in intakes):
        raise typer.Exit(1)


def judge_taken(
    book: Logbook, intakes: Sequence[Intake], *, apply: Apply = map, quiet: bool
) -> list[Intake]:
    """Search the runs of every engine that logs were taken in for, or had been before.

    Returns:
        What became of the logs, with what is made of their sensors now.
    """
    for name in sorted({intake.engine_id for intake in intakes if intake.engine_id is not None}):
        with progress(f"Searching the runs of {name}", quiet=quiet) as track:
            for failure in judge_engine(book, name, track=track, apply=apply).failures:
                err.print(failure)
    return after_judging(book, intakes)


def detect(
    context: typer.Context,
    engine: EngineFilter = None,
    workers: WorkersOption = None,
    cluster: ClusterOption = None,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Search runs again where limits or expectations changed; reviews stay."""
    book = open_from(context, logbook)
    if engine is None:
        with book.register.reading() as session:
            names = [record.engine_id for record in engines.list_engines(session)]
    else:
        names = [engine]
    results = {
        name: rejudge(book, name, workers=workers, cluster=cluster, quiet=as_json) for name in names
    }
    if as_json:
        print_json(
            [
                {"engine_id": name, "runs": judged.judged, "failures": judged.failures}
                for name, judged in results.items()
            ]
        )
    elif not any(judged.judged or judged.failures for judged in results.values()):
        out.print("Every run is judged by the limits of today.")
    if any(judged.failures for judged in results.values()):
        raise typer.Exit(1)


def _files(named: Iterable[Path]) -> list[Path]:
    """Return the logs named, and those of the folders named; a folder without logs as it is."""
    files: list[Path] = []
    for path in named:
        with saying_what_failed(f"cannot read {path}"):
            files += (logs_in(path) if path.is_dir() else []) or [path]
    return list(dict.fromkeys(files))


def _write_report(path: Path, intakes: Iterable[Intake]) -> None:
    with (
        saying_what_failed(f"cannot write {path}"),
        path.open("w", encoding="utf-8", newline="") as file,
    ):
        writer = csv.writer(file)
        writer.writerow(["file", "why", "option"])
        writer.writerows(
            map(harmless, [intake.file, intake.error or "", options_text(intake.remedies)])
            for intake in intakes
            if intake.status == "refused"
        )


def _print_intakes(intakes: list[Intake]) -> None:
    listing = table("", "log", "status", "run", "lasted", "samples", "channels", "profile", left=3)
    for intake in intakes:
        listing.add_row(
            intake.file,
            intake.status,
            short(intake.run_id or NOTHING),
            duration(intake.duration_s),
            NOTHING if intake.rows is None else f"{intake.rows:,}",
            str(len(intake.channels)) if intake.run_id else NOTHING,
            intake.profile or NOTHING,
        )
    out.print(listing)
    for intake in intakes:
        for warning in remarks_of(intake):
            out.print(f"{Path(intake.file).name}: {warning}")
    for intake in intakes:
        if intake.error:
            err.print(f"Refused: {intake.error}")
            for line in in_terminal(intake.remedies):
                err.print(f"  {line}", soft_wrap=True)
    counts = Counter(intake.status for intake in intakes)
    out.print(", ".join(f"{count} {status}" for status, count in counts.items()) + ".")


def _print_summary(intakes: Sequence[Intake]) -> None:
    listing = table("", "status", "logs", "lasted", "samples", left=1)
    for status in ("ingested", "duplicate", "refused"):
        those = [intake for intake in intakes if intake.status == status]
        listing.add_row(
            status,
            f"{len(those):,}",
            duration(sum(each.duration_s or 0.0 for each in those)) if those else NOTHING,
            f"{sum(each.rows or 0 for each in those):,}",
        )
    out.print(listing)
    profiles = Counter(intake.profile for intake in intakes if intake.status == "ingested")
    if set(profiles) - {None}:
        used = ", ".join(f"{name or 'none'} {count:,}" for name, count in profiles.most_common())
        out.print(f"Profiles used: {used}.")
    sentences = Counter(sentence for intake in intakes for sentence in remarks_of(intake))
    for sentence, count in sentences.most_common(_SENTENCES):
        out.print(f"{count:,} logs: {sentence}" if count > 1 else sentence)
    if len(sentences) > _SENTENCES:
        out.print(
            f"And {len(sentences) - _SENTENCES:,} other warnings; `babbitt run list` has all."
        )
    refused = [intake for intake in intakes if intake.status == "refused"]
    for intake in refused[:_SENTENCES]:
        err.print(f"Refused: {intake.error}")
    if len(refused) > _SENTENCES:
        err.print(f"And {len(refused) - _SENTENCES:,} more; --report FILE.csv lists all.")
