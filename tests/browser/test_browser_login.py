"""The way in by a password, and out again."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect


@pytest.fixture(scope="module")
def password() -> str | None:
    """What the logbook of this module is kept behind."""
    return "invented for this test"


def test_in_by_the_password_to_the_page_that_was_asked_for_and_out(
    page: Page, axe: Callable[[Page], None], password: str
) -> None:
    title = page.get_by_role("heading", level=1)
    page.goto("/engine/NB-02")
    expect(title).to_have_text("This logbook is kept behind a password")
    axe(page)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Open the logbook").click()
    expect(title).to_contain_text("NB-02")
    page.get_by_role("button", name="log out").click()
    expect(page.get_by_label("Password")).to_be_visible()
    page.goto("/runs")
    expect(page.get_by_label("Password")).to_be_visible()
