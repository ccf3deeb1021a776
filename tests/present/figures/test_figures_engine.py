"""Figures of an engine: the time line, the running map, the expected surface and the drift."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from babbitt.present.figures.ink import DARK, LIGHT
from babbitt.present.figures.labels import apart
from babbitt.present.figures.time_line import time_line
from babbitt.present.figures.wear import drift_line, pressure_map, running_map
from babbitt.present.words import Reader

METRIC, IMPERIAL = Reader("metric", UTC), Reader("imperial", UTC)
MAY = datetime(2026, 5, 2, 10, 0, tzinfo=UTC)
RUNS = pd.DataFrame({"started_at": [MAY, MAY + timedelta(hours=2), MAY + timedelta(days=1)]})
EVENTS = pd.DataFrame(
    {
        "kind": ["over_rev", "oil_starvation", "oil_starvation"],
        "place": [0.25, 1.5, 2.5],
        "at": [MAY, MAY + timedelta(hours=2), MAY + timedelta(days=1)],
        "duration_s": [0.8, 2.4, 1.0],
        "peak": [7900.0, 118.0, 160.0],
        "peak_unit": ["1/min", "kPa", "kPa"],
        "used": [0.02, 0.3, 0.1],
        "counted": [True, True, False],
    }
)
USED = pd.DataFrame(
    {
        "kind": ["over_rev"] * 3 + ["oil_starvation"] * 3,
        "place": [0.0, 0.25, 3.0, 0.0, 1.5, 3.0],
        "used": [0.0, 0.02, 0.02, 0.0, 0.3, 0.3],
    }
)
FAN = pd.DataFrame(
    {
        "kind": ["oil_starvation"] * 3,
        "place": [3.0, 4.0, 5.0],
        "low": [0.3, 0.3, 0.35],
        "middle": [0.3, 0.4, 0.5],
        "high": [0.3, 0.6, 0.9],
    }
)


def words_of(figure) -> list[str]:
    return [annotation.text for annotation in figure.layout.annotations]


def line_figure(runs=RUNS, events=EVENTS, used=USED, fan=FAN, ink=LIGHT):
    return time_line(runs, events, used, fan, reader=METRIC, ink=ink)


def test_a_run_has_a_tick_and_the_first_of_a_day_its_date() -> None:
    axis = line_figure().layout.xaxis
    assert list(axis.tickvals) == [0, 1, 2]
    assert list(axis.ticktext) == ["2 May 2026", "", "3 May 2026"]


def test_many_days_share_a_dozen_labels() -> None:
    runs = pd.DataFrame({"started_at": [MAY + timedelta(days=n) for n in range(100)]})
    axis = line_figure(runs=runs).layout.xaxis
    assert len(axis.tickvals) == 100
    assert 10 <= sum(bool(text) for text in axis.ticktext) <= 12


def test_events_stand_in_lanes_and_those_set_aside_are_open_dots() -> None:
    figure = line_figure()
    assert list(figure.layout.yaxis2.ticktext) == ["over-rev", "oil starvation"]
    counted, aside = figure.data[:2]
    assert list(counted.y) == [0, 1]
    assert counted.marker.line.color == LIGHT.harm
    assert aside.marker.symbol == "circle-open"
    assert "set aside by review" in aside.text[0]
    assert "118 kPa, 2.4 s" in counted.text[1]


def test_each_kind_is_named_at_its_line_with_what_it_comes_to() -> None:
    words = words_of(line_figure())
    assert "oil starvation 30 % → 50 %" in words
    assert "over-rev 2 %" in words
    assert "life dose, 100 %" in words
    assert "now" in words


def test_the_limit_is_in_sight_and_the_axis_has_room_for_what_may_come() -> None:
    assert line_figure().layout.yaxis.range[1] >= 1.1
    much = FAN.assign(middle=[0.3, 1.4, 2.5])
    assert line_figure(fan=much).layout.yaxis.range[1] > 2.5


def test_an_engine_without_runs_or_events_has_a_line_all_the_same() -> None:
    none = line_figure(RUNS[:0], EVENTS[:0], USED[:0], FAN[:0])
    assert words_of(none) == ["life dose, 100 %"]


def test_the_figure_is_drawn_in_the_ink_of_its_paper() -> None:
    assert line_figure(ink=DARK).layout.paper_bgcolor == DARK.paper


@given(
    st.lists(st.floats(0.0, 2.0), min_size=1, max_size=12),
    st.floats(0.01, 0.2),
)
def test_labels_keep_their_order_and_their_distance(values: list[float], gap: float) -> None:
    placed = apart(np.array(values), gap)
    assert (placed >= np.array(values) - 1e-9).all()
    assert (np.diff(np.sort(placed)) >= gap - 1e-9).all()
    order = np.argsort(values, kind="stable")
    assert (np.diff(placed[order]) > 0.0).all()


def test_labels_that_have_room_stay_where_they_belong() -> None:
    assert apart(np.array([1.0, 0.2, 0.6]), 0.1).tolist() == pytest.approx([1.0, 0.2, 0.6])


RPM_EDGES = np.array([0.0, 6000.0, 6500.0, 7000.0, 7500.0, 16_000.0])
BOOST_EDGES = np.array([-105.0, 0.0, 20.0, 40.0, 600.0])
SECONDS = np.zeros((5, 4))
SECONDS[1, 1], SECONDS[3, 2] = 90.0, 1.2


def map_of(reader=METRIC, rpm=7600.0):
    limits = {"rpm": rpm, "boost": 180.0}
    return running_map(RPM_EDGES, BOOST_EDGES, SECONDS, limits=limits, reader=reader, ink=LIGHT)


def test_the_map_holds_the_cells_that_were_used_with_their_minutes() -> None:
    (cells,) = map_of().data
    assert list(cells.x) == [6000.0, 6500.0, 7000.0, 7500.0]
    assert list(cells.y) == [0.0, 20.0, 40.0]
    assert [list(row) for row in cells.text] == [["1.5", "", ""], ["", "", ""]]
    assert cells.z[0][0] == pytest.approx(1.5)
    assert np.isnan(cells.z[1][0])


def test_the_map_is_drawn_in_the_readers_unit_and_shows_limits_in_reach() -> None:
    figure = map_of(IMPERIAL, rpm=7200.0)
    assert figure.layout.yaxis.title.text == "Boost, psi"
    assert figure.data[0].y[1] == pytest.approx(20.0 / 6.894757, rel=1e-6)
    assert words_of(figure) == ["redline 7,200"]
    assert words_of(map_of()) == []


SEEN = pd.DataFrame(
    {"rpm": [3000.0, 6000.0], "oil_c": [80.0, 120.0], "kpa": [300.0, 450.0], "seconds": 5.0}
)
EXPECTED = pd.DataFrame(
    {
        "oil_c": [80.0, 80.0, 120.0, 120.0],
        "rpm": [3000.0, 6000.0] * 2,
        "kpa": [310.0, 620.0, 250.0, 470.0],
    }
)
FLOOR = pd.DataFrame({"rpm": [2500.0, 6000.0], "kpa": [172.5, 414.0]})


def test_expected_pressure_is_a_line_for_each_temperature_stronger_where_hotter() -> None:
    figure = pressure_map(SEEN, EXPECTED, FLOOR, reader=METRIC, ink=LIGHT)
    assert words_of(figure) == ["80 °C expected", "120 °C expected", "floor line 414"]
    cold, hot = (trace.line.color for trace in figure.data[1:3])
    assert float(cold.split(",")[-1][:-1]) < float(hot.split(",")[-1][:-1])
    assert figure.layout.yaxis.range[0] == 0.0


def test_expected_pressure_is_told_in_the_readers_units() -> None:
    figure = pressure_map(SEEN, EXPECTED, FLOOR, reader=IMPERIAL, ink=LIGHT)
    assert words_of(figure)[0] == "176 °F expected"
    assert figure.layout.yaxis.title.text == "Oil pressure, psi"


def test_drift_has_its_band_and_the_loss_from_which_to_look() -> None:
    seen = pd.DataFrame({"hours": [0.5, 4.5], "change": [0.0, -0.05]})
    line = pd.DataFrame(
        {"hours": [0.0, 5.0], "change": [0.0, -0.06], "low": [0.0, -0.09], "high": [0.0, -0.03]}
    )
    figure = drift_line(seen, line, look_from=0.05, words="−6 %", ink=LIGHT)
    assert words_of(figure) == ["−6 %", "look from −5 %"]
    band = figure.data[0]
    assert (min(band.y), max(band.y)) == (-0.09, 0.0)
    low, high = figure.layout.yaxis.range
    assert low < -0.09
    assert high == -low
