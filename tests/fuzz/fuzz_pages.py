"""Ask the pages what no browser asks: each answer is one that the asker can be blamed for.

    python tests/fuzz/fuzz_pages.py [--seconds 600] [--first SEED] [--postgresql]

A failure names its seed; `--first SEED` begins with it.
"""

from __future__ import annotations

import argparse
import time
from contextlib import nullcontext
from pathlib import Path
from tempfile import TemporaryDirectory

from pages import Pages, fuzz

import postgres


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--first", type=int, default=int(time.time()))
    parser.add_argument("--postgresql", action="store_true", help="keep the register there")
    given = parser.parse_args()
    end, seed = time.monotonic() + given.seconds, given.first
    server = postgres.server() if given.postgresql else nullcontext()
    with TemporaryDirectory(prefix="fuzz-") as folder, server as url:
        pages = Pages(Path(folder), url.render_as_string(hide_password=False) if url else "")
        while time.monotonic() < end:
            fuzz(pages, [seed])
            seed += 1
    print(f"seeds {given.first} to {seed - 1}: {dict(pages.ends)}")


if __name__ == "__main__":
    main()
