"""A clock that tells only whole steps: rows that share an instant are spread over it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from babbitt.ingest.time.order import Batch

_LEAST_SHARING = 3.0
"""Rows an instant, on average, from which on the clock is too coarse to order them."""

_DIFFERENT_SHARE = 0.5
"""Share of neighbours at one instant that must differ: rows that are sent twice do not."""

_SHORT_SHARE = 0.7
"""An instant with fewer of the usual rows has lost some: its rows keep the usual step."""


class Spreader:
    """Spreads the rows of a log whose clock is too coarse to order them, and says so."""

    def __init__(self) -> None:
        """Begin with no rows; the first that come decide."""
        self._tick_s = self._step_s = 0.0

    def spread(self, batches: Iterable[Batch]) -> Iterator[Batch]:
        """Yield rows, those that share an instant spread evenly up to the next.

        Args:
            batches: in the order of time, every row with one.
        """
        first, held = True, None
        for batch in batches:
            if first and len(batch.seconds):
                self._look_at(batch)
            if not self._step_s:
                first = False
                yield batch
                continue
            if held is not None:
                batch = held.joined(batch)
            last = int(np.searchsorted(batch.seconds, batch.seconds[-1]))
            held = batch.at(np.arange(last, len(batch.seconds)))
            if last:
                yield self._evenly(batch.at(np.arange(last)), batch.seconds[last], begins=first)
                first = False
        if held is not None:
            yield self._evenly(held, float(held.seconds[-1]) + self._tick_s, begins=False)

    def warnings(self) -> tuple[str, ...]:
        """Say what was assumed, once every batch was taken."""
        if not self._step_s:
            return ()
        said = (
            f"Its clock tells only steps of {self._tick_s:.4g} s, too coarse to order samples: "
            f"rows that share an instant are spread {self._step_s:.4g} s apart, in their order."
        )
        return (said,)

    def _look_at(self, batch: Batch) -> None:
        times, counts = np.unique(batch.seconds, return_counts=True)
        if len(times) < 3 or counts[1:-1].mean() < _LEAST_SHARING:
            return
        together = np.flatnonzero(np.diff(batch.seconds) == 0.0)
        differs = np.zeros(len(together), dtype=np.bool_)
        for values in batch.columns.values():
            differs |= values[together] < values[together + 1]
            differs |= values[together] > values[together + 1]
        if differs.mean() >= _DIFFERENT_SHARE:
            self._tick_s = float(np.median(np.diff(times)))
            self._step_s = self._tick_s / float(np.median(counts[1:-1]))

    def _evenly(self, batch: Batch, until_s: float, *, begins: bool) -> Batch:
        times, firsts, counts = np.unique(batch.seconds, return_index=True, return_counts=True)
        room_s = np.diff(np.append(times, until_s))
        usual_s = np.full(len(times), self._step_s)
        short = counts * self._step_s < _SHORT_SHARE * room_s
        step_s = np.where(short, usual_s, room_s / counts)
        rank = np.arange(len(batch.seconds)) - np.repeat(firsts, counts)
        seconds = np.repeat(times, counts) + rank * np.repeat(step_s, counts)
        if begins and short[0]:  # a log may begin in the middle of a step
            seconds[: counts[0]] += room_s[0] - counts[0] * self._step_s
        return Batch(seconds, batch.columns, batch.line_of)
