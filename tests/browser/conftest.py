"""A server on the demo's logbook, and Debian's Chromium to look at it with."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect, sync_playwright

from answering import answering
from babbitt.jobs.demo import run_demo
from babbitt.logbook.folder import open_logbook
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.serving import address_of, make_server, set_password

CHROMIUM = "/usr/bin/chromium"
QUIET = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
SEASON_ENDS = datetime(2026, 11, 1, tzinfo=UTC)
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]

expect.set_options(timeout=15_000)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep the browser's tests on one worker, so that the demo is run and Chromium started once."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.xdist_group("browser"))


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """Serve a logbook at the end of the demo's season; yield its address."""
    server = make_server(
        Desk(open_logbook(folder), lambda: SEASON_ENDS, "a mechanic"), host="127.0.0.1", port=0
    )
    with answering(server):
        yield address_of(server)


@pytest.fixture(scope="session")
def demo_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's logbook; not to be written to."""
    folder = tmp_path_factory.mktemp("browser") / "demo"
    run_demo(folder)
    return folder


@pytest.fixture(scope="module")
def password() -> str | None:
    """What the logbook of a module is kept behind."""
    return None


@pytest.fixture(scope="module")
def site(
    demo_book: Path, tmp_path_factory: pytest.TempPathFactory, password: str | None
) -> Iterator[str]:
    """The address of a server on a copy of the demo's logbook, a module's own."""
    folder = shutil.copytree(demo_book, tmp_path_factory.mktemp("site") / "book")
    if password is not None:
        set_password(open_logbook(folder), password)
    with served(folder) as address:
        yield address


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield started
        started.close()


@pytest.fixture
def page(browser: Browser, site: str) -> Iterator[Page]:
    """A page of a laptop's size; what the browser complains of fails the test."""
    context = browser.new_context(base_url=site, viewport={"width": 1366, "height": 768})
    opened = context.new_page()
    complaints: list[str] = []
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on(
        "console",
        lambda message: complaints.append(message.text) if message.type == "error" else None,
    )
    yield opened
    context.close()
    assert not complaints, complaints


@pytest.fixture
def axe() -> Callable[[Page], None]:
    """Return a check of a page against WCAG 2.2 AA, on light and on dark paper."""

    def check(page: Page) -> None:
        for theme in ("light", "dark"):
            page.context.add_cookies([{"name": "theme", "value": theme, "url": page.url}])
            page.reload(wait_until="networkidle")
            expect(page.locator("main h1")).to_be_visible()
            found = Axe().run(page, options={"runOnly": WCAG, "resultTypes": ["violations"]})
            assert not found.response["violations"], f"{theme}: {found.generate_report()}"

    return check
