"""Let coverage guide the damage: what reaches new code is damaged further (Linux only).

    PYTHONPATH=tests/support python tests/fuzz/guided.py TARGET [-max_total_time=600 ...]

TARGET is a name of `handed.targets`; the rest goes to the engine. A failure leaves its input as
`crash-*` in the current folder.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["babbitt", "tomllib"]):
    from ending import FaultError, end_of
    from handed import targets


def main() -> None:
    name, *more = sys.argv[1:]
    with tempfile.TemporaryDirectory(prefix="guided-") as made:
        folder = Path(made)
        target = targets(folder)[name]
        corpus = folder / "corpus"
        corpus.mkdir()
        for n, seed in enumerate(target.seeds):
            (corpus / f"seed-{n}").write_bytes(seed)

        def one(data: bytes) -> None:
            try:
                end_of(lambda: target.take(data))
            except FaultError as error:
                raise RuntimeError(str(error)) from error

        atheris.Setup([sys.argv[0], str(corpus), *more], one)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
