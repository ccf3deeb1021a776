"""A mechanic sends logs by the browser, puts right what is not stated, and takes them in."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

LOGS = Path(__file__).parents[2] / "demo_logs" / "logs"
TOLD = "NB-03_2026-10-03_fennick.csv"
ANSWERS = "**/_dash-update-component*"


@pytest.fixture
def without_unit(tmp_path: Path) -> Path:
    """A folder with a log of the demo that no longer states a unit, one kept already, and a photo.

    The log has a shorter end than the one in the logbook, and began a day later.
    """
    folder = tmp_path / "stick"
    folder.mkdir()
    rows = (LOGS / TOLD).read_text(encoding="utf-8").splitlines()
    plain = [rows[0].replace("Oil Pressure [kPa]", "Oil Pressure"), *rows[1:3000]]
    head = "Start,2026-10-04 10:00:00"
    (folder / "NB-03_sunday.csv").write_text("\n".join([head, *plain, ""]), encoding="utf-8")
    (folder / TOLD).write_bytes((LOGS / TOLD).read_bytes())
    (folder / "grid.jpg").write_bytes(b"no log")
    return folder


def test_logs_are_sent_put_right_and_taken_in(
    page: Page, without_unit: Path, axe: Callable[[Page], None]
) -> None:
    page.goto("/logs")
    expect(page.get_by_role("heading", name="Taken in lately")).to_be_visible()
    expect(page.locator("#logs-sensors")).to_contain_text("No sensor of")
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="choose a folder").click()
    chooser.value.set_files(without_unit)
    expect(page.get_by_text("1 file that is no log was left out.")).to_be_visible()
    expect(page.get_by_role("heading", name="2 logs wait to be taken in")).to_be_visible()
    expect(page.locator("#logs-waiting")).to_contain_text("The unit is not known")

    page.get_by_role("button", name="NB-03_sunday.csv", exact=True).click()
    expect(page.get_by_text("It would be refused")).to_be_visible()
    expect(page).to_have_url(re.compile("file="))
    axe(page)
    page.get_by_label("Unit of Oil pressure").select_option("kPa")
    expect(page.get_by_text("It can be taken in")).to_be_visible()
    expect(page.get_by_label("Unit of Oil pressure")).to_have_value("kPa")
    page.get_by_label("name of the profile").fill("stick")
    page.get_by_role("button", name="Keep the profile").click()
    expect(page.get_by_text("Kept as stick")).to_be_visible()

    page.get_by_role("button", name="Take in all that can be").click()
    told = page.locator("#logs-told")
    expect(told).to_contain_text("NB-03_sunday.csv: taken in for NB-03", timeout=60_000)
    expect(told).to_contain_text("is in the logbook already, as a run of NB-03")
    expect(page.locator("#logs-waiting")).to_be_empty()
    page.locator("#logs-lately").get_by_role("link", name="NB-03_sunday.csv").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("NB-03")


def test_a_log_is_sent_and_thrown_away_by_keyboard_on_a_phone(page: Page, tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("front left 1.9 bar\n", encoding="utf-8")
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto("/logs")
    pick = page.get_by_role("button", name="choose files")
    expect(page.locator("#logs-sensors")).to_contain_text("of NB-0")
    with page.expect_file_chooser() as chooser:
        pick.press("Enter")
    chooser.value.set_files(notes)
    expect(page.get_by_text("It cannot be read as it is.")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.get_by_role("button", name="Throw away notes.txt").press("Enter")
    expect(page.get_by_role("heading", name="waits to be taken in", exact=False)).to_have_count(0)


def test_a_late_answer_about_sensors_leaves_the_opened_log_open(page: Page) -> None:
    held: list[Route] = []

    def hold(route: Route) -> None:
        if "logs-sensors" in (route.request.post_data or ""):
            held.append(route)
        else:
            route.continue_()

    def send(name: str) -> None:
        with page.expect_file_chooser() as chooser:
            page.get_by_role("button", name="choose files").click()
        chooser.value.set_files({"name": name, "mimeType": "text/csv", "buffer": b"1.9 bar\n"})
        expect(page.get_by_role("button", name=name, exact=True)).to_be_visible()

    opened = page.get_by_text("It cannot be read as it is.")
    both = re.compile(r"(?=.*\bfile=)(?=.*\bengine=NB-02)")
    page.route(ANSWERS, hold)
    page.goto("/logs?engine=NB-02")
    send("front.csv")
    expect(opened).to_be_visible()
    assert held, "the sensors are asked for when the page opens"
    for route in held:
        route.continue_()
    page.unroute(ANSWERS)
    expect(page.locator("#logs-sensors")).to_contain_text("of NB-02")
    expect(page).to_have_url(both)
    send("rear.csv")
    expect(opened).to_be_visible()
    expect(page).to_have_url(both)
    page.get_by_role("button", name="Throw away front.csv").click()
    page.get_by_role("button", name="Throw away rear.csv").click()
    expect(page.locator("#logs-waiting")).to_be_empty()


def test_dropped_logs_are_sent_and_what_is_none_is_refused(page: Page) -> None:
    page.goto("/logs")
    expect(page.locator("#logs-drop")).to_be_visible()
    page.evaluate(
        """() => {
            const data = new DataTransfer();
            data.items.add(new File(["1"], "photo.jpg"));
            const drop = document.getElementById("logs-drop");
            drop.dispatchEvent(new DragEvent("dragover", {dataTransfer: data, bubbles: true}));
        }"""
    )
    expect(page.locator("#logs-drop.over")).to_be_visible()
    page.evaluate(
        """() => {
            const data = new DataTransfer();
            data.items.add(new File(["time,rpm\\n"], "short.csv"));
            const drop = document.getElementById("logs-drop");
            drop.dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true}));
        }"""
    )
    expect(page.get_by_role("button", name="short.csv", exact=True)).to_be_visible()
    page.get_by_role("button", name="Throw away short.csv").click()
    expect(page.locator("#logs-waiting")).to_be_empty()


def test_a_refused_log_that_is_thrown_away_can_be_taken_up_and_set_aside(
    page: Page, tmp_path: Path, axe: Callable[[Page], None]
) -> None:
    notes = tmp_path / "NB-02 notes.txt"
    notes.write_text("rear right 1.8 bar\n", encoding="utf-8")
    page.goto("/logs")
    expect(page.locator("#logs-sensors")).to_contain_text("of NB-0")
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="choose files").click()
    chooser.value.set_files(notes)
    page.get_by_role("button", name="Take in NB-02 notes.txt").click()
    expect(page.locator("#logs-told")).to_contain_text("NB-02 notes.txt: refused.")
    page.get_by_role("button", name="Throw away NB-02 notes.txt").click()
    page.get_by_text("refused log set aside").click()
    page.get_by_role("button", name="Take up again: NB-02 notes.txt").click()
    expect(page.get_by_role("heading", name="1 log was refused")).to_be_visible()
    axe(page)
    page.goto("/")
    page.get_by_role("link", name="1 log refused").click()
    page.get_by_role("button", name="Set aside: NB-02 notes.txt").click()
    expect(page.get_by_role("heading", name="was refused", exact=False)).to_have_count(0)
