"""babbitt outlook and backtest: what the next runs may bring, and how good that was so far."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from babbitt.commands.common import (
    JsonOption,
    LogbookOption,
    err,
    instant,
    open_from,
    out,
    print_json,
    progress,
)
from babbitt.model.circuit import circuit_name
from babbitt.model.damage_modes import causes
from babbitt.outlook.ahead import MOST_RUNS
from babbitt.present.words import CAUTION, NOTHING, Reader, faults_in_words, reader_of, share, table

if TYPE_CHECKING:
    from babbitt.damage.chance import Estimate
    from babbitt.damage.scores import Decomposition
    from babbitt.logbook.folder import Logbook
    from babbitt.outlook.backtest import BackTest
    from babbitt.outlook.forecast import ModeOutlook
    from babbitt.outlook.outlook import Outlook
    from babbitt.outlook.why import Belief, LifeBelief, Why

_SHOWN = 10
"""Damage modes shown of an engine; --json has them all."""


def outlook(
    context: typer.Context,
    engine_id: Annotated[
        str | None, typer.Argument(metavar="[ENGINE_ID]", help="One engine; else all.")
    ] = None,
    runs: Annotated[
        int, typer.Option(min=1, max=MOST_RUNS, help="How many runs to look ahead.")
    ] = 1,
    laps: Annotated[
        int | None, typer.Option(min=1, help="How many laps of one engine, in place of runs.")
    ] = None,
    circuit: Annotated[
        str | None, typer.Option(metavar="NAME", help="Where they will be; without it, anywhere.")
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="WHEN", help="As it stood then, not now.")
    ] = None,
    why: Annotated[
        bool, typer.Option("--why", help="Show what was believed, found and learned.")
    ] = False,
    as_json: JsonOption = False,
    logbook: LogbookOption = None,
) -> None:
    """Say what the next runs may bring: run on, inspect or pull, and why."""
    # scipy, which the damage model needs, is slow to import
    from babbitt.jobs.outlook import outlooks
    from babbitt.present.outlook_words import outlook_json

    book = open_from(context, logbook)
    reader = reader_of(book.settings)
    when = instant(at, "--at", reader.timezone).astimezone(UTC) if at else datetime.now(UTC)
    name = circuit_name(circuit or "")
    if laps is not None:
        runs = _runs_for(book, engine_id, laps, name, when)
    found = outlooks(book, engine_id, runs=runs, at=when, circuit=name, with_whys=why)
    if found.left_out:
        err.print(f"Left out, as none of their type was logged there: {', '.join(found.left_out)}.")
    for sentence in faults_in_words(found.faults):
        err.print(sentence)
    if as_json:
        print_json(
            [
                outlook_json(each, reader, found.rpm_at)
                | ({"why": [w.to_json() for w in found.whys[each.engine_id]]} if why else {})
                for each in found.engines
            ]
        )
        return
    if not found.engines and not found.faults:
        out.print("No engines yet: add one with `babbitt engine add ID --spec SPEC.toml`.")
        return
    if engine_id is None:
        print_outlooks(found.engines, reader, found.rpm_at)
    else:
        _print_engine(found.engines[0], reader, found.rpm_at)
    for name, whys in found.whys.items():
        _print_whys(name, whys)
    out.print(CAUTION, style="dim")


def _runs_for(
    book: Logbook, engine_id: str | None, laps: int, circuit: str | None, at: datetime
) -> int:
    """Return the runs that so many laps take, and say so."""
    from babbitt.jobs.laps import runs_for_laps

    if engine_id is None:
        raise typer.BadParameter("name the engine that is to do them", param_hint="--laps")
    runs, usual = runs_for_laps(book, engine_id, laps, circuit, at)
    if runs > MOST_RUNS:
        raise typer.BadParameter(
            f"that is {runs} usual runs: look at most {MOST_RUNS} ahead", param_hint="--laps"
        )
    plural = "" if runs == 1 else "s"
    err.print(
        f"{laps} laps are {runs} run{plural}: a usual one has {usual:g} laps, in-lap and all."
    )
    return runs


def backtest(
    context: typer.Context, as_json: JsonOption = False, logbook: LogbookOption = None
) -> None:
    """Forecast each teardown from what was known before it, and compare with what was found."""
    # scipy, which the damage model needs, is slow to import
    from babbitt.jobs.outlook import back_test_of

    book = open_from(context, logbook)
    with progress("Forecasting past teardowns", quiet=as_json) as track:
        found = back_test_of(book, track=track)
    if as_json:
        print_json(found.to_json())
    elif not found.forecasts:
        out.print(
            "No teardown to look back on: `babbitt teardown record ENGINE_ID --at WHEN --findings "
            "FILE`."
        )
    else:
        _print_back_test(found)


def print_outlooks(found: Sequence[Outlook], reader: Reader, rpm_at: Mapping[str, float]) -> None:
    """Print the call for each engine and its reasons, those to pull first."""
    from babbitt.present.outlook_words import gaps_to_mind, reach_in_words, reasons

    order = ("pull", "inspect", "run on")
    listing = table("", "engine", "call", "remarks", left=3)
    for each in sorted(found, key=lambda each: order.index(each.verdict.call)):
        said = [*reasons(each, reader, rpm_at), reach_in_words(each)]
        said += gaps_to_mind(each, reader)
        listing.add_row(each.engine_id, each.verdict.call, "\n".join(dict.fromkeys(said)))
        listing.add_section()
    out.print(listing)


def _print_engine(each: Outlook, reader: Reader, rpm_at: Mapping[str, float]) -> None:
    from babbitt.outlook.forecast import alike
    from babbitt.present.outlook_words import (
        drawn_in_words,
        drift_in_words,
        evidence,
        gaps_to_mind,
        reach_in_words,
        reasons,
        would_change,
    )

    out.print(f"{each.engine_id}: {each.verdict.call}.", style="bold")
    _print_list("", reasons(each, reader, rpm_at))
    _print_list("What would change it:", would_change(each))
    _print_list("To keep in mind:", gaps_to_mind(each, reader))
    listing = table("", "part", "damage", "to replace now", "90 %", *_ahead(each.runs), left=2)
    rows = alike(each.modes)
    for modes in rows[:_SHOWN]:
        first = modes[0]
        listing.add_row(
            _place(first),
            ", ".join(mode.mode.title for mode in modes),
            share(first.now.replace.p),
            _interval(first.now.replace),
            share(first.next.replace.p),
            _interval(first.next.replace),
            share(first.next.failed.p),
        )
    out.print(listing)
    if len(rows) > _SHOWN:
        rest = share(rows[_SHOWN][0].next.replace.p)
        out.print(
            f"{len(rows) - _SHOWN} more are at most {rest} likely to need replacing; "
            "--json lists them all."
        )
    for sentence in (
        drawn_in_words(each),
        reach_in_words(each),
        drift_in_words(each, reader),
        evidence(each),
    ):
        if sentence:
            out.print(sentence)


def _print_list(title: str, sentences: Iterable[str]) -> None:
    said = list(sentences)
    if said and title:
        out.print(title)
    for sentence in said:
        out.print(f"- {sentence}")


def _ahead(runs: int) -> tuple[str, str, str]:
    return ("after 1 run" if runs == 1 else f"after {runs} runs", "90 %", "failed by then")


def _place(mode: ModeOutlook) -> str:
    from babbitt.present.words import place

    return place(mode.mode.part, mode.like.positions)


def _interval(estimate: Estimate) -> str:
    return f"{100 * estimate.low:.0f}-{100 * estimate.high:.0f} %"


def _print_whys(engine_id: str, whys: Iterable[Why]) -> None:
    listing = table(
        f"What was learned for {engine_id}: the dose by which one in ten is damaged, median and "
        "90 % interval",
        "damage and cause",
        "before",
        "now",
    )
    for each in whys:
        looks = f"{each.looks} look{'' if each.looks == 1 else 's'}, {each.damaged} damaged"
        listing.add_row(f"{each.part.title} {each.mode.title}: {looks}", "", "")
        lives = [(_dose(life), life) for life in each.lives]
        if each.running is not None:
            lives.append((f"{_dose(each.running)}, if it does the damage", each.running))
        for name, life in lives:
            listing.add_row(f"  {name}", _belief(life.prior), _belief(life.posterior))
        if each.running is not None:
            odds = share(each.running_prior), share(each.running_posterior)
            listing.add_row("  chance that running time does it", *odds)
        unlogged = [
            f"{share(b.median)} ({share(b.low)} to {share(b.high)})"
            for b in (each.unlogged_prior, each.unlogged_posterior)
        ]
        listing.add_row("  chance by what is not in the log", *unlogged)
        listing.add_section()
    out.print(listing)


def _dose(life: LifeBelief) -> str:
    return f"{causes()[life.cause].title}, {causes()[life.cause].dose_unit}"


def _belief(belief: Belief | None) -> str:
    if belief is None:
        return NOTHING
    median, low, high = (
        f"{float(f'{value:.2g}'):,.10g}" for value in (belief.median, belief.low, belief.high)
    )
    return f"{median} ({low} to {high})"


def _print_back_test(found: BackTest) -> None:
    teardowns = {(each.engine_id, each.at) for each in found.forecasts}
    damaged = sum(each.damaged for each in found.forecasts)
    out.print(
        f"{len(found.forecasts)} forecasts of {len(teardowns)} teardowns, {damaged} of damage that "
        "was found. Brier score: 0 is perfect; skill: share of the score of always forecasting the "
        "overall frequency that is saved."
    )
    scores = table("", "forecast by", "Brier score", "reliability", "resolution", "skill")
    for name, score in (("the damage model", found.score), ("hours alone", found.by_hours)):
        if score is not None:
            scores.add_row(name, *_scores(score))
    if found.score is not None:
        scores.add_row("overall frequency", f"{found.score.uncertainty:.4f}", "0", "0", "0 %")
    out.print(scores)
    listing = table(
        "Forecast and found", "forecast between", "forecasts", "mean", "found damaged", "90 %"
    )
    for row in found.calibration.to_dict("records"):
        known = row["count"] > 0
        listing.add_row(
            f"{share(row['low'])} and {share(row['high'])}",
            f"{row['count']:.0f}",
            share(row["forecast"]) if known else NOTHING,
            share(row["observed"]) if known else NOTHING,
            f"{100 * row['observed_low']:.0f}-{100 * row['observed_high']:.0f} %"
            if known
            else NOTHING,
        )
    out.print(listing)


def _scores(score: Decomposition) -> tuple[str, str, str, str]:
    skill = NOTHING if score.uncertainty == 0.0 else share(score.skill)
    return (f"{score.brier:.4f}", f"{score.reliability:.4f}", f"{score.resolution:.4f}", skill)
