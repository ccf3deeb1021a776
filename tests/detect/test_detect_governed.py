"""What a kind is judged by: nothing else changes its events, and all of that changes its key."""

from __future__ import annotations

import numpy as np
import pytest

from babbitt.detect.governed import channels_of, judged_key, stale_kinds, summary_key
from babbitt.detect.judge import DETECTORS, detect
from babbitt.detect.parts import detect_parts
from babbitt.detect.pressure import PressureSurface
from babbitt.jobs.detect import summarise
from babbitt.model.engine_spec import EngineSpec
from babbitt.model.kinds import KINDS
from babbitt.model.run import Run
from made_runs import line, make_run, make_spec, pulse

SPEC = make_spec("[oil_pressure]\nfloor_kpa_per_1000rpm = 50\n")
JUDGING = [
    f"{section}.{key}"
    for section, values in SPEC.model_dump().items()
    if section not in ("life", "decision")
    for key, value in values.items()
    if isinstance(value, float)
]
"""Every limit that is a number, as `section.key`."""


def harmed() -> Run:
    """Every kind of harm, each close to its limits, the engine started and stopped."""
    return make_run(
        140,
        rpm=line(
            (0, 0),
            (4, 0),
            (5, 1100),
            (8, 5200),
            (30, 6000),
            (31, 7700),
            (31.4, 7700),
            (32, 6000),
            (50, 2600),
            (60, 6000),
            (110, 6000),
            (112, 540),
            (125, 540),
            (126, 0),
        ),
        boost=line((40, 150), (41, 183), (41.2, 183), (42, 150), (70, 81), (80, 20)),
        throttle=50.0,
        oil_pressure=lambda t: (
            line((6.8, 5), (7.0, 450))(t)
            - pulse(0.0, 250.0, 61.0, 61.3)(t)
            - pulse(0.0, 200.0, 75.0, 75.25)(t)
        ),
        lateral_g=pulse(0.0, 0.65, 58.0, 60.0),
        coolant_temperature=line((60, 100), (70, 109), (73, 109), (80, 100), (115, 110)),
        oil_temperature=line((0, 60), (10, 71), (80, 130), (90, 136), (93, 136), (100, 130)),
    )


def surface(kpa: float) -> PressureSurface:
    knots = np.arange(2500.0, 7501.0, 250.0), np.arange(60.0, 141.0, 5.0)
    shape = len(knots[0]), len(knots[1])
    return PressureSurface(*knots, np.full(shape, kpa), ("r1",))


def changed(spec: EngineSpec, name: str, by: float) -> EngineSpec:
    section, key = name.split(".")
    part = getattr(spec, section)
    moved = part.model_copy(update={key: getattr(part, key) * by})
    return spec.model_copy(update={section: moved})


def found(spec: EngineSpec, expected: PressureSurface | None = None) -> dict[str, list[object]]:
    """The events by kind, without what tells which spec judged them."""
    events = detect(harmed(), spec, expected)
    told = {kind: [e for e in events if e.kind == kind] for kind in KINDS}
    return {
        kind: [(e.start_s, e.end_s, e.peak, e.dose, e.cause, e.side, e.confidence) for e in some]
        for kind, some in told.items()
    }


def test_the_run_has_every_kind_of_harm() -> None:
    assert all(found(SPEC).values())


@pytest.mark.parametrize("by", [0.5, 0.9, 0.99, 1.01, 1.1, 2.0])
@pytest.mark.parametrize("name", JUDGING)
def test_a_limit_that_changes_events_changes_the_keys_of_their_kinds(name: str, by: float) -> None:
    other = changed(SPEC, name, by)
    stale = stale_kinds(judged_key(SPEC, None), judged_key(other, None))
    now, before = found(other), found(SPEC)
    assert {kind for kind in KINDS if now[kind] != before[kind]} <= set(stale)


@pytest.mark.parametrize("by", [0.5, 0.9, 1.1, 2.0])
@pytest.mark.parametrize("name", JUDGING)
def test_a_limit_that_changes_the_exposure_changes_its_key(name: str, by: float) -> None:
    other = changed(SPEC, name, by)
    now, before = (summarise([harmed()], "r1", spec) for spec in (other, SPEC))
    if now[0] != before[0] or now[1].partition("\n")[2] != before[1].partition("\n")[2]:
        assert summary_key(other) != summary_key(SPEC)


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("over_rev.redline_rpm", ("over_rev",)),
        ("boost.limit_kpa", ("overboost",)),
        ("coolant_temperature.limit_c", ("coolant_overheat",)),
        ("oil_temperature.limit_c", ("oil_overheat",)),
        ("oil_temperature.warm_c", ("cold_load",)),
        ("cornering.lateral_g", ("oil_starvation", "low_oil_pressure")),
        ("coolant_temperature.cap_kpa", ()),
        ("engine.bore_mm", ()),
    ],
)
def test_a_limit_concerns_the_kinds_that_it_governs(name: str, kinds: tuple[str, ...]) -> None:
    other = changed(SPEC, name, 1.01)
    assert stale_kinds(judged_key(SPEC, None), judged_key(other, None)) == kinds


def test_another_expected_pressure_concerns_what_reads_it() -> None:
    one, other = surface(400.0), surface(500.0)
    assert stale_kinds(judged_key(SPEC, one), judged_key(SPEC, other)) == (
        "oil_starvation",
        "low_oil_pressure",
        "dry_start",
    )
    differing = {k for k in KINDS if found(SPEC, one)[k] != found(SPEC, other)[k]}
    assert differing <= {"oil_starvation", "low_oil_pressure", "dry_start"}


def test_other_doubts_or_a_key_of_old_concern_every_kind() -> None:
    key = judged_key(SPEC, None)
    assert stale_kinds(None, key) == tuple(KINDS)
    assert stale_kinds("2/0123456789ab/floor", key) == tuple(KINDS)
    assert stale_kinds(key, key + "doubt") == tuple(KINDS)
    assert stale_kinds(key + "doubt", key + "doubt") == ()


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_is_found_in_its_own_channels_alone(kind: str) -> None:
    kinds = [each for each in KINDS if DETECTORS[each] is DETECTORS[kind]]
    run = harmed()
    names = channels_of(kinds)
    some = Run(run.info, run.time_s, {n: s for n, s in run.signals.items() if n in names})
    whole = [event for event in detect(run, SPEC, None) if event.kind in kinds]
    assert whole
    assert list(detect(some, SPEC, None, kinds)) == whole
    assert list(detect_parts([some], SPEC, None, kinds)) == whole
