"""The figures of an engine's story, for its page and for its report."""

from __future__ import annotations

from typing import Any

import numpy as np

from babbitt.outlook.call import PRESSURE_LOSS
from babbitt.present.figures.ink import Ink
from babbitt.present.figures.time_line import SHARES_PX, time_line
from babbitt.present.figures.wear import HEIGHT_PX, drift_line, pressure_map, running_map
from babbitt.present.views.engine_prospect import Prospect
from babbitt.present.views.engine_story import Story
from babbitt.present.views.fleet import drift_in_figures
from babbitt.present.words import Reader


def story_figure(
    story: Story, prospect: Prospect, *, reader: Reader, ink: Ink, shares_px: int = SHARES_PX
) -> Any:
    """Return the time line since the refresh, with what the next runs may bring."""
    return time_line(
        story.runs,
        story.events,
        story.used,
        prospect.fan,
        reader=reader,
        ink=ink,
        shares_px=shares_px,
    )


def map_figure(story: Story, *, reader: Reader, ink: Ink, height: int = HEIGHT_PX) -> Any | None:
    """Return the running time by engine speed and boost; None: no run tells it."""
    if story.table is None:
        return None
    return running_map(
        np.array(story.table.rpm_edges),
        np.array(story.table.boost_edges_kpa),
        np.array(story.table.seconds),
        limits={"rpm": story.spec.over_rev.redline_rpm, "boost": story.spec.boost.limit_kpa},
        reader=reader,
        ink=ink,
        height=height,
    )


def pressure_figure(
    story: Story, *, reader: Reader, ink: Ink, height: int = HEIGHT_PX
) -> Any | None:
    """Return steady oil pressure over what is expected; None while nothing is."""
    told = story.pressure
    if told is None:
        return None
    return pressure_map(told.seen, told.expected, told.floor, reader=reader, ink=ink, height=height)


def drift_figure(story: Story, *, ink: Ink, height: int = HEIGHT_PX) -> Any | None:
    """Return the drift of oil pressure run by run; None while it is not known."""
    told = story.drift
    if told is None:
        return None
    return drift_line(
        told.seen,
        told.line,
        look_from=PRESSURE_LOSS,
        words=drift_in_figures(told.drift),
        ink=ink,
        height=height,
    )
