"""A few kills of every job; `make crash` makes hundreds."""

from __future__ import annotations

from pathlib import Path

import crash
import jobs
import pytest
import telling


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("record")
    jobs.JOBS["record"].prepare(folder)
    return folder


@pytest.mark.parametrize("name", sorted(jobs.JOBS))
def test_a_job_that_is_killed_loses_nothing_and_counts_nothing_twice(
    name: str, tmp_path: Path
) -> None:
    job = jobs.JOBS[name]
    job.prepare(tmp_path)
    took_s, after = crash.usual(job, tmp_path, tries=1)
    struck = [crash.strike(job, tmp_path, after, took_s, when) for when in (0.35, 0.8)]
    assert [each.lost + each.twice for each in struck] == [(), ()]


def test_the_jobs_have_events_and_reviews_to_lose(tmp_path: Path) -> None:
    job = jobs.JOBS["correct"]
    job.prepare(tmp_path)
    job.work(tmp_path)
    found = telling.tell(tmp_path)["events"]
    assert len(found) == 3
    assert all(each.endswith(" confirmed") for each in found)


def test_the_harness_sees_what_is_lost(recorded: Path) -> None:
    job = jobs.JOBS["record"]
    after = telling.tell(recorded)
    struck = crash.strike(job, recorded, after, took_s=0.0, when=0.0)
    assert "after doing it again: findings differ" in struck.lost


def test_the_harness_sees_what_counts_twice() -> None:
    told = {"runs": ["a", "b", "a"], "events": ["c"], "refused": ["d", "d"]}
    assert telling.doubles(told) == ("a: 2 times", "d: 2 times")
