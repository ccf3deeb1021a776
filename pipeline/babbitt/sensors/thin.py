"""A run with fewer samples: what quantiles, corners and clocks need, however long it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from babbitt.model.channels import WATCHED, channels
from babbitt.model.run import FloatArray, Run, RunInfo, Signal
from babbitt.sensors.clocks import may_count_seconds

LEAST_STEP_S = 0.1
"""Quantiles need no closer samples, and no corner is shorter."""

MOST_SAMPLES = 200_000
"""Of a run that lasts longer than a race of some hours, they lie further apart."""


class Thinner:
    """Thins out a run while its parts pass by: every so many samples one of the watched channels.

    Of channels that have no canonical name, those are kept that may count seconds.
    """

    def __init__(self, samples: int, duration_s: float) -> None:
        """Begin.

        Args:
            samples: of the run.
            duration_s: of the run.
        """
        step_s = max(LEAST_STEP_S, duration_s / MOST_SAMPLES)
        self._every = max(1, int(step_s * samples / duration_s)) if duration_s else 1
        self._skip = 0
        self._info: RunInfo | None = None
        self._time_s: list[FloatArray] = []
        self._signals: dict[str, list[Signal]] = {}

    def passing(self, parts: Iterable[Run]) -> Iterator[Run]:
        """Yield the parts of a run, and keep what is needed of them."""
        for part in parts:
            self._add(part)
            yield part

    def thinned(self) -> Run:
        """Return what was kept of the parts that passed.

        Raises:
            ValueError: there was none.
        """
        if self._info is None:
            raise ValueError("no part of a run passed by")
        parts = len(self._time_s)
        signals = {
            name: replace(
                kept[0],
                values=np.concatenate([signal.values for signal in kept]),
                flags=np.concatenate([signal.flags for signal in kept]),
            )
            for name, kept in self._signals.items()
            if len(kept) == parts
        }
        return Run(self._info, np.concatenate(self._time_s), signals)

    def _add(self, part: Run) -> None:
        taken = slice(self._skip, None, self._every)
        self._skip = (self._skip - len(part.time_s)) % self._every
        time_s = part.time_s[taken]
        if not len(time_s):
            return
        self._info = part.info
        for name, signal in part.signals.items():
            values = signal.values[taken]
            if name in WATCHED or (name not in channels() and may_count_seconds(time_s, values)):
                # Copied: a view would keep the whole part alive.
                thin = replace(signal, values=values.copy(), flags=signal.flags[taken].copy())
                self._signals.setdefault(name, []).append(thin)
        self._time_s.append(time_s.copy())
