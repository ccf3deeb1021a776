"""A short soak, which tells nothing of growth, and growth that is to be seen."""

from __future__ import annotations

import psutil
import pytest
import soak


def test_a_season_that_lands_while_pages_are_looked_at_comes_in_whole() -> None:
    grown, season, wrong = soak.soak(10.0, seed=1)
    assert wrong == []
    assert season.landed["ingested"] > 0
    assert [each.name for each in grown] == ["watch", "serve"]


def sampled(*, mb_per_minute: float, handles_per_minute: float) -> soak.Sampled:
    """Half an hour of a program that grows steadily after it has warmed up."""
    made = soak.Sampled("made up", psutil.Process())
    for n in range(900):
        minutes = n * soak.EVERY_S / 60.0
        made.at_s.append(60.0 * minutes)
        made.memory_mb.append(min(30.0 * minutes, 200.0) + mb_per_minute * minutes + n % 7)
        made.handles.append(round(12.0 + handles_per_minute * minutes) + n % 3)
    return made


@pytest.mark.parametrize(
    ("mb_per_minute", "handles_per_minute", "seen"),
    [(0.0, 0.0, 0), (1.0, 0.0, 1), (0.0, 1.0, 1), (1.0, 1.0, 2)],
)
def test_what_grows_is_seen(mb_per_minute: float, handles_per_minute: float, seen: int) -> None:
    made = sampled(mb_per_minute=mb_per_minute, handles_per_minute=handles_per_minute)
    assert len(soak.growth(made).wrong) == seen
