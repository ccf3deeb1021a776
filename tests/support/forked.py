"""Processes forked from one that has the program imported, which takes longer than most work.

There is one such process a test run, whoever asks for it: what it imports is said here alone.
"""

from __future__ import annotations

import multiprocessing

from babbitt.commands.cli import COMMANDS

FORK = multiprocessing.get_context("forkserver")
FORK.set_forkserver_preload(
    [
        *sorted({f"babbitt.commands.{place.split('.')[0]}" for place in COMMANDS.values()}),
        "babbitt.jobs.attribute",
        "babbitt.jobs.outlook",
        "babbitt.jobs.demo",
    ]
)
