"""Labels beside lines, none upon another."""

from __future__ import annotations

import numpy as np

from babbitt.model.run import FloatArray


def apart(values: FloatArray, gap: float) -> FloatArray:
    """Return places for labels near their values: in the same order, and never closer than a gap.

    Args:
        values: where the labels belong; shape (labels,).
        gap: least distance.

    Returns:
        Places no lower than half a gap above 0; shape (labels,).
    """
    order = np.argsort(values, kind="stable")
    steps = gap * np.arange(len(values))
    # the least that rises by a gap from label to label, and never lies below the values
    lifted = np.maximum.accumulate(np.maximum(values[order], 0.5 * gap) - steps) + steps
    placed = np.empty(len(values))
    placed[order] = lifted
    return placed
