"""Which samples of a long trace are drawn: few enough for any screen, and all that stand out."""

from __future__ import annotations

import numpy as np
from tsdownsample import MinMaxDownsampler

from babbitt.model.run import ChannelArray, FloatArray, IndexArray

_BUCKETS = MinMaxDownsampler()


def thin(
    time_s: FloatArray, values: ChannelArray, start_s: float, end_s: float, *, points: int
) -> IndexArray:
    """Choose the samples of a window that draw its trace: the least and greatest of each stretch.

    The stretches are equally long in time, so that what is drawn looks the same as all samples
    would. The sample before the window and the one after it are chosen too, so that the trace
    reaches both edges.

    Args:
        time_s: strictly increasing; shape (samples,).
        values: NaN where nothing is to be drawn; shape (samples,).
        start_s: of the window.
        end_s: of the window.
        points: about so many, four or more; where the window has no more, all are chosen.

    Returns:
        Indices in rising order; none at a NaN.
    """
    first = max(int(np.searchsorted(time_s, start_s, side="right")) - 1, 0)
    last = min(int(np.searchsorted(time_s, end_s)) + 1, len(time_s))
    within, there = values[first:last], time_s[first:last]
    if len(within) <= points:
        chosen = np.arange(len(within))
    else:
        # It leaves NaN aside, save where a stretch holds nothing else.
        found = _BUCKETS.downsample(there, within, n_out=2 * (points // 2))
        chosen = np.unique(np.append(found.astype(np.intp), (0, len(within) - 1)))
    kept: IndexArray = first + chosen[~np.isnan(within[chosen])]
    return kept
