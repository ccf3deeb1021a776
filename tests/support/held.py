"""A call that holds the worker which comes to it, so that a test can kill that worker at work."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

PATIENCE_S = 60.0
HELD = "held"
"""File in which the worker that is held says which process it is."""


def held_once(
    function: Callable[..., Any], hold_at: int, folder: Path, numbered: tuple[int, Any]
) -> Any:
    """Call a function on an item; whoever comes to item `hold_at` first never returns from it."""
    number, item = numbered
    told = folder / HELD
    if number == hold_at and not told.exists():
        part = told.with_suffix(".part")
        part.write_text(str(os.getpid()))
        part.replace(told)
        time.sleep(2 * PATIENCE_S)
    return function(item)
