"""A window of a run: where it may lie, and what is drawn in it."""

from __future__ import annotations

from datetime import UTC

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.logbook.folder import Logbook
from babbitt.present.figures.panels import Panel
from babbitt.present.views.cross import CHOICES, cross_of
from babbitt.present.views.run import RunView, read_run
from babbitt.present.views.run_traces import (
    MOST_POINTS,
    SHORTEST_S,
    around,
    bounds,
    more_channels,
    open_run,
    read_at,
    window_of,
)
from babbitt.present.views.shelf import OpenRun, RunShelf
from babbitt.present.words import Reader
from run_book import FIRST, make_run_book

METRIC, IMPERIAL = Reader("metric", UTC), Reader("imperial", UTC)
OWN = "Pump <b>ratio</b>"


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Logbook:
    return make_run_book(tmp_path_factory.mktemp("traces") / "book")


@pytest.fixture(scope="module")
def view(book: Logbook) -> RunView:
    return read_run(book, FIRST)


@pytest.fixture(scope="module")
def run(book: Logbook, view: RunView) -> OpenRun:
    return open_run(RunShelf(book), view, [OWN])


def panel(panels: tuple[Panel, ...], title: str) -> Panel:
    return next(each for each in panels if each.title == title)


@given(
    duration_s=st.floats(0.0, 1e5),
    start_s=st.floats(-1e5, 2e5),
    end_s=st.floats(-1e5, 2e5),
)
def test_a_window_lies_within_the_run_and_is_never_too_short(duration_s, start_s, end_s) -> None:
    start, end = bounds(duration_s, start_s, end_s)
    assert end - start >= SHORTEST_S * 0.999
    assert start >= -1e-6
    assert end <= max(duration_s, SHORTEST_S) + 1e-6


def test_a_window_keeps_its_length_at_the_end_of_the_run() -> None:
    assert bounds(60.0, 55.0, 65.0) == (50.0, 60.0)
    assert bounds(60.0, -5.0, 5.0) == (0.0, 10.0)
    assert bounds(60.0) == (0.0, 60.0)
    assert bounds(60.0, 7.0, 7.0) == (0.0, 60.0)


def test_an_event_stands_in_the_middle_with_two_seconds_either_side(view: RunView) -> None:
    event = view.events[1]
    start, end = around(event, view.record.duration_s)
    assert (start, end) == pytest.approx((event.start_s - 2.0, event.end_s + 2.0))


def test_channels_of_a_kind_share_a_panel_and_others_come_when_asked_for(
    view: RunView, run: OpenRun
) -> None:
    usual = window_of(run, view, METRIC, 0.0, 60.0)
    assert [each.title for each in usual.panels] == [
        "Engine speed",
        "Oil pressure",
        "Lateral acceleration",
        "Boost",
        "Temperature",
    ]
    assert more_channels(view) == ((OWN, OWN),)
    more = window_of(run, view, METRIC, 0.0, 60.0, more=[OWN])
    assert more.panels[-1].title == OWN


def test_expected_pressure_is_drawn_beside_and_what_is_short_is_shaded(
    view: RunView, run: OpenRun
) -> None:
    event = view.events[1]
    window = window_of(run, view, METRIC, *around(event, 60.0), chosen=event.event_id)
    oil = panel(window.panels, "Oil pressure")
    assert [line.name for line in oil.lines] == ["measured", "floor line"]
    (area,) = oil.areas
    assert area.time_s.min() >= event.start_s
    assert area.time_s.max() <= event.end_s
    np.testing.assert_allclose(area.upper, 345.0)
    assert area.lower.min() == 100.0
    assert [band.chosen for band in window.bands] == [True]


def test_a_line_is_broken_at_a_gap_that_can_be_seen(view: RunView, run: OpenRun) -> None:
    rpm = panel(window_of(run, view, METRIC, 0.0, 60.0).panels, "Engine speed").lines[0]
    broken = rpm.time_s[np.isnan(rpm.values)]
    np.testing.assert_allclose(broken, [(49.98 + 55.0) / 2])


def test_axes_stay_as_they_are_in_every_window(view: RunView, run: OpenRun) -> None:
    whole = window_of(run, view, METRIC, 0.0, 60.0).panels
    part = window_of(run, view, METRIC, 30.0, 31.0).panels
    assert [(p.low, p.high) for p in whole] == [(p.low, p.high) for p in part]
    assert panel(whole, "Engine speed").low == 0.0
    assert panel(whole, "Engine speed").high > 8300.0


def test_a_doubted_sample_is_a_dot_where_it_is_and_only_there(view: RunView, run: OpenRun) -> None:
    rpm = panel(window_of(run, view, METRIC, 29.0, 31.0).panels, "Engine speed")
    np.testing.assert_allclose(rpm.dots[0].values, [13_000.0])
    assert not panel(window_of(run, view, METRIC, 33.0, 35.0).panels, "Engine speed").dots


def test_values_are_in_the_units_of_the_reader(view: RunView, run: OpenRun) -> None:
    window = window_of(run, view, IMPERIAL, 0.0, 60.0)
    oil = panel(window.panels, "Oil pressure")
    assert oil.unit == "psi"
    assert np.nanmin(oil.lines[0].values) == pytest.approx(100.0 / 6.894757, rel=1e-5)
    warm = panel(window.panels, "Temperature")
    assert warm.unit == "°F"
    assert [limit.name for limit in warm.limits] == ["oil limit 275", "coolant limit 226"]
    assert np.nanmax(warm.lines[0].values) == pytest.approx(203.0)


def test_all_lines_together_keep_to_their_number_of_points(view: RunView, run: OpenRun) -> None:
    window = window_of(run, view, METRIC, 0.0, 60.0, more=[OWN])
    assert sum(len(line.time_s) for p in window.panels for line in p.lines) <= MOST_POINTS + 100


def test_channels_are_read_at_the_nearest_sample(run: OpenRun) -> None:
    read = read_at(run, 20.509)
    assert read["rpm"] == 7900.0
    assert "oil_temperature" not in read_at(run, 10.5)
    assert read_at(run, 1e9)["rpm"] == 5000.0


@pytest.mark.parametrize("choice", CHOICES)
def test_cross_plots_pick_out_the_samples_of_events_that_concern_them(
    view: RunView, run: OpenRun, choice: str
) -> None:
    cross = cross_of(run, view, METRIC, choice, 0.0, 60.0)
    assert cross is not None
    assert len(cross.quiet.x) > 0
    if choice == "boost-rpm":
        assert len(cross.harmful.x) == 0
    else:
        assert set(cross.harmful.y) == {100.0}
    assert cross.says.endswith(".")


def test_a_cross_plot_loses_no_sample_that_stands_apart(view: RunView, run: OpenRun) -> None:
    cross = cross_of(run, view, IMPERIAL, "pressure-rpm", 0.0, 60.0)
    assert cross is not None
    assert cross.y_title == "Oil pressure, psi"
    assert max(cross.quiet.x) == 7900.0
    assert {curve.name for curve in cross.curves} == {"floor line"}


def test_a_cross_plot_of_a_channel_that_is_missing_is_none(book: Logbook, view: RunView) -> None:
    bare = RunShelf(book).take("E1", FIRST, ["rpm"], spec=view.spec, surface=None)
    assert cross_of(bare, view, METRIC, "boost-rpm", 0.0, 60.0) is None
