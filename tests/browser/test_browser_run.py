"""The engineer's path: from the list of runs to an event, judged by keyboard, and to the next."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect


def window_of(page: Page) -> tuple[float, float]:
    """Return the ends of the window as the address states them, in seconds."""
    found = dict(re.findall(r"(start|end)=([\d.]+)", page.url))
    return float(found["start"]), float(found["end"])


def open_run(page: Page) -> None:
    """Open the newest run of NB-01: seven events, four of them oil starvation."""
    page.goto("/runs?engine=NB-01")
    page.get_by_role("link", name="19 Sep 2026").click()
    expect(page.locator("#run-said")).to_have_text("whole run")
    expect(page.locator("#run-traces .main-svg").first).to_be_visible()
    page.wait_for_load_state("networkidle")


def test_events_are_found_seen_and_judged_by_keyboard(page: Page) -> None:
    open_run(page)
    expect(page.locator("#run-finding")).to_contain_text("7 to review")
    for event in (1, 2):
        page.keyboard.press("j")
        expect(page.locator("#run-said")).to_contain_text(f"event {event} of 7")
    chosen = page.locator("#run-list [aria-current=true]")
    expect(chosen).to_contain_text("oil starvation")
    expect(page.locator("#run-chosen")).to_contain_text("was expected")
    start, end = window_of(page)
    assert 8.0 < end - start < 9.0

    page.keyboard.press("n")
    page.keyboard.type("plug loose; c and f are letters here")
    page.keyboard.press("Escape")
    page.keyboard.press("f")
    expect(chosen).to_contain_text("sensor fault")
    expect(page.locator("#run-chosen")).to_contain_text("plug loose; c and f are letters here")
    expect(page.locator("#run-finding")).to_contain_text("1 event set aside by review. 6 to review")
    assert window_of(page) == (start, end)

    page.keyboard.press("k")
    expect(page.locator("#run-said")).to_contain_text("event 1 of 7")
    page.keyboard.press("c")
    expect(chosen).to_contain_text("confirmed")
    page.keyboard.press("z")
    expect(page.locator("#run-said")).to_have_text("event 1 of 7, whole run")
    page.keyboard.press("[")
    expect(page.locator("main h1")).to_have_text("NB-01 at Tollbar Bowl, 15 Aug 2026 15:10")


def test_the_traces_are_zoomed_by_mouse_and_a_link_shows_the_same(page: Page) -> None:
    open_run(page)
    expect(page.locator("#run-traces")).to_be_visible()
    box = page.locator("#run-traces").bounding_box()
    assert box is not None
    left, top = box["x"], box["y"] + box["height"] / 2
    page.mouse.move(left + 0.4 * box["width"], top)
    page.mouse.down()
    page.mouse.move(left + 0.6 * box["width"], top, steps=5)
    page.mouse.up()
    expect(page.locator("#run-said")).to_contain_text(" to ")
    start, end = window_of(page)
    assert 40.0 < end - start < 80.0
    drawn = page.locator("#run-traces .js-plotly-plot").evaluate(
        "plot => plot.layout.xaxis.range.map(Number)"
    )
    assert abs((drawn[1] - drawn[0]) / 1e3 - (end - start)) < 0.1

    page.mouse.dblclick(left + 0.5 * box["width"], top)
    expect(page.locator("#run-said")).to_have_text("whole run")
    page.locator("#run-list button", has_text="oil overheat").click()
    expect(page.locator("#run-said")).to_contain_text("event 4 of 7")
    page.reload()
    expect(page.locator("#run-said")).to_contain_text("event 4 of 7")
    expect(page.locator("#run-list [aria-current=true]")).to_contain_text("oil overheat")


def test_letter_keys_can_be_switched_off(page: Page) -> None:
    open_run(page)
    page.locator("#run-keys").click()
    page.keyboard.press("j")
    page.get_by_role("button", name="later").click()
    expect(page.locator("#run-said")).to_contain_text("whole run")
    page.get_by_role("button", name="closer").click()
    expect(page.locator("#run-said")).to_contain_text(" to ")
    expect(page.locator("#run-list [aria-current=true]")).to_have_count(0)


def test_a_phone_shows_all_in_one_column(page: Page) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    open_run(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_both_pages_pass_wcag(page: Page, axe: Callable[[Page], None]) -> None:
    page.goto("/runs")
    axe(page)
    open_run(page)
    page.keyboard.press("j")
    expect(page.locator("#run-said")).to_contain_text("event 1 of 7")
    axe(page)
