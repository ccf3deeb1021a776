"""Requests to the pages that no page of ours makes, and how they are answered.

Every callback is asked with odd JSON through the endpoint that browsers use, and every page with
odd words behind its ?.
"""

from __future__ import annotations

import json
import logging
import random
import re
from collections import Counter
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import flask.testing
from dash import Dash
from ending import FaultError, end_of

from babbitt_dashboard.app import PAGES, make_app
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.guard import add_guard
from engine_book import NOW, REFRESHED
from strip_book import APART, make_strip_book

FAULT = b"A fault in Babbitt"
RUN = f"E1-{REFRESHED + timedelta(days=1):%Y%m%d%H}".ljust(16, "0")
"""A run of the logbook, one with an event."""
CALLBACKS = "/_dash-update-component"
TEXTS = [
    *("", " ", "0", "-1", "1", "1e400", "nan", "inf", "9" * 30, "9" * 5000, "true", "null", "None"),
    *(
        "E1",
        "E2",
        "E9",
        RUN,
        "E2-0",
        "rod_bearing",
        "piston_crown",
        "wiped",
        "2",
        "every",
        "all",
    ),
    *("2026-02-19", "2026-02-30", "0001-01-01", "9999-12-31", APART.isoformat(), "24:00"),
    *(
        "table",
        "parts",
        "work",
        "journal",
        "engines",
        "harm",
        "to_review",
        "new",
        "reuse",
        "replace",
    ),
    *(
        "'; DROP TABLE run; --",
        "%",
        "../../etc/passwd",
        "<script>",
        "\x00",
        "\ud800",
        "\u202e",
        "é",
    ),
    *(
        "x" * 5000,
        "a,b",
        "rpm",
        "oil_pressure",
        "[]",
        "{}",
        '{"a": 1}',
        "data:image/png;base64,AAAA",
    ),
    *(
        "data:,",
        "1.5",
        "٣",
        "1;2",
        "E1|2",
        "rod_bearing|2",
        "over_rev",
        "oil_starvation",
        "confirmed",
    ),
]
KEYS = [
    *(
        "number",
        "do",
        "to",
        "field",
        "value",
        "part",
        "position",
        "entry",
        "view",
        "entries",
        "day",
    ),
    *(
        "hour",
        "note",
        "earlier",
        "reason",
        "n",
        "mode",
        "grade",
        "photos",
        "name",
        "content",
        "files",
    ),
    *("engine", "section", "event", "start", "end", "at", "page", "since", "until", "only", "more"),
    *(
        "circuit",
        "runs",
        "run",
        "layout",
        "spots",
        "likely",
        "teardown",
        "finding",
        "seen",
        "token",
    ),
    *(
        "colId",
        "data",
        "rowId",
        "oldValue",
        "points",
        "x",
        "customdata",
        "xaxis.range[0]",
        "autosize",
    ),
    *("desk", "self", "__class__", "", "id", "type", "props", "form", "key", "record", "choices"),
]
BENCH = {
    "engine": "E1",
    "layout": ["inline", 4],
    "spots": [["rod_bearing", "2"], ["rod_bearing", "1"], ["rod_bolt", "1"]],
    "likely": [["rod_bearing", "2"]],
    "teardown": None,
    "at": None,
    "day": "2026-02-19",
    "hour": "09:00",
    "finding": None,
    "seen": None,
}
ENTRY = {"n": 1, "part": "rod_bearing", "position": "2", "mode": "wiped", "grade": 3}
WHOLE: list[Any] = [
    BENCH,
    {"entries": [ENTRY], "day": "2026-02-19", "hour": "09:00"},
    {"part": "rod_bearing", "position": "2", "entry": "1", "view": "table"},
    *(
        {"number": 1, "do": do, "to": to}
        for do in ("choose", "grade", "record")
        for to in ("3", "")
    ),
    {"number": 1, "field": "value", "entry": "1", "value": "0.07"},
    {"engine": "E1", "run": RUN, "event": None, "start": None, "end": None},
    {"section": "parts", "part": "RB-1"},
    [{"colId": "grade", "value": 9, "data": {"spot": "rod_bearing|2"}}],
]
"""What the pages keep themselves, to be changed in one place."""


