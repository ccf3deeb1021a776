"""The crew chief's path: which engine do I pull, why, and a page of it to take away."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect


@pytest.mark.parametrize("path", ["/", "/engine/NB-01"])
def test_the_pages_pass_wcag(page: Page, axe: Callable[[Page], None], path: str) -> None:
    page.goto(path)
    axe(page)


def test_from_all_engines_to_the_one_to_pull_and_its_report(page: Page) -> None:
    page.goto("/")
    rows = page.locator(".eng-table tbody tr")
    expect(rows).to_have_count(3)
    expect(rows.first.locator(".call-word")).to_have_text("pull")
    expect(page.locator("#engines-advice")).to_contain_text("Pull NB-01")
    page.get_by_role("link", name="NB-01").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("NB-01 pull")
    expect(page.locator("#engine-line .main-svg").first).to_be_visible()
    with page.context.expect_page() as opened:
        page.get_by_role("link", name="Page to print").click()
    report = opened.value
    expect(report.get_by_role("heading", level=1)).to_have_text("NB-01 ● pull")
    expect(report.locator("figure.drawn .main-svg").first).to_be_visible()
    expect(report.locator("figure.drawn")).to_have_count(4)
    pages = re.findall(rb"/Type\s*/Page[^s]", report.pdf(prefer_css_page_size=True))
    assert len(pages) == 2


def test_a_column_sorts_and_the_address_keeps_it(page: Page) -> None:
    page.goto("/")
    page.get_by_role("link", name="Low oil pressure").click()
    expect(page).to_have_url("/?sort=low_oil_pressure")
    expect(page.locator(".eng-name").first).to_have_text("NB-02")
    expect(page.locator("th[aria-sort]")).to_have_text("Low oil pressure")


def test_the_slider_looks_ahead_by_keyboard_and_a_link_shows_the_same(page: Page) -> None:
    page.goto("/engine/NB-02")
    slider = page.get_by_role("slider", name="Look ahead, runs")
    slider.focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    expect(page.locator("#engine-ahead")).to_have_text("after 5 more runs")
    expect(page.locator("#engine-outlook caption")).to_contain_text("after 5 more runs")
    expect(page).to_have_url("/engine/NB-02?runs=5")
    page.reload()
    expect(page.locator("#engine-ahead")).to_have_text("after 5 more runs")


def test_looking_ahead_on_the_first_page(page: Page) -> None:
    page.goto("/")
    page.get_by_label("Look ahead, runs").fill("4")
    expect(page.locator(".eng-table thead")).to_contain_text("after 4 more runs")
    expect(page).to_have_url("/?runs=4&sort=urgency")


def test_a_phone_shows_each_engine_without_scrolling_sideways(page: Page) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    for path in ("/", "/engine/NB-01"):
        page.goto(path)
        expect(page.locator("main h1")).to_be_visible()
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 390, path


def test_a_circuit_is_chosen_and_a_link_shows_the_same(page: Page) -> None:
    page.goto("/engine/NB-03?runs=3")
    expect(page.locator("#engine-drawn")).to_be_empty()
    page.get_by_label("Where the next runs will be").first.click()
    page.get_by_role("option", name="at Fennick Hill").click()
    drawn = page.locator("#engine-drawn")
    expect(drawn).to_contain_text("Drawn from 3 runs of NB-03 at Fennick Hill")
    expect(page.locator("#engine-outlook caption")).to_contain_text("runs at Fennick Hill")
    expect(page).to_have_url("/engine/NB-03?runs=3&circuit=Fennick+Hill")
    page.reload()
    expect(drawn).to_contain_text("Drawn from 3 runs of NB-03 at Fennick Hill")
