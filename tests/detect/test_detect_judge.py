"""Detection as a whole."""

from __future__ import annotations

import numpy as np

from babbitt.detect.judge import detect
from babbitt.model.event import event_id_of
from made_runs import line, make_run, make_spec, pulse

SPEC = make_spec("[oil_pressure]\nfloor_kpa_per_1000rpm = 50\n")
HARM = {
    "rpm": line((30, 6000), (31, 7900), (32, 6000)),
    "boost": line((40, 150), (41, 200), (42, 150)),
    "oil_pressure": pulse(450.0, 100.0, 50.0, 51.0),
    "lateral_g": pulse(0.0, 1.0, 48.0, 60.0),
    "coolant_temperature": line((60, 100), (70, 115), (80, 100)),
    "oil_temperature": line((0, 60), (10, 80), (80, 130), (90, 140), (100, 130)),
}


def test_every_kind_is_found_in_order_of_start():
    events = detect(make_run(100, **HARM), SPEC, None)

    assert [event.kind for event in events] == [
        "cold_load",
        "over_rev",
        "overboost",
        "oil_starvation",
        "coolant_overheat",
        "oil_overheat",
    ]


def test_a_calm_run_has_no_events():
    assert detect(make_run(100), SPEC, None) == ()


def test_a_run_of_one_sample_or_none_has_no_events():
    assert detect(make_run(0.0), SPEC, None) == ()
    assert detect(make_run(time_s=[]), SPEC, None) == ()


def test_a_run_in_which_every_channel_failed_has_no_events():
    failed = dict.fromkeys(HARM | {"oil_temperature": None}, slice(None))

    assert detect(make_run(100, bad=failed, **HARM), SPEC, None) == ()


def test_a_run_without_engine_speed_has_no_events():
    assert detect(make_run(100, without=["rpm"], **HARM), SPEC, None) == ()


def test_events_carry_what_identifies_them():
    run = make_run(100, **HARM)

    for event in detect(run, SPEC, None):
        assert event.event_id == event_id_of("r1", event.kind, event.peak_s)
        assert (event.run_id, event.engine_id) == ("r1", "E-1")
        assert event.spec_version == SPEC.version()
        assert event.review is None
        assert event.duration_s <= event.end_s - event.start_s + 1e-9


def test_a_moved_limit_leaves_the_event_its_id():
    limits = SPEC.over_rev.model_copy(update={"redline_rpm": 7500.0})
    other = SPEC.model_copy(update={"over_rev": limits})
    run = make_run(100, rpm=HARM["rpm"])
    (before,), (after,) = detect(run, SPEC, None), detect(run, other, None)

    assert after.start_s < before.start_s
    assert after.event_id == before.event_id
    assert after.spec_version != before.spec_version


def test_slow_sampling_hides_what_is_shorter_than_two_samples_and_nothing_longer():
    run = make_run(100, native_hz={"oil_pressure": 5.0, "boost": 1.0}, **HARM)
    kinds = {event.kind for event in detect(run, SPEC, None)}

    # starved for a second; boost is above its limit for less than that
    assert kinds == {"cold_load", "over_rev", "oil_starvation", "coolant_overheat", "oil_overheat"}


def test_events_are_plain_values():
    for event in detect(make_run(100, **HARM), SPEC, None):
        for value in (event.start_s, event.end_s, event.duration_s, event.peak, event.dose):
            assert type(value) is float
            assert np.isfinite(value)


def test_a_whole_start_and_shutdown_is_not_harm():
    # Off, cranked at 250, started, idled hot, driven off, idled, stopped; pressure follows late.
    rpm = line(
        (3, 0), (3.1, 250), (4, 250), (4.3, 1500), (6, 1100), (20, 1100),
        (24, 6000), (40, 6000), (44, 1100), (50, 1100), (51, 0),
    )  # fmt: skip
    pressure = line(
        (3, 0), (6, 60), (8, 90), (20, 90), (24, 450), (40, 450), (44, 80), (50, 80), (54, 0)
    )

    assert detect(make_run(60, rpm=rpm, oil_pressure=pressure, boost=0.0), SPEC, None) == ()
