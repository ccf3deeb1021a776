"""The builder takes an engine apart in the browser: by mouse, by keyboard, and in a table."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PIL import Image
from playwright.sync_api import Locator, Page, expect

ENTER = "/teardown/NB-03?show=enter"


def part(page: Page, name: str) -> Locator:
    return page.locator("#teardown-parts").get_by_role("button", name=name, exact=True)


def begin(page: Page, address: str = ENTER) -> None:
    """Open a page for entering with an empty draft."""
    page.goto(address)
    expect(page.get_by_role("heading", name="finding", exact=False).first).to_be_visible()
    page.get_by_role("button", name="start over").click()
    expect(page.get_by_text("The draft is empty.")).to_be_visible()


def test_a_teardown_is_entered_by_keyboard_recorded_and_explained(
    page: Page, tmp_path: Path
) -> None:
    begin(page)
    part(page, "rod bolt 2").click()
    expect(page.get_by_role("heading", name="Rod bolt 2")).to_be_visible()
    for key in "3j0j0":  # faster than the server answers
        page.keyboard.press(key)
    entered = page.locator("#teardown-entered")
    expect(entered).to_contain_text("3 findings entered")
    expect(entered).to_contain_text("Rod bolt 2 stretched, 3 replace")

    part(page, "rod bearing 1").click()
    page.keyboard.press("ArrowUp")
    expect(page.get_by_role("heading", name="Connecting rod 1")).to_be_visible()
    page.keyboard.press("ArrowDown")
    expect(page.get_by_role("heading", name="Rod bearing 1")).to_be_visible()
    expect(part(page, "rod bearing 1")).to_be_focused()
    page.keyboard.press("2")
    expect(entered).to_contain_text("choose the damage")
    page.get_by_role("button", name="worn", exact=True).click()
    page.get_by_role("button", name="clearance (mm)").click()
    expect(page.get_by_role("button", name="clearance (mm)", pressed=True)).to_be_focused()
    page.get_by_label("measured, mm").press_sequentially("0,066", delay=30)
    page.get_by_label("at most").press_sequentially("0.065", delay=30)
    page.get_by_label("note", exact=True).press_sequentially("4 of 4 looked at", delay=10)
    Image.new("RGB", (60, 40), "grey").save(tmp_path / "shell.jpg")
    page.get_by_label("Photos of the part").set_input_files(tmp_path / "shell.jpg")
    expect(page.get_by_role("img", name="Photo shell.jpg")).to_be_visible()

    page.reload()
    expect(entered).to_contain_text("Rod bearing 1 worn, 2 worn, reusable; clearance 0,066")
    expect(page.get_by_role("img", name="Photo shell.jpg")).to_be_visible()
    page.get_by_label("how much, and why").press_sequentially("bottom end", delay=10)
    page.get_by_role("button", name="record the teardown").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("NB-03, apart on 1 Nov 2026")
    expect(page.get_by_role("heading", name="Rod bearing 1: worn")).to_be_visible()
    expect(page.get_by_role("img", name="Photo of rod bearing 1").first).to_be_visible()
    expect(page.locator("main")).to_contain_text("outside at most 0.065")

    page.get_by_title("Correct or withdraw the finding on rod bolt 2").click()
    expect(page.get_by_role("heading", name="Rod bolt 2")).to_be_visible()
    page.get_by_role("button", name="1 trace").click()
    expect(page.get_by_role("button", name="1 trace", pressed=True)).to_be_visible()
    page.get_by_role("button", name="write the correction").click()
    expect(page.get_by_role("alert").filter(has_text="Say why")).to_be_visible()
    page.get_by_label("why: the journal keeps it").press_sequentially("measured again", delay=10)
    page.get_by_role("button", name="write the correction").click()
    expect(page.get_by_role("cell", name="1 trace: stretched")).to_be_visible()


def test_findings_are_typed_into_a_table(page: Page) -> None:
    begin(page, f"{ENTER}&view=table")
    first = page.locator('.td-grid [row-index="0"] [col-id="grade"]').last
    first.click()
    page.keyboard.type("0", delay=30)
    page.keyboard.press("Enter")
    expect(first).to_have_text("0 sound")
    page.keyboard.press("F2")
    page.keyboard.type("1", delay=30)
    page.keyboard.press("Enter")
    expect(page.locator("#teardown-entered")).to_contain_text("2 findings entered")


def test_an_event_behind_a_finding_is_one_click_away(page: Page) -> None:
    page.goto("/teardowns")
    page.get_by_role("link", name="16 Jun 2026").click()
    expect(page.get_by_role("heading", name="Rod bearing 2: wiped")).to_be_visible()
    page.get_by_role("link", name="125 kPa").first.click()
    page.wait_for_url("**/run/*?event=*")


def test_the_pages_pass_wcag(page: Page, axe: Callable[[Page], None]) -> None:
    for path in (
        "/teardowns",
        "/teardown/NB-02",
        "/teardown/NB-01?at=2026-06-16T10:00:00",
        "/teardown/NB-02?show=enter&part=rod_bearing&position=2",
        "/teardown/NB-02?show=enter&view=table",
    ):
        page.goto(path, wait_until="networkidle")
        axe(page)
