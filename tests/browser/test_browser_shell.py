"""The frame around every page: found by keyboard, kept light or dark, and all from this machine."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, expect


def test_a_wrong_address_leads_back_and_passes_wcag(
    page: Page, axe: Callable[[Page], None]
) -> None:
    page.goto("/nowhere")
    expect(page.get_by_role("heading", level=1)).to_have_text("There is no such page")
    axe(page)
    page.get_by_role("link", name="engines", exact=True).click()
    expect(page).to_have_url(page.url.replace("/nowhere", "/"))


def test_nothing_is_fetched_from_elsewhere(page: Page, site: str) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for path in ("/", "/runs", "/teardowns", "/logs", "/register"):
        page.goto(path, wait_until="networkidle")
        expect(page.locator("main h1")).to_be_visible()
    assert len(asked) > 20
    assert not [url for url in asked if not url.startswith((site, "data:", "blob:"))]


def test_the_switches_are_remembered(page: Page) -> None:
    page.goto("/nowhere")
    root = page.locator("html")
    before = root.get_attribute("data-theme")
    with page.expect_navigation():
        page.get_by_role("button", name="Turn the paper light or dark").click()
    assert root.get_attribute("data-theme") != before
    with page.expect_navigation():
        page.get_by_role("button", name="Units: metric").click()
    expect(page.get_by_role("button", name="Units: imperial")).to_be_visible()
    page.reload()
    expect(page.get_by_role("button", name="Units: imperial")).to_be_visible()
    assert root.get_attribute("data-theme") != before


def test_the_keyboard_skips_the_head(page: Page) -> None:
    page.goto("/nowhere")
    expect(page.locator("main h1")).to_be_visible()
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the page")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()
