"""A small crowd on each database; `make crowd` lets a larger one work."""

from __future__ import annotations

import crowd
import pytest


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_many_at_once_do_what_one_alone_would(database: str) -> None:
    done = crowd.crowd(database, logs=10, seed=1)
    assert done.wrong == ()
    assert done.looks > 0
    assert done.backups > 0
    # This machine may be busy with other tests: the script has the measure.
    assert done.waited_ms < 10 * crowd.MOST_MS
