"""The demo season: reproducible, small, complete, and clear about what is harm and what is not."""

import json
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import demo_logs
from babbitt.logbook.settings import parse_settings
from babbitt.model.engine_spec import parse_spec
from babbitt.model.kinds import KINDS
from babbitt.model.run import FloatArray
from demo_logs.log import Log
from demo_logs.make import Session, make, play
from demo_logs.photos import PHOTOS
from demo_logs.plan import LOGS

HERE = Path(demo_logs.__file__).parent
TRUTH = json.loads((HERE / "truth.json").read_text(encoding="utf-8"))["logs"]
SEASON = tomllib.loads((HERE / "season.toml").read_text(encoding="utf-8"))
EVENTS = [event for log in TRUTH for event in log["events"]]
SPEC = tomllib.loads((HERE / "specs" / "NB-01.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def sessions() -> dict[str, Session]:
    return {log.name: play(log) for log in LOGS}


def truth_of(log: Log) -> dict[str, Any]:
    return next(truth for truth in TRUTH if truth["file"] == f"logs/{log.name}.csv")


def test_the_script_makes_the_committed_files_byte_for_byte(tmp_path: Path) -> None:
    make(tmp_path)
    made = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*.*"))
    assert len(made) == len(LOGS) + len(PHOTOS) + 2
    assert [p for p in made if (tmp_path / p).read_bytes() != (HERE / p).read_bytes()] == []
    assert [p for p in made if p.suffix == ".csv"] == sorted(
        p.relative_to(HERE) for p in (HERE / "logs").iterdir()
    )


def test_the_logs_stay_small() -> None:
    assert sum(path.stat().st_size for path in (HERE / "logs").iterdir()) < 5.8e6


def test_the_logs_differ_in_form() -> None:
    forms = {log.dialect.name: log.dialect for log in LOGS}.values()
    assert len(forms) >= 5
    assert {form.encoding for form in forms} == {"utf-8", "utf-8-sig", "cp1252", "utf-16"}
    assert {form.delimiter for form in forms} == {",", ";", "\t"}
    assert len({form.time for form in forms}) == 4


def test_specs_can_be_used_and_state_a_life_for_every_kind() -> None:
    for engine in SEASON["engine"]:
        spec = parse_spec((HERE / engine["spec"]).read_text(encoding="utf-8"), source=engine["id"])
        assert all(spec.life.of(kind) for kind in KINDS)


def test_the_season_has_its_engines_and_its_logs_in_order() -> None:
    assert len(SEASON["engine"]) >= 3
    assert [log["file"] for log in SEASON["log"]] == sorted(
        (truth["file"] for truth in TRUTH), key=lambda file: file.split("_")[1]
    )


def test_the_season_says_where_every_log_was_recorded() -> None:
    first_words = {"tollbar": "Tollbar Bowl", "fennick": "Fennick Hill", "rolls": "Rolling road"}
    for log in SEASON["log"]:
        named = Path(log["file"]).stem.split("_")[2]
        assert log["circuit"] == first_words[named]


def test_the_season_names_profiles_that_the_settings_hold() -> None:
    settings = parse_settings((HERE / SEASON["logbook"]).read_text(encoding="utf-8"), source="")
    named = {log["profile"] for log in SEASON["log"] if "profile" in log}
    assert named == set(settings.profile)


def test_every_build_begins_with_a_run_to_learn_its_oil_pressure_from() -> None:
    for engine in SEASON["engine"]:
        begins = [f"{engine['built_at']:%F}"]
        begins += [f"{refresh['at']:%F}" for refresh in engine.get("refresh", [])]
        for begin in begins:
            files = [log["file"] for log in SEASON["log"] if log["engine"] == engine["id"]]
            assert next(f for f in files if f.split("_")[1] > begin).endswith("_rolls.csv")


def test_every_kind_is_planted_in_every_variety() -> None:
    assert {event["kind"] for event in EVENTS} == set(KINDS) - {"dry_start"}
    assert {e["cause"] for e in EVENTS if e["kind"] == "over_rev"} == {"on_power", "driven"}
    assert {e["cause"] for e in EVENTS if e["kind"] == "coolant_overheat"} == {None, "heat_soak"}
    assert {e["side"] for e in EVENTS if e["kind"] == "oil_starvation"} == {"left", "right"}
    assert {event["ended_by"] for event in EVENTS} == {"release", "gap", "end_of_run"}


def test_decoys_are_of_many_sorts() -> None:
    assert {decoy["sort"] for log in TRUTH for decoy in log["decoys"]} == {
        "blanks",
        "clock_jump",
        "cranking",
        "hot_idle",
        "kerb_strike",
        "limiter",
        "pause",
        "pressure_dip",
        "priming",
        "short_overboost",
        "shutdown",
        "spike",
        "stuck",
        "unplugged",
        "warm_soak",
    }


def test_truth_agrees_with_itself(sessions: dict[str, Session]) -> None:
    for log in LOGS:
        truth, end_s = truth_of(log), sessions[log.name].recording.stamp_s[-1]
        assert len(truth["events"]) == len(log.planted)
        for event in truth["events"]:
            assert 0.0 < event["start_s"] < event["end_s"] <= end_s + truth["sample_s"]
            assert 0.0 < event["duration_s"] <= event["end_s"] - event["start_s"] + 0.003
            assert event["dose"] > 0.0


def test_one_engine_is_clearly_worst_and_one_sound() -> None:
    starved = {
        engine["id"]: sum(
            event["dose"]
            for log in TRUTH
            for event in log["events"]
            if log["engine"] == engine["id"] and event["kind"] == "oil_starvation"
        )
        for engine in SEASON["engine"]
    }
    assert starved["NB-01"] > 10.0 * starved["NB-02"] > 0.0
    assert starved["NB-03"] == 0.0


def harm_of(channel: str, values: FloatArray) -> FloatArray:
    """Harm a second of what a channel reads, by the formulas of the guide."""
    if channel == "rpm":
        blows = 1.0 + (np.maximum(values / 8300.0 - 1.0, 0.0) / 0.02) ** 2
        return np.where(values > 7600.0, values / 60.0 * (values / 7600.0) ** 10 * blows, 0.0)
    if channel == "boost":
        return np.maximum(values - 180.0, 0.0)
    limit_c, doubles_k = {"oil_temperature": (135.0, 10.0), "coolant_temperature": (108.0, 5.0)}[
        channel
    ]
    excess = np.maximum(values - limit_c, 0.0)
    return doubles_k / np.log(2.0) * (2.0 ** (excess / doubles_k) - 1.0)


def dose_by_quadrature(session: Session, log: Log, number: int) -> float:
    """Dose of a planted trapezoid, in steps far finer than the simulation's."""
    shape = log.planted[number].shape
    times = shape.knots(session.trace)
    values = session.trace.channels[shape.channel]
    first, last = values[np.searchsorted(session.trace.time_s, times)[[0, 3]]]
    fine_s = np.linspace(times[0], times[3], 20_001)
    fine = np.interp(fine_s, times, [first, shape.peak, shape.peak, last])
    return float(np.trapezoid(harm_of(shape.channel, fine), fine_s))


def test_doses_are_those_of_the_planted_shapes(sessions: dict[str, Session]) -> None:
    checked = set()
    for log in LOGS:
        for number, item in enumerate(log.planted):
            events = [e for e in truth_of(log)["events"] if e["kind"] == item.kind]
            event = events[[p for p in log.planted if p.kind == item.kind].index(item)]
            if item.shape.channel == "oil_factor" or item.kind == "cold_load":
                continue
            if event["ended_by"] == "release":
                expected = dose_by_quadrature(sessions[log.name], log, number)
                assert event["dose"] == pytest.approx(expected, rel=5e-3)
                checked.add(item.kind)
    assert checked == {"over_rev", "overboost", "oil_overheat", "coolant_overheat"}


@pytest.mark.parametrize("log", LOGS, ids=lambda log: log.name)
def test_nothing_but_planted_events_comes_near_a_limit(
    log: Log, sessions: dict[str, Session]
) -> None:
    trace = sessions[log.name].trace
    time, channels = trace.time_s, trace.channels
    apart: dict[str, Any] = {}
    for item in (*log.planted, *log.lookalikes):
        start, _, _, end = item.shape.knots(trace)
        apart.setdefault(item.shape.channel, np.zeros(len(time), bool))
        apart[item.shape.channel] |= (time >= start) & (time <= end)

    def quiet(channel: str) -> Any:
        return ~apart.get(channel, np.zeros(len(time), bool))

    assert channels["rpm"][quiet("rpm")].max() < 7500.0
    assert channels["boost"][quiet("boost")].max() < 165.0
    assert channels["oil_temperature"][quiet("oil_temperature")].max() < 133.0
    assert channels["coolant_temperature"][quiet("coolant_temperature")].max() < 106.0
    cold = (channels["oil_temperature"] < 72.0) & quiet("rpm") & quiet("boost")
    assert not cold.any() or channels["rpm"][cold].max() < 4700.0
    assert not cold.any() or channels["boost"][cold].max() < 70.0
    judged = (channels["rpm"] > 2400.0) & (time > trace.fired_s + 3.0) & quiet("oil_factor")
    floor = np.minimum(channels["rpm"] * 0.069, 550.0)
    limit = np.maximum(floor, 0.75 * trace.expected_kpa())
    assert (channels["oil_pressure"][judged] / limit[judged]).min() > 1.04


FIRST_RUNS = [log for log in LOGS if log.session.circuit == "rolls"]


@pytest.mark.parametrize("log", FIRST_RUNS, ids=lambda log: log.name)
def test_the_steady_running_of_a_first_run_covers_the_season(
    log: Log, sessions: dict[str, Session]
) -> None:
    channels = sessions[log.name].recording.channels
    steady = np.abs(np.gradient(channels["rpm"], 1.0 / log.rate_hz)) < 400.0
    steady &= channels["rpm"] > 2500.0
    assert steady.sum() / log.rate_hz > 120.0
    assert channels["rpm"][steady].min() < 2700.0
    assert channels["rpm"][steady].max() > 7250.0
    assert channels["oil_temperature"][steady].min() < 80.0
    assert channels["oil_temperature"][steady].max() > 128.0
