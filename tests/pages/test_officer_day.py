"""A safety officer's day in a real browser: with scripts, without, and with the keyboard alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from tests.pages.busy import make_busy
from tests.pages.chromium import Chromium, on_sqlite

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

# Milliseconds between keys: what comes faster than a hand is taken for a scanner.
BY_HAND = 60
WHY = "The error is inside what the joint allows"


@pytest.mark.parametrize("scripts", [True, False])
@on_sqlite
def test_from_the_start_to_an_empty_desk(chromium: Chromium, *, scripts: bool) -> None:
    busy = make_busy(chromium.pages.room)
    page = chromium.page("officer", scripts=scripts)
    page.goto("/")
    page.get_by_role("button", name="I have read it").click()
    expect(page.get_by_text("It is noted that you read it.")).to_be_visible()
    page.get_by_label("Why it will arrive now").fill("The mailbox was made this morning")
    page.get_by_role("button", name="Send it again to Ines Tollivar").click()
    expect(page.get_by_text("Copy 2 is written to")).to_be_visible()
    page.goto("/")
    page.get_by_role("link", name="joints of impact reviews to decide").click()
    page.get_by_role("link", name=f"Review {busy.review}").click()
    for box in page.get_by_role("checkbox").all():
        box.check()
    page.get_by_label("What is decided").select_option("accept")
    page.get_by_label("Why, for each of these joints alike").fill(WHY)
    page.get_by_role("button", name="Decide the ticked lines in my name").click()
    expect(page.get_by_text("All are decided: close it now.")).to_be_visible()
    page.get_by_label("What the review came to").fill("Every joint stays as it is")
    page.get_by_role("button", name="Close it in my name").click()
    expect(page.get_by_text(f"Review {busy.review} is closed.")).to_be_visible()
    page.goto("/")
    page.get_by_role("link", name="items are out although").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Overdue at North Basin")
    page.get_by_label("Where").select_option("out")
    page.get_by_role("button", name="Show").click()
    page.wait_for_url("**where=out**")
    page.goto("/")
    expect(page.locator("main")).to_contain_text("dead letter")
    assert "impact review" not in page.locator("ul.needs").inner_text()


@on_sqlite
def test_with_the_keyboard_alone(chromium: Chromium) -> None:
    """Tab, arrows, blank and Enter; nothing is pressed with a pointer."""
    busy = make_busy(chromium.pages.room)
    page = chromium.page("officer")
    page.goto("/")
    reach(page, page.get_by_role("link", name="joints of impact reviews to decide"))
    page.keyboard.press("Enter")
    page.wait_for_url("**/impact?*")
    reach(page, page.get_by_role("link", name=f"Review {busy.review}"))
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/impact/{busy.review}")
    reach(page, page.get_by_role("checkbox").first)
    page.keyboard.press(" ")
    reach(page, page.get_by_label("What is decided"))
    page.keyboard.type("accept", delay=BY_HAND)
    reach(page, page.get_by_label("Why, for each of these joints alike"))
    page.keyboard.type(WHY, delay=BY_HAND)
    reach(page, page.get_by_role("button", name="Decide the ticked lines in my name"))
    page.keyboard.press("Enter")
    expect(page.get_by_text("Line 1: accept.")).to_be_visible()


@on_sqlite
def test_enter_in_a_field_decides_nothing(chromium: Chromium) -> None:
    """As a scanner sends it after every code."""
    busy = make_busy(chromium.pages.room)
    for scripts in (True, False):
        page = chromium.page("officer", scripts=scripts)
        page.goto("/review/intervals")
        page.locator("select").first.press("Enter")
        page.goto("/people?badge=N22")
        page.get_by_label("Why it ends").press_sequentially("Left us in May last", delay=BY_HAND)
        page.get_by_label("Why it ends").press("Enter")
        page.wait_for_timeout(300)
        assert page.url.endswith("/people?badge=N22")
        page.goto(f"/impact/{busy.review}")
        expect(page.get_by_role("checkbox").first).not_to_be_checked()


@on_sqlite
def test_it_prints_without_what_is_only_for_the_screen(chromium: Chromium) -> None:
    make_busy(chromium.pages.room)
    page = chromium.page("officer")
    page.goto("/review")
    page.emulate_media(media="print")
    expect(page.get_by_role("link", name="Concession").first).not_to_be_visible()
    expect(page.locator("nav").first).not_to_be_visible()
    expect(page.get_by_text("nothing yet").first).to_be_visible()


def reach(page: Page, wanted: Locator) -> None:
    """Go on with Tab until it has the focus, which must be seen."""
    for _ in range(120):
        if wanted.evaluate("one => one === document.activeElement"):
            assert wanted.evaluate("one => getComputedStyle(one).outlineStyle") != "none"
            return
        page.keyboard.press("Tab")
    raise AssertionError("It cannot be reached with Tab.")
