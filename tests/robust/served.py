"""The pages as the command serves them, asked over HTTP as a browser would."""

from __future__ import annotations

import json
import re
import subprocess
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from shop import SCRIPT

_PATIENCE_S = 60.0


@dataclass(frozen=True)
class Pages:
    """Pages that are being served.

    Attributes:
        address: of the server.
        process: its number.
    """

    address: str
    process: int

    def look(self, path: str = "/") -> str:
        """Return what a page shows: the frame is asked for, then what lies in it."""
        self._open(self.address)
        given = {"_pages_location.pathname": path, "_pages_location.search": ""}
        return self._ask("_pages_content.children", given, "_pages_location.pathname")

    def review(self, event_id: str, note: str) -> str:
        """Confirm an event, as a press of the button does; return what the page then shows."""
        given = {
            "run-confirmed.n_clicks": 1,
            "run-event.data": event_id,
            "run-note.value": note,
            "run-seen.data": 0,
            "run-reviewed.data": 0,
        }
        return self._ask("run-reviewed.data", given, "run-confirmed.n_clicks")

    def _ask(self, output: str, given: dict[str, Any], changed: str) -> str:
        callback = next(
            each
            for each in json.loads(self._open(f"{self.address}/_dash-dependencies"))
            if output in each["output"]
        )

        def named(kind: str) -> list[dict[str, Any]]:
            return [
                {**each, "value": given.get(f"{each['id']}.{each['property']}")}
                for each in callback[kind]
            ]

        outputs = [name.rsplit(".", 1) for name in callback["output"].strip(".").split("...")]
        asked = {
            "output": callback["output"],
            "outputs": [{"id": part, "property": prop} for part, prop in outputs],
            "inputs": named("inputs"),
            "state": named("state"),
            "changedPropIds": [changed],
        }
        return self._open(
            urllib.request.Request(
                f"{self.address}/_dash-update-component",
                data=json.dumps(asked).encode(),
                headers={"Content-Type": "application/json"},
            )
        )

    @staticmethod
    def _open(asked: str | urllib.request.Request) -> str:
        with urllib.request.urlopen(asked, timeout=_PATIENCE_S) as answer:
            text: str = answer.read().decode()
        return text


@contextmanager
def serving(book: Path) -> Iterator[Pages]:
    """Serve the pages of a logbook with the command, and stop that in the end."""
    command = [SCRIPT, "--logbook", book, "serve", "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            said = server.stdout.readline()
            found = re.search(r"http://127\.0\.0\.1:\d+", said)
            if found is None:
                raise AssertionError(f"nothing is served: {said}")
            yield Pages(found[0], server.pid)
        finally:
            server.terminate()
