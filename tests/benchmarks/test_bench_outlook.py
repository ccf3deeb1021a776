"""How long match and outlook take for a fleet, and how well forecasts were calibrated (a plot)."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from babbitt.damage.fleet import BuildSpan, Fleet
from babbitt.damage.ledger import Ledger, Taken, column_of
from babbitt.damage.looks import Seen, SeenPiece
from babbitt.damage.prior import priors_of
from babbitt.damage.scores import calibration_table
from babbitt.jobs.attribute import explain_teardown
from babbitt.jobs.fit import Learning
from babbitt.jobs.gather import fitted_to, gather
from babbitt.jobs.outlook import state_of
from babbitt.model.damage_modes import DamageMode, causes, mode_named
from babbitt.model.engine_spec import LifeSection
from babbitt.model.kinds import KINDS
from babbitt.outlook.backtest import BackTest, back_test
from babbitt.outlook.outlook import look_ahead
from babbitt.register.records.teardowns import findings_of
from fleet_book import BUILD_LASTS, BUILT, make_fleet

ENGINES = 50
TEARDOWNS_EACH = 4
REACH_S = 2.0
NOW = BUILT + TEARDOWNS_EACH * BUILD_LASTS + timedelta(days=50)
PLOT = Path(__file__).parents[2] / "build" / "calibration.png"


def test_match_and_outlook_of_fifty_engines_and_two_hundred_teardowns(
    benchmark, keep_row, tmp_path
) -> None:
    """From what the register holds, read once, to every engine's outlook and newest match."""
    book = make_fleet(tmp_path / "book", engine_count=ENGINES, teardowns_each=TEARDOWNS_EACH)
    with book.register.reading() as session:
        gathered = gather(session)
        findings = findings_of(session)
        newest = {each.engine_id: each for each in gathered.teardowns}
        (torn_down_at,) = {each.at for each in newest.values()}
        torn_down = fitted_to(session, gathered, newest, torn_down_at)
        fitted = fitted_to(session, gathered, newest, NOW)

        def assess() -> tuple[int, int]:
            learned = Learning(gathered).of("E00")
            matches = [
                explain_teardown(gathered, learned, newest[name], findings, torn_down[name])
                for name in newest
            ]
            outlooks = [
                look_ahead(
                    state_of(
                        session, gathered, learned, gathered.builds[name][-1], fitted[name], NOW
                    ),
                    learned.posteriors,
                    runs=1,
                    service={},
                )
                for name in newest
            ]
            return sum(len(each.matches) for each in matches), len(outlooks)

        assert len(gathered.teardowns) == ENGINES * TEARDOWNS_EACH
        matches, outlooks = benchmark.pedantic(assess, rounds=3, warmup_rounds=1)
    assert outlooks == ENGINES
    assert matches > ENGINES / 2
    what = f"match and outlook of {ENGINES} engines and {ENGINES * TEARDOWNS_EACH} teardowns"
    keep_row(what, benchmark.stats.stats.data, reach=REACH_S, unit="s")


def test_forecasts_are_calibrated_as_the_plot_shows(benchmark) -> None:
    found = benchmark.pedantic(back_test, args=([simulated_fleet(60)],), rounds=1)
    assert found.score is not None
    assert found.by_hours is not None
    _plot(found)
    print(f"\ncalibration of {len(found.forecasts)} forecasts: {PLOT}")
    assert found.score.brier < found.by_hours.brier
    told = found.calibration[found.calibration["count"] >= 20]
    inside = (told["observed_low"] <= told["forecast"]) & (
        told["forecast"] <= told["observed_high"]
    )
    assert inside.mean() >= 0.75, told


