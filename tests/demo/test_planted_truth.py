"""What was planted in the demo logs is what is found in them: every event, and nothing else."""

import hashlib
import json
import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

import demo_logs
from babbitt.detect.judge import detect
from babbitt.detect.pressure import learn_surface, steady_pressure
from babbitt.detect.watch import watched
from babbitt.ingest.read import read_log
from babbitt.ingest.source import Instructions, ReadSource
from babbitt.logbook.settings import parse_settings, zone
from babbitt.model.channels import channels
from babbitt.model.engine_spec import EngineSpec, parse_spec
from babbitt.model.event import CERTAIN, Event
from babbitt.model.run import Run
from babbitt.totals.exposure import expose

HERE = Path(demo_logs.__file__).parent
LOGS = json.loads((HERE / "truth.json").read_text(encoding="utf-8"))["logs"]
SEASON = tomllib.loads((HERE / "season.toml").read_text(encoding="utf-8"))
SETTINGS = parse_settings(
    (HERE / "logbook.toml").read_text(encoding="utf-8"), source="logbook.toml"
)

PEAK_NOISE = {"1/min": 30.0, "kPa": 5.0, "°C": 0.1}
"""What noise can add to the worst of some hundred samples."""

TOLD_BY_FLAGS = {"spike", "pressure_dip", "kerb_strike", "unplugged", "stuck", "blanks"}


@dataclass(frozen=True)
class Outcome:
    run: Run
    spec: EngineSpec
    events: tuple[Event, ...]


def read(entry: dict[str, Any]) -> Run:
    path = HERE / entry["file"]
    data = path.read_bytes()
    instructions = Instructions(
        engine_id=entry["engine"],
        profile=SETTINGS.profile_named(entry["profile"]) if "profile" in entry else None,
        started=entry.get("started"),
        zone=zone(SETTINGS.timezone),
    )
    digest = hashlib.sha256(data).hexdigest()
    return read_log(ReadSource(path.name, data, digest, datetime.now(UTC)), instructions)


def judge(runs: list[Run], spec: EngineSpec) -> dict[str, Outcome]:
    """Judge the runs of one build by what its first runs taught."""
    surface = learn_surface([steady_pressure(run, spec) for run in runs], spec)
    return {
        f"logs/{run.info.source_name}": Outcome(run, spec, detect(run, spec, surface))
        for run in runs
    }


@pytest.fixture(scope="module")
def outcomes() -> dict[str, Outcome]:
    found: dict[str, Outcome] = {}
    for engine in SEASON["engine"]:
        spec = parse_spec((HERE / engine["spec"]).read_text(encoding="utf-8"), source="spec")
        runs = [read(entry) for entry in SEASON["log"] if entry["engine"] == engine["id"]]
        edges = [refresh["at"] for refresh in engine.get("refresh", [])]
        for since, until in zip([engine["built_at"], *edges], [*edges, None], strict=True):
            build = [r for r in runs if r.info.started_at >= since]
            build = [r for r in build if until is None or r.info.started_at < until]
            found |= judge(build, spec)
    return found


every_log = pytest.mark.parametrize("log", LOGS, ids=lambda log: Path(log["file"]).stem)


@every_log
def test_the_log_says_when_it_started(log: dict[str, Any], outcomes: dict[str, Outcome]) -> None:
    info = outcomes[log["file"]].run.info
    assert info.started_at == datetime.fromisoformat(log["started"])
    assert info.start_basis in {"log", "stated"}


@every_log
def test_every_planted_event_is_found_and_nothing_else(
    log: dict[str, Any], outcomes: dict[str, Outcome]
) -> None:
    found = outcomes[log["file"]].events
    assert [(e.kind, e.side, e.cause, e.ended_by, e.confidence) for e in found] == [
        (e["kind"], e["side"], e["cause"], e["ended_by"], CERTAIN) for e in log["events"]
    ]
    for event, truth in zip(found, log["events"], strict=True):
        assert event.start_s == pytest.approx(truth["start_s"], abs=log["sample_s"])
        assert event.end_s == pytest.approx(truth["end_s"], abs=log["sample_s"])
        assert event.duration_s == pytest.approx(truth["duration_s"], abs=log["sample_s"])
        assert event.peak == pytest.approx(truth["peak"], abs=PEAK_NOISE[event.peak_unit])


@every_log
def test_doses_are_right_within_hundredths(
    log: dict[str, Any], outcomes: dict[str, Outcome]
) -> None:
    found = outcomes[log["file"]].events
    for event, truth in zip(found, log["events"], strict=True):
        # past the mechanical limit noise of the reading counts by its square
        within = 0.02 if event.cause == "driven" else 0.01 if truth["clean"] else 0.05
        assert event.dose == pytest.approx(truth["dose"], rel=within)


@every_log
def test_running_time_and_revolutions_are_right(
    log: dict[str, Any], outcomes: dict[str, Outcome]
) -> None:
    outcome, truth = outcomes[log["file"]], log["exposure"]
    exposure = expose(outcome.run, outcome.spec, watched(outcome.run, outcome.spec))
    assert exposure.running_s == pytest.approx(truth["running_s"], abs=4.0 * log["sample_s"])
    assert exposure.revolutions == pytest.approx(truth["revolutions"], rel=1e-3)
    assert exposure.peak_rpm == pytest.approx(truth["peak_rpm"], abs=30.0)
    assert exposure.starts == 1


@every_log
def test_what_a_log_cannot_show_is_not_watched(
    log: dict[str, Any], outcomes: dict[str, Outcome]
) -> None:
    outcome = outcomes[log["file"]]
    seconds_by_kind = watched(outcome.run, outcome.spec)
    assert {kind for kind, seconds in seconds_by_kind.items() if seconds == 0.0} == set(
        log["not_watched"]
    )


@every_log
def test_every_fault_of_a_sensor_is_told(log: dict[str, Any], outcomes: dict[str, Outcome]) -> None:
    warnings = outcomes[log["file"]].run.info.warnings
    for decoy in log["decoys"]:
        if decoy["sort"] in TOLD_BY_FLAGS and not is_brief_blank(decoy):
            title = channels()[decoy["channel"]].title.capitalize()
            assert any(warning.startswith(title) for warning in warnings)


def is_brief_blank(decoy: dict[str, Any]) -> bool:
    """Blanks of less than a second are interpolated over, and not worth a sentence."""
    return decoy["sort"] == "blanks" and decoy["end_s"] - decoy["start_s"] < 1.0
