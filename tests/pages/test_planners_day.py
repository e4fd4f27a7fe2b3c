"""A planner's day in a real browser: with scripts, without, and by keyboard alone."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from fleet.lists.plans import plans
from fleet.lists.reservations import reservations
from tests.pages.chromium import Chromium, on_sqlite
from tests.shop import NOON

if TYPE_CHECKING:
    from playwright.sync_api import Page

SHEET = (
    "Job,Joint,Bolts,Thread,Nut series,Across flats,Target torque,Loosening factor,Loosening reason\n"
    'NB-900,E-204 channel,28,1 3/4-8 UN,heavy,2 3/4 in,"2,700 lbf·ft",1.4,"Opened last year, greased"\n'
)


def where(page: Page) -> str:
    return urlsplit(page.url).path


def said(page: Page, words: str) -> None:
    """Wait for what the page says above everything."""
    page.wait_for_selector(f".said:has-text('{words}')")


def kept(chromium: Chromium, job: str) -> int:
    with chromium.pages.room.look() as db:
        return len(reservations(db, since=NOON, site="NORTH", job=job))


@pytest.mark.parametrize("scripts", [True, False])
def test_a_job_is_planned_from_the_sheet_to_the_kit(chromium: Chromium, *, scripts: bool) -> None:
    page = chromium.page("planner", scripts=scripts)
    page.goto("/plan")
    page.get_by_role("link", name="Add a job").click()
    page.get_by_label("Code").fill("NB-900")
    page.get_by_label("Name").fill("Exchanger again")
    page.get_by_label("Start").fill("20 jul")
    page.get_by_label("End").fill("22 jul")
    page.get_by_role("button", name="Save the job").click()
    said(page, "NB-900 is on record.")
    # Its joint comes in by a sheet: tried first.
    page.get_by_role("link", name="take in a sheet of joints").click()
    page.get_by_label("Files").set_input_files(
        {"name": "joints.csv", "mimeType": "text/csv", "buffer": SHEET.encode()}
    )
    page.get_by_role("button", name="Try them").click()
    page.get_by_role("button", name="Take them in").click()
    said(page, "Saved: 1 new, 0 changed.")
    # A kit is found and kept.
    page.goto("/job?job=NB-900")
    assert "No wrench is kept for it." in page.inner_text("main")
    page.get_by_role("link", name="Find a kit for E-204 channel").click()
    page.get_by_role("button", name="Reserve number 1").click()
    said(page, "items are reserved for E-204 channel of NB-900")
    assert "May be used, margin" in page.inner_text("main")
    assert kept(chromium, "NB-900") >= 4
    # One piece gives way to another.
    page.get_by_role("link", name="pump").first.click()
    form = page.locator("form[action='/reserved/swap']")
    form.get_by_label("Why").fill("It drips at the couplers")
    form.get_by_role("button", name="Swap it").click()
    said(page, "in place of")
    with page.expect_download() as paper:
        page.goto("/job?job=NB-900")
        page.get_by_role("link", name="Calendar file").click()
    assert paper.value.suggested_filename == "job-NB-900.ics"


@on_sqlite
@pytest.mark.parametrize("scripts", [True, False])
def test_a_period_is_planned_while_one_waits(chromium: Chromium, *, scripts: bool) -> None:
    page = chromium.page("planner", scripts=scripts)
    page.goto("/shutdowns")
    page.get_by_label("First day").fill("1 jun")
    page.get_by_label("Last day").fill("30 jun")
    page.get_by_label("Search for at most").select_option("15")
    page.get_by_label("Start times tried").select_option("24")
    page.get_by_role("button", name="Search").click()
    if scripts:
        page.wait_for_url("**/shutdowns/1", timeout=60_000)
    else:
        for _ in range(60):
            if where(page) == "/shutdowns/1":
                break
            page.wait_for_timeout(500)
            page.get_by_role("link", name="Load again").click()
    assert "Nothing of it is reserved yet." in page.inner_text("main")
    before = kept(chromium, "NB-146")
    page.get_by_role("button", name="Accept it").click()
    said(page, "Plan 1 is accepted")
    assert kept(chromium, "NB-146") > before
    with chromium.pages.room.look() as db:
        assert [one.state for one in plans(db)] == ["accepted"]


def tab_to(page: Page, name: str) -> None:
    """Press Tab until the thing of this name has the focus; nobody may need a mouse."""
    for _ in range(120):
        page.keyboard.press("Tab")
        found = page.evaluate(
            "() => { const at = document.activeElement; const of = at.labels?.[0]; "
            "return (at.getAttribute('aria-label') || of?.innerText || at.innerText || '').trim() }"
        )
        if found == name:
            return
    raise AssertionError(f"{name} cannot be reached by Tab.")


@on_sqlite
def test_items_are_reserved_by_keyboard_alone(chromium: Chromium) -> None:
    page = chromium.page("planner")
    page.goto("/job?job=NB-143")
    tab_to(page, "Reserve items")
    page.keyboard.press("Enter")
    page.wait_for_url("**/reserved/new?**")
    tab_to(page, "Tags of the items")
    page.keyboard.type("20141-5", delay=60)
    tab_to(page, "From")
    page.keyboard.type("21 may", delay=60)
    tab_to(page, "To")
    page.keyboard.type("22 may", delay=60)
    tab_to(page, "Look first")
    page.keyboard.press("Enter")
    page.wait_for_selector("h2:has-text('What would come of it')")
    before = kept(chromium, "NB-143")
    tab_to(page, "Reserve it")
    page.keyboard.press("Enter")
    said(page, "1 item is reserved for NB-143, 21 May 2026 to 22 May 2026.")
    assert kept(chromium, "NB-143") == before + 1


@on_sqlite
def test_on_a_telephone_the_weeks_are_a_table_to_sort(chromium: Chromium) -> None:
    page = chromium.page("planner", width=320, scripts=False)
    page.goto("/weeks?kind=wrench")
    assert not page.locator("svg").is_visible()
    page.get_by_role("link", name="By from").click()
    assert page.locator("th[aria-sort=ascending]").count() == 1
    assert page.evaluate("document.documentElement.scrollWidth") == 320
