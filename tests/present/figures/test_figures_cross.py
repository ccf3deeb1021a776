"""The figure of one channel against another."""

from __future__ import annotations

import numpy as np

from babbitt.present.figures.cross import Cloud, Curve, Mark, cross_figure
from babbitt.present.figures.ink import DARK

X = np.array([1.0, 2.0], dtype=np.float32)


def test_harmful_samples_differ_by_form_and_colour_and_curves_are_named() -> None:
    figure = cross_figure(
        Cloud(X, X),
        Cloud(X[:1], X[:1]),
        [Curve("floor line", X, X, dashed=True)],
        [Mark(1.5, "redline 1.5", "x"), Mark(1.2, "limit 1.2", "y")],
        DARK,
        x_title="Engine speed, 1/min",
        y_title="Oil pressure, kPa",
        height=300,
    )
    quiet, harmful, curve = figure.data
    assert quiet.marker.symbol != harmful.marker.symbol
    assert harmful.marker.color == DARK.harm
    assert curve.line.dash == "dash"
    assert {note.text for note in figure.layout.annotations} == {
        "floor line",
        "redline 1.5",
        "limit 1.2",
    }
    assert figure.layout.xaxis.title.text == "Engine speed, 1/min"


def test_no_samples_give_an_empty_figure() -> None:
    none = Cloud(X[:0], X[:0])
    figure = cross_figure(none, none, [], [], DARK, x_title="x", y_title="y", height=300)
    assert [len(trace.x) for trace in figure.data] == [0, 0]
