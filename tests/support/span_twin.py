"""A plain-loop twin of the span kernel, written from its definition, one sample at a time."""

from __future__ import annotations

import math
from dataclasses import dataclass, field


@dataclass
class Stretch:
    """Samples beyond the limit without a break; `line` holds (time, excess) corners."""

    line: list[tuple[float, float]]
    samples: list[int]


@dataclass
class TwinSpan:
    epoch: int
    stretches: list[Stretch] = field(default_factory=list)
    ended_by: str = ""

    @property
    def start_s(self):
        return self.stretches[0].line[0][0]

    @property
    def end_s(self):
        return self.stretches[-1].line[-1][0]

    @property
    def duration_s(self):
        return sum(s.line[-1][0] - s.line[0][0] for s in self.stretches)

    @property
    def area(self):
        return sum(
            (a[1] + b[1]) / 2 * (b[0] - a[0])
            for s in self.stretches
            for a, b in zip(s.line[:-1], s.line[1:], strict=True)
        )

    @property
    def samples(self):
        return [i for s in self.stretches for i in s.samples]


def crossing(before, after):
    (t0, x0), (t1, x1) = before, after
    return t0 + (0.0 - x0) / (x1 - x0) * (t1 - t0)


def find_spans_by_loop(
    time_s, excess, *, release, merge_gap_s, min_duration_s, max_gap_s, usable=None
):
    closed: list[TwinSpan] = []
    current: TwinSpan | None = None
    inside = False
    before = None
    epoch = 0

    def close(reason):
        nonlocal current, inside
        if current is not None:
            current.ended_by = reason
            closed.append(current)
        current, inside = None, False

    for i, (t, x) in enumerate(zip(time_s, excess, strict=True)):
        if usable is not None and not usable[i]:
            continue
        now = (float(t), float(x))
        if before is not None and now[0] - before[0] > max_gap_s:
            close("gap")
            epoch += 1
            before = None
        if now[1] > 0:
            if not inside:
                current = current or TwinSpan(epoch)
                judged_before = before is not None and math.isfinite(before[1])
                corner = [(crossing(before, now), 0.0)] if judged_before else []
                current.stretches.append(Stretch(corner, []))
                inside = True
            current.stretches[-1].line.append(now)
            current.stretches[-1].samples.append(i)
        elif inside:
            if math.isfinite(now[1]):
                current.stretches[-1].line.append((crossing(before, now), 0.0))
            inside = False
        if now[1] < release:
            close("release")
        before = now
    lost_before_the_end = before is not None and time_s[-1] - before[0] > max_gap_s
    close("gap" if lost_before_the_end else "end_of_run")

    merged = merge(closed, merge_gap_s)
    return [s for s in merged if s.duration_s >= min_duration_s and s.duration_s > 0]


def merge(spans, merge_gap_s):
    merged: list[TwinSpan] = []
    for span in spans:
        last = merged[-1] if merged else None
        if last and last.epoch == span.epoch and span.start_s - last.end_s < merge_gap_s:
            last.stretches += span.stretches
            last.ended_by = span.ended_by
        else:
            merged.append(span)
    return merged