def simulated_fleet(builds: int) -> Fleet:
    """One engine after another, stripped after a build whose doses did the damage.

    What is true of a damage mode is drawn from the very beliefs that the model starts from.
    """
    rng = np.random.default_rng(7146)
    life = LifeSection(**dict.fromkeys(KINDS, 1.0))
    hours = rng.lognormal(np.log(7.0), 0.35, builds)
    doses = np.zeros((builds, len(causes())))
    for name in causes():
        doses[:, column_of(name)] = rng.lognormal(-1.0, 1.2, builds)
    doses[:, column_of("running")] = hours
    modes = [
        mode_named(*name.split("."))
        for name in (
            "rod_bearing.wiped",
            "rod_bolt.stretched",
            "exhaust_valve.bent",
            "piston_skirt.scuffed",
            "cam_lobe.scuffed",
            "ring.butted",
        )
    ]
    seen = []
    for mode in modes:
        for n, damaged in enumerate(_outcomes(rng, mode, life, doses)):
            taken = Taken(doses[n], np.zeros(len(causes())), 0.0)
            begun = f"E{n}", _day(2 * n)
            seen.append(
                Seen(
                    "E0",
                    _day(2 * n + 1),
                    mode,
                    (None,),
                    taken,
                    None,
                    (SeenPiece((n,), 3 if damaged else 0),),
                    begun,
                    fitted_again=False,
                )
            )
    ledger = Ledger(
        engine_id="E0",
        run_ids=tuple(str(n) for n in range(builds)),
        started_s=np.array([_day(2 * n).timestamp() for n in range(builds)]),
        logged=np.ones(builds, dtype=np.bool_),
        doses=doses,
        unwatched_h=np.zeros_like(doses),
        revolutions=np.full(builds, np.nan),
        circuits=(None,) * builds,
    )
    spans = tuple(BuildSpan("E0", _day(2 * n), _day(2 * n + 1)) for n in range(builds))
    seen.sort(key=lambda look: look.at)
    return Fleet({"E0": ledger}, tuple(seen), spans, {"E0": life})


def _outcomes(
    rng: np.random.Generator, mode: DamageMode, life: LifeSection, doses: np.ndarray
) -> list[bool]:
    (prior,) = priors_of(mode, life, strip_interval_h=None)
    truth = np.exp(rng.normal(prior.mean, prior.spread))
    eta, beta = np.split(truth[1:], 2)
    columns = [column_of(name) for name in prior.causes]
    hazard = truth[0] + ((doses[:, columns] / eta) ** beta).sum(axis=1)
    return (rng.random(len(doses)) < -np.expm1(-hazard)).tolist()


def _day(n: float) -> datetime:
    return BUILT + timedelta(days=n)


def _plot(found: BackTest) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(figsize=(6, 6), layout="constrained")
    axes.plot([0, 1], [0, 1], color="0.6", linewidth=0.8)
    damaged = np.array([each.damaged for each in found.forecasts])
    by_hours = calibration_table(np.array([each.by_hours for each in found.forecasts]), damaged)
    for table, score, marker, name in (
        (found.calibration, found.score, "o", "damage model"),
        (by_hours, found.by_hours, "s", "hours alone"),
    ):
        _draw(axes, table, f"{name}, Brier score {score.brier:.3f}", marker)
    axes.set(
        xlabel="chance of damage that was forecast",
        ylabel="found damaged, with 90 % interval",
        xlim=(0, 1),
        ylim=(0, 1),
        title=f"{len(found.forecasts)} forecasts of a simulated fleet, each from earlier teardowns",
    )
    axes.legend(frameon=False)
    PLOT.parent.mkdir(exist_ok=True)
    figure.savefig(PLOT, dpi=120)
    plt.close(figure)


def _draw(axes, table: pd.DataFrame, label: str, marker: str) -> None:
    known = table[table["count"] > 0]
    below = known["observed"] - known["observed_low"]
    above = known["observed_high"] - known["observed"]
    axes.errorbar(
        known["forecast"],
        known["observed"],
        # an interval may leave out a frequency of 0 or 1
        yerr=np.clip([below, above], 0.0, None),
        fmt=marker,
        label=label,
        capsize=3,
        markersize=5,
    )


@pytest.fixture(autouse=True)
def _no_display(monkeypatch) -> None:
    monkeypatch.setenv("MPLBACKEND", "Agg")
