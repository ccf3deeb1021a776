"""The traces of a run: one time axis, events, limits, what is doubted and what is short."""

from __future__ import annotations

import json

import numpy as np
import pytest

from babbitt.present.figures.ink import LIGHT
from babbitt.present.figures.panels import Area, Limit, Line, Panel, seconds_of
from babbitt.present.figures.traces import MOST_BANDS, Band, traces_figure

TIME_S = np.array([0.0, 1.0, 2.0, 3.0])
RISING = np.array([0.0, 10.0, 20.0, 30.0], dtype=np.float32)


def a_panel(**changes) -> Panel:
    values = {
        "title": "Oil pressure",
        "unit": "kPa",
        "lines": (Line("measured", TIME_S, RISING),),
        "low": 0.0,
        "high": 40.0,
    }
    return Panel(**(values | changes))


def drawn(*panels: Panel, bands=(), start_s=0.0, end_s=3.0):
    figure = traces_figure(panels, bands, LIGHT, start_s=start_s, end_s=end_s, height=500)
    return json.loads(figure.to_json()), figure


def texts(figure) -> list[str]:
    return [note.text for note in figure.layout.annotations]


def test_every_line_lies_on_the_one_time_axis() -> None:
    _, figure = drawn(a_panel(), a_panel(title="Boost"))
    assert {trace.xaxis for trace in figure.data} == {None}
    assert [trace.yaxis for trace in figure.data] == ["y2", "y3"]
    shares = [figure.layout[f"yaxis{n}"].domain for n in (2, 3)]
    assert shares[0][0] > shares[1][1]
    assert shares[1][0] == pytest.approx(0.0)


def test_the_time_axis_shows_the_window_and_reads_back_as_seconds() -> None:
    _, figure = drawn(a_panel(), start_s=1.25, end_s=2.5)
    assert [seconds_of(end) for end in figure.layout.xaxis.range] == [1.25, 2.5]
    np.testing.assert_allclose([seconds_of(x) for x in figure.data[0].x], TIME_S)


@pytest.mark.parametrize(
    ("moment", "seconds"),
    [
        ("2000-01-01 00:01:23.4567", 83.4567),
        ("2000-01-01 01:00", 3600.0),
        ("2000-01-01", 0.0),
        ("1999-12-31 23:59:58", -2.0),
    ],
)
def test_ends_of_a_window_that_the_pointer_chose_are_read(moment: str, seconds: float) -> None:
    assert seconds_of(moment) == pytest.approx(seconds, abs=1e-5)


def test_what_is_no_moment_is_refused() -> None:
    with pytest.raises(ValueError, match="pointer"):
        seconds_of("pointer")


def test_a_limit_is_a_dashed_line_with_its_name() -> None:
    _, figure = drawn(a_panel(limits=(Limit(35.0, "limit 35"),)))
    line = next(shape for shape in figure.layout.shapes if shape.type == "line")
    assert (line.y0, line.y1, line.line.dash) == (35.0, 35.0, "dash")
    assert "limit 35" in texts(figure)


def test_names_that_would_overlap_are_moved_apart() -> None:
    _, figure = drawn(a_panel(limits=tuple(Limit(v, f"limit {v}") for v in (34.0, 34.5, 35.0))))
    places = [note.y * 10.0 + note.yshift for note in figure.layout.annotations if note.yshift]
    assert len(set(places)) == len(places)
    below = next(note for note in figure.layout.annotations if note.text == "limit 34.0")
    assert below.yshift < 0


def test_an_event_is_a_band_with_a_tick_that_names_it() -> None:
    bands = [Band(1.0, 2.0, "over-rev", chosen=True), Band(2.2, 2.4, "x", counts=False)]
    _, figure = drawn(a_panel(), bands=bands)
    shades, *ticks = figure.data[:3]
    assert shades.type == "bar"
    assert sorted(shades.width) == [pytest.approx(200.0), pytest.approx(1000.0)]
    assert len(set(shades.marker.color)) == 2
    assert [tick.marker.symbol for tick in ticks] == ["line-ns-open", "circle-open"]
    assert [list(tick.text) for tick in ticks] == [["over-rev"], ["x"]]
    assert "over-rev" in texts(figure)
    assert "x" not in texts(figure)


def test_of_very_many_events_all_have_ticks_and_the_longest_are_shaded() -> None:
    bands = [Band(0.01 * n, 0.01 * n + 0.001 * n, "x") for n in range(2 * MOST_BANDS)]
    _, figure = drawn(a_panel(), bands=bands)
    shades, ticks = figure.data[:2]
    assert len(shades.x) == MOST_BANDS
    assert len(ticks.x) == 2 * MOST_BANDS
    assert min(shades.width) == pytest.approx(MOST_BANDS)


def test_doubted_samples_are_open_dots_and_those_beyond_the_axis_stay_in_sight() -> None:
    dots = Line("oil pressure", TIME_S[:3], np.array([-9.0, 20.0, 99.0], np.float32))
    _, figure = drawn(a_panel(dots=(dots,)))
    drawn_dots = figure.data[-1]
    assert list(drawn_dots.marker.symbol) == [
        "triangle-down-open",
        "circle-open",
        "triangle-up-open",
    ]
    assert list(drawn_dots.y) == [0.0, 20.0, 40.0]
    assert list(drawn_dots.customdata) == [-9.0, 20.0, 99.0]


def test_what_was_short_is_shaded_between_the_lines() -> None:
    area = Area(TIME_S, RISING + 5, RISING)
    _, figure = drawn(a_panel(areas=(area, area)))
    shade = figure.data[0]
    assert shade.fill == "toself"
    assert len(shade.x) == 2 * (2 * len(TIME_S) + 1)
    np.testing.assert_array_equal(shade.y[:8], [5, 15, 25, 35, 30, 20, 10, 0])


def test_names_from_a_log_are_written_as_they_are() -> None:
    nasty = '<a href="x">%{y}</a>'
    line = Line(nasty, TIME_S, RISING)
    raw, _ = drawn(a_panel(title=nasty, lines=(line, line)))
    written = [note["text"] for note in raw["layout"]["annotations"]]
    assert all("<a" not in text for text in written)
    assert all("<a" not in trace["hovertemplate"] for trace in raw["data"])
    assert raw["data"][0]["hovertemplate"].count("%{") == 1
