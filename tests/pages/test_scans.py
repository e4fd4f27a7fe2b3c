"""A scan on any page, wherever the focus is: it changes nothing, presses nothing, and is looked up."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from tests.pages.chromium import Chromium, on_sqlite
from tests.pages.outside import to_look_at
from tests.pages.scanner import scan, scan_and_see
from tests.pages.test_routes import everything

if TYPE_CHECKING:
    from playwright.sync_api import Page

IN, OUT = "201136", "201415"
SHARES = 4
# The daily run looks at every so many pages of each share.
EVERY = 4
# The door is for whoever is not logged in: there a badge goes into its field.
PAGES = [way.address for who, way in to_look_at() if who != "nobody"]
# Where the focus can be when somebody scans.
FOCUSED = (
    "main button:not(.never)",
    "main input:not([type=hidden])",
    "main textarea",
    "main select",
    "main a",
)


def where(page: Page) -> str:
    return urlsplit(page.url).path


@pytest.mark.parametrize("share", range(SHARES))
@on_sqlite
def test_a_scan_on_any_page_leads_to_what_it_found_and_changes_nothing(
    chromium: Chromium, share: int, *, deep: bool
) -> None:
    """Some pages with the focus on one thing of it in turn; the full run, every page and each thing."""
    page = chromium.page("keeper")
    page.goto("/counter")
    before, wrong = everything(chromium.pages.room), []
    for at, address in enumerate(PAGES[share::SHARES]):
        if not deep and at % EVERY:
            continue
        page.goto(address)
        if not page.query_selector("form.scan"):
            continue
        found = [one for one in FOCUSED if (it := page.query_selector(one)) and it.is_visible()]
        for focused in found if deep else [found[at % len(found)]] if found else ["body"]:
            page.goto(address)
            wrong += _fire(page, address, focused)
    assert wrong == []
    assert changed(chromium, before) == []


def _fire(page: Page, address: str, focused: str) -> list[str]:
    """Scan with the focus there; what was wrong with what came of it."""
    target = page.query_selector(focused)
    assert target
    if target.is_enabled():
        target.focus()
    if target.get_attribute("data-takes-scan") is not None:
        scan(page, IN)
        kept = IN in target.input_value() and where(page) == urlsplit(address).path
        return [] if kept else [f"{address}: {focused} did not keep what was scanned"]
    scan_and_see(page, IN, end="Tab" if "button" in focused else "Enter")
    found = where(page) == "/counter" and f"item={IN}" in page.url
    return [] if found else [f"{address}: from {focused} it led to {page.url}"]


def changed(chromium: Chromium, before: dict[str, list[tuple[object, ...]]]) -> list[str]:
    """The tables that are not as before; a session is kept awake by every page."""
    after = everything(chromium.pages.room)
    return [name for name, rows in before.items() if after[name] != rows and name != "session"]


@on_sqlite
def test_what_fell_into_a_field_is_taken_out_again(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto("/items")
    page.fill("#about", "WSQ")
    page.focus("#about")
    page.route("**/scan?*", lambda route: route.abort())
    scan(page, IN)
    page.wait_for_selector(".unreached")
    assert page.input_value("#about") == "WSQ"
    assert "cannot be reached" in page.inner_text(".unreached")


@on_sqlite
def test_slow_keys_are_somebody_typing(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto("/items")
    page.focus("#about")
    scan(page, IN, gap=0.080)
    page.wait_for_url("**/items?*")
    assert f"about={IN}" in page.url


IN_A_DIALOG = """() => {
    const box = document.createElement("dialog");
    const form = document.querySelector("main form");
    form.replaceWith(box);
    box.append(form);
    box.showModal();
}"""


@on_sqlite
@pytest.mark.parametrize(
    "focused", ["dialog button.main", "dialog input:not([type=hidden])", "dialog select"]
)
@pytest.mark.parametrize("end", ["Enter", "Tab"])
def test_in_an_open_dialog_a_scan_presses_nothing(chromium: Chromium, focused: str, end: str) -> None:
    page = chromium.page("keeper")
    page.goto(f"/back?item={OUT}")
    before = everything(chromium.pages.room)
    page.evaluate(IN_A_DIALOG)
    page.focus(focused)
    scan_and_see(page, IN, end=end)
    assert where(page) == "/counter"
    assert changed(chromium, before) == []


@on_sqlite
def test_without_the_scan_rule_the_same_keys_would_press_the_button(chromium: Chromium) -> None:
    """The tests above can fail: slower, the Enter presses what has the focus."""
    page = chromium.page("keeper")
    page.goto(f"/back?item={OUT}")
    before = everything(chromium.pages.room)
    page.focus("button.main")
    scan(page, IN, gap=0.080)
    page.wait_for_url("**/back/done?*")
    assert "loan_line" in changed(chromium, before)


@on_sqlite
@pytest.mark.parametrize("scripts", [True, False])
def test_the_enter_of_a_scan_sends_no_form_even_without_scripts(chromium: Chromium, *, scripts: bool) -> None:
    page = chromium.page("keeper", scripts=scripts)
    page.goto(f"/back?item={OUT}")
    before = everything(chromium.pages.room)
    page.focus("main input:not([type=hidden])")
    scan(page, IN, gap=0.080)
    page.wait_for_timeout(200)
    assert where(page) == "/back"
    assert changed(chromium, before) == []
