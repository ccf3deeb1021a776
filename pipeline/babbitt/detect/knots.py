"""Where values lie between evenly spaced knots."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from babbitt.detect.spans import SampleArray
from babbitt.model.run import ChannelArray, FloatArray


def locate(values: SampleArray, at: FloatArray) -> tuple[npt.NDArray[np.int32], ChannelArray]:
    """Return the knot before each value and the share of the way to the next one.

    Values beyond the knots are taken as the nearest knot, NaN as the first.

    Args:
        values: shape (samples,).
        at: knots, evenly spaced; shape (n,).

    Returns:
        Index of a knot, at most n - 2, and share from 0 to 1; shape (samples,) each.
    """
    steps = values - np.float32(at[0])
    steps *= np.float32(1.0 / (at[1] - at[0]))
    np.fmax(steps, np.float32(0.0), out=steps)
    np.fmin(steps, np.float32(len(at) - 1), out=steps)
    index = np.minimum(steps.astype(np.int32), len(at) - 2)
    return index, np.subtract(steps, index, dtype=np.float32)