def odd(dice: random.Random, depth: int = 0) -> Any:
    """Return a value that a browser could send, and hardly ever would."""
    sort = dice.randrange(12)
    if depth < 4 and sort < 2:
        return [odd(dice, depth + 1) for _ in range(dice.choice([0, 1, 2, 5]))]
    if depth < 4 and sort < 5:
        count = dice.choice([0, 1, 3, 8])
        return {dice.choice(KEYS): odd(dice, depth + 1) for _ in range(count)}
    if depth < 2 and sort < 8:
        return changed(dice, dice.choice(WHOLE))
    if sort < 10:
        return dice.choice(TEXTS)
    return dice.choice(
        [None, True, False, 0, 1, -1, 3, 10**30, 1e308, -0.0, 0.5, 1_770_000_000_000]
    )


def changed(dice: random.Random, whole: Any) -> Any:
    """Return a value with something in it changed."""
    if isinstance(whole, dict) and whole and dice.random() < 0.9:
        key = dice.choice(list(whole))
        return {**whole, key: changed(dice, whole[key]) if dice.random() < 0.5 else whole[key]}
    if isinstance(whole, list) and whole and dice.random() < 0.9:
        at = dice.randrange(len(whole))
        return [changed(dice, each) if n == at else each for n, each in enumerate(whole)]
    return odd(dice, 3)


class Pages:
    """A logbook's pages, to be asked; its register lies in a file, or at an address."""

    def __init__(self, folder: Path, register: str = "") -> None:
        self.book = make_strip_book(folder / "book", register)
        self.app: Dash = make_app(Desk(self.book, lambda: NOW, "Bob"))
        add_guard(self.app, password_hash=None)
        self.client: flask.testing.FlaskClient = self.app.server.test_client()
        told = self.client.get("/_dash-dependencies").json
        self.callbacks = [each for each in told if not each["clientside_function"]]
        self.ends: Counter[str] = Counter()
        logging.getLogger("babbitt").setLevel(logging.CRITICAL)

    def ask_callbacks(self, seed: int) -> None:
        """Ask every callback once.

        Raises:
            FaultError: an answer that no request may have.
        """
        for callback in self.callbacks:
            dice = random.Random(f"{seed} {callback['output']}")
            body = json.dumps(request_of(dice, callback)).encode()
            self._ask(f"seed {seed}, {callback['output'][:60]}", "POST", CALLBACKS, body)

    def ask_garbled(self, seed: int) -> None:
        """Ask the endpoint of callbacks with what is no request of one."""
        dice = random.Random(seed)
        whole = request_of(dice, dice.choice(self.callbacks))
        garbled = odd(dice) if dice.random() < 0.3 else changed(dice, {**whole, "x": odd(dice)})
        body = dice.choice(
            [
                json.dumps(garbled).encode(),
                json.dumps(garbled).encode()[: dice.randrange(200)],
                b"[" * dice.choice([10, 5_000, 200_000]),
                b'{"a":' * dice.choice([10, 5_000, 200_000]),
                dice.randbytes(100),
                b"9" * 100_000,
            ]
        )
        self._ask(f"seed {seed}, garbled", "POST", CALLBACKS, body)

    def ask_pages(self, seed: int) -> None:
        """Ask for every page with odd words behind its ?, and odd parts in its path."""
        dice = random.Random(seed)
        (layout,) = (each for each in self.callbacks if "_pages_content" in each["output"])
        for page in PAGES:
            path = "/".join(
                quote(dice.choice(["E1", "E2", RUN, dice.choice(TEXTS)]), errors="replace")
                if each.startswith("<")
                else each
                for each in page.path.split("/")
            )
            names = [dice.choice(KEYS) for _ in range(dice.choice([0, 1, 2, 4]))]
            words = urlencode([(name, dice.choice(TEXTS)) for name in names], errors="replace")
            asked = request_of(dice, layout, {"pathname": path, "search": f"?{words}"})
            told = self._ask(f"{path}?{words}", "POST", CALLBACKS, json.dumps(asked).encode())
            if FAULT in told:
                raise FaultError(f"{path}?{words}: the page failed")

    def ask_files(self, seed: int) -> None:
        """Ask for every file to take away, with odd words in its address."""
        dice = random.Random(seed)
        for rule in self.app.server.url_map.iter_rules():
            if rule.endpoint.startswith(("report", "csv", "photo", "small", "upload", "login")):
                path = rule.rule
                for name in rule.arguments:
                    word = quote(dice.choice(["E1", dice.choice(TEXTS)]), errors="replace")
                    path = path.replace(f"<{name}>", word or "x")
                names = [dice.choice(KEYS) for _ in range(dice.choice([0, 1, 2, 4]))]
                words = urlencode([(name, dice.choice(TEXTS)) for name in names], errors="replace")
                method = dice.choice(sorted((rule.methods or set()) & {"GET", "POST"}))
                self._ask(f"{path}?{words}", method, f"{path}?{words}", b"1,2\n")

    def ask_everywhere(self, word: str) -> None:
        """Hand a word to all that takes one: parts of paths, names behind the ?, callbacks."""
        part = quote(word, errors="replace")
        behind = urlencode([(name, word) for name in KEYS], errors="replace")
        (layout,) = (each for each in self.callbacks if "_pages_content" in each["output"])
        for page in PAGES:
            path = re.sub("<.*?>", part, page.path)
            values = {"pathname": path, "search": f"?{behind}"}
            asked = request_of(random.Random(0), layout, values)
            if FAULT in self._ask(path, "POST", CALLBACKS, json.dumps(asked).encode()):
                raise FaultError(f"{path}: the page failed")
        for rule in self.app.server.url_map.iter_rules():
            if rule.endpoint.startswith(("report", "csv", "photo", "small")):
                path = re.sub("<.*?>", part, rule.rule)
                self._ask(path, "GET", f"{path}?{behind}", b"")
        for callback in self.callbacks:
            values = {each["property"]: word for each in callback["inputs"] + callback["state"]}
            asked = request_of(random.Random(0), callback, values)
            self._ask(callback["output"], "POST", CALLBACKS, json.dumps(asked).encode())

    def _ask(self, what: str, method: str, path: str, body: bytes) -> bytes:
        kind = "application/json" if path == CALLBACKS else "application/octet-stream"

        def ask() -> None:
            with self.client.open(path, method=method, data=body, content_type=kind) as answer:
                if answer.status_code >= 500:
                    raise FaultError(f"answered with {answer.status_code}: {answer.data[:200]!r}")
                self.answer, status = answer.data, answer.status_code
                self.ends["a fault told" if FAULT in self.answer else str(status)] += 1

        try:
            end_of(ask)
        except FaultError as error:
            raise FaultError(f"{what}: {error}") from error
        return self.answer


