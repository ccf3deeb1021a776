"""Take the README's pictures of every page, on light and dark paper: `make screenshots`."""

from __future__ import annotations

import io
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from conftest import CHROMIUM, QUIET, SEASON_ENDS, served
from PIL import Image
from playwright.sync_api import Page, sync_playwright

from babbitt.jobs.demo import run_demo
from babbitt.logbook.folder import Logbook, open_logbook
from babbitt.register.records import events, teardowns

FOLDER = Path(__file__).parents[2] / "docs" / "screens"
LAPTOP = {"width": 1366, "height": 768}
PHONE = {"width": 390, "height": 844}
COLOURS = 64
"""Enough for paper, ink and one accent; keeps the pictures small."""


def addresses(book: Logbook) -> Iterator[tuple[str, str]]:
    """Yield the name of each picture and the address of its page: the worst that was logged."""
    with book.register.reading() as session:
        starved = [
            each for each in events.list_events(session) if each.event.kind == "oil_starvation"
        ]
        newest = max(teardowns.teardowns_of(session), key=lambda each: each.at)
    worst = max(starved, key=lambda each: each.event.dose).event
    yield "engines", "/"
    yield "engine", f"/engine/{worst.engine_id}"
    yield "runs", "/runs"
    yield "run", f"/run/{worst.run_id}?event={worst.event_id}"
    yield "teardowns", "/teardowns"
    yield "teardown-before", f"/teardown/{worst.engine_id}"
    yield "teardown-after", f"/teardown/{newest.engine_id}?at={newest.at.isoformat()}"
    yield "logs", "/logs"
    yield "register", "/register"


def take(page: Page, address: str, path: Path) -> None:
    """Save a picture of a page once it has drawn itself."""
    page.goto(address, wait_until="networkidle")
    page.locator("main h1").wait_for()
    if page.locator(".js-plotly-plot, .dash-graph").count():
        page.locator(".main-svg").first.wait_for()
    page.wait_for_timeout(800)
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    sys.stdout.write(f"{path.name}\n")


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        book = Path(folder) / "demo"
        run_demo(book)
        pages = list(addresses(open_logbook(book)))
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        with served(book) as site:
            for theme in ("light", "dark"):
                for size, viewport in (("", LAPTOP), ("-phone", PHONE)):
                    context = chromium.new_context(base_url=site, viewport=viewport)
                    context.add_cookies([{"name": "theme", "value": theme, "url": site}])
                    page = context.new_page()
                    for name, address in pages:
                        if not size or name in ("engines", "run"):
                            take(page, address, FOLDER / f"{name}{size}-{theme}.png")
                    context.close()
        chromium.close()
    sys.stdout.write(f"as of {SEASON_ENDS:%d %b %Y}, the end of the demo's season\n")


if __name__ == "__main__":
    main()