def request_of(
    dice: random.Random, callback: dict[str, Any], values: dict[str, Any] | None = None
) -> dict[str, Any]:
    """Return a request of a callback as a browser sends it; odd values where none are given."""

    def told(of: dict[str, Any]) -> Any:
        name, known = of["property"], values or {}
        value = known[name] if name in known else odd(dice)
        if not of["id"].startswith("{"):
            return {"id": of["id"], "property": name, "value": value}
        pattern = json.loads(of["id"])
        return [
            {
                "id": {
                    k: dice.choice(TEXTS) if isinstance(v, list) else v for k, v in pattern.items()
                },
                "property": name,
                "value": value,
            }
            for _ in range(dice.choice([0, 1, 1, 2]))
        ]

    inputs = [told(each) for each in callback["inputs"]]
    plain = [each for some in inputs for each in (some if isinstance(some, list) else [some])]
    chosen = dice.choice(plain) if plain else {"id": "x", "property": "y"}
    id_ = chosen["id"]
    name = id_ if isinstance(id_, str) else json.dumps(id_, sort_keys=True, separators=(",", ":"))
    outputs = [
        {"id": each.rpartition(".")[0], "property": each.rpartition(".")[2].partition("@")[0]}
        for each in callback["output"].strip(".").split("...")
    ]
    return {
        "output": callback["output"],
        "outputs": [[each] if each["id"].startswith("{") else each for each in outputs]
        if callback["output"].startswith("..")
        else outputs[0],
        "inputs": inputs,
        "changedPropIds": [f"{name}.{chosen['property']}"],
        "state": [told(each) for each in callback["state"]],
    }


def fuzz(pages: Pages, seeds: Iterable[int]) -> Counter[str]:
    """Ask everything once a seed; return how often each end came so far."""
    for seed in seeds:
        pages.ask_callbacks(seed)
        pages.ask_garbled(seed)
        pages.ask_pages(seed)
        pages.ask_files(seed)
    return pages.ends
