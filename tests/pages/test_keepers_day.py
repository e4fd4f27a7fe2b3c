"""A keeper's day in a real browser: by scanner, by keyboard alone, and without scripts."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest
from sqlalchemy import select

from fleet import records
from tests.pages.chromium import Chromium, on_sqlite
from tests.pages.scanner import scan, scan_and_see

if TYPE_CHECKING:
    from playwright.sync_api import Page

WRENCH, PUMP, HOSE = "201136", "201388", "201683"  # Reserved for NB-142, and in.
OUT, OLD_HOSE = "201415", "201642"


def where(page: Page) -> str:
    return urlsplit(page.url).path


def look_up(page: Page, code: str, *, scripts: bool) -> None:
    """Scan; without scripts the field at the top has the focus, and Enter looks it up."""
    if scripts:
        scan_and_see(page, code)
    else:
        page.wait_for_selector("#scan:focus")
        with page.expect_navigation():
            scan(page, code)


def is_out(chromium: Chromium, tag: str) -> bool:
    with chromium.pages.room.look() as db:
        line = (
            select(records.LoanLineRow.id)
            .join(records.ItemRow, records.ItemRow.id == records.LoanLineRow.item_id)
            .where(records.ItemRow.tag == tag, records.LoanLineRow.returned_at.is_(None))
        )
        return db.execute(line).first() is not None


@pytest.mark.parametrize("scripts", [True, False])
def test_a_kit_goes_out_and_comes_back(chromium: Chromium, *, scripts: bool) -> None:
    page = chromium.page("keeper", scripts=scripts)
    page.goto("/")
    for code in (WRENCH, "N44", PUMP, HOSE, PUMP):
        look_up(page, code, scripts=scripts)
        assert page.inner_text("h1") == "MAY GO OUT"
    assert page.inner_text("button.main") == "Hand out 3 items"
    page.click("button.main")
    page.wait_for_selector("h1:has-text('HANDED OUT')")
    assert is_out(chromium, WRENCH)
    # A return takes two actions: the scan, and the button.
    look_up(page, WRENCH, scripts=scripts)
    assert page.inner_text("h1") == "Take back 20113-6"
    page.click("button.main")
    page.wait_for_selector("h1:text-is('BACK')")
    assert not is_out(chromium, WRENCH)
    page.click("button:has-text('Undo')")
    page.wait_for_selector("h1:text-is('OUT AGAIN')")
    assert is_out(chromium, WRENCH)


@on_sqlite
@pytest.mark.parametrize("scripts", [True, False])
def test_a_return_by_keyboard_alone(chromium: Chromium, *, scripts: bool) -> None:
    """Whoever has no scanner types the figures; from the verdict one Tab leads to the button."""
    page = chromium.page("keeper", scripts=scripts)
    page.goto("/")
    page.wait_for_selector("#scan:focus")
    page.keyboard.type("20141-5", delay=60)
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('Take back')")
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches('button.main')"):
            break
    page.keyboard.press("Space")
    page.wait_for_selector("h1:text-is('BACK')")
    assert not is_out(chromium, OUT)


@on_sqlite
def test_with_the_script_the_button_is_one_tab_away(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto("/")
    scan_and_see(page, OUT)
    assert page.evaluate("document.activeElement.tagName") == "H1"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.matches('button.main')")


@on_sqlite
def test_the_verdict_can_be_read_at_two_metres(chromium: Chromium) -> None:
    for width in (320, 768, 1280):
        page = chromium.page("keeper", width=width)
        for tag, word in ((WRENCH, "MAY GO OUT"), (OLD_HOSE, "STAYS IN")):
            page.goto(f"/counter?item={tag}")
            assert page.inner_text(".call h1") == word
            assert (
                page.evaluate("parseFloat(getComputedStyle(document.querySelector('.call h1')).fontSize)")
                >= 48
            )
            box = page.locator(".call").bounding_box()
            assert box
            assert box["height"] >= 400
            assert page.locator(".call svg").is_visible()


@on_sqlite
def test_every_button_of_the_counter_is_big_enough_for_gloves(chromium: Chromium) -> None:
    page = chromium.page("keeper", width=768)
    for address in (
        f"/counter?to=N44&item={WRENCH}&item={OLD_HOSE}",
        f"/back?item={OUT}",
        f"/counter?to=N44&item={WRENCH}",
    ):
        page.goto(address)
        for one in page.locator("main button:not(.never), main a.button").all():
            box = one.bounding_box()
            assert box
            assert box["height"] >= 44
        for one in page.locator("main button.main").all():
            box = one.bounding_box()
            assert box
            assert box["height"] >= 76


@on_sqlite
def test_a_verdict_sounds_and_can_be_muted(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto("/counter")
    heard = "document.documentElement.dataset.sounded"
    scan_and_see(page, WRENCH)
    assert page.evaluate(heard) == "go"
    scan_and_see(page, OLD_HOSE)
    assert page.evaluate(heard) == "stay"
    page.click("button.mute")
    assert page.inner_text("button.mute") == "Sound off"
    scan_and_see(page, PUMP)
    assert page.evaluate(heard) == "nothing"
    page.goto("/counter")
    assert page.inner_text("button.mute") == "Sound off"


@on_sqlite
def test_what_was_found_is_said_aloud_and_the_way_back_works(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto("/items")
    scan_and_see(page, WRENCH)
    assert "MAY GO OUT" in page.inner_text(".heard")
    assert page.title().startswith("May go out: Counter")
    scan_and_see(page, OLD_HOSE)
    assert page.title().startswith("Stays in: Counter")
    page.go_back()
    page.wait_for_selector("h1:has-text('MAY GO OUT')")
    page.go_back()
    page.wait_for_selector("h1:has-text('Register'), h1:has-text('Items')")
    assert where(page) == "/items"


@on_sqlite
def test_a_refusal_takes_the_focus(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto(f"/back?item={OUT}")
    page.select_option(f"#condition-{OUT}", "damaged")
    page.click("button.main")
    page.wait_for_selector("#error")
    assert page.evaluate("document.activeElement.id") == "error"
    assert page.title().startswith("Error: ")
    assert page.input_value(f"#condition-{OUT}") == "damaged"
    assert is_out(chromium, OUT)


@on_sqlite
def test_nothing_that_was_typed_is_lost_when_nobody_answers(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto(f"/back?item={OUT}")
    page.fill(f"#note-{OUT}", "Rattles")
    page.route("**/back", lambda route: route.abort())
    page.click("button.main")
    page.wait_for_selector(".unreached")
    assert page.input_value(f"#note-{OUT}") == "Rattles"
    assert page.is_enabled("button.main")
    page.unroute("**/back")
    page.click("button.main")
    page.wait_for_selector("h1:text-is('BACK')")
    assert page.query_selector(".unreached") is None
    assert not is_out(chromium, OUT)
    chromium.faults.clear()


@on_sqlite
def test_another_item_of_the_kit_keeps_what_was_typed(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto(f"/back?item={OUT}")
    page.fill(f"#note-{OUT}", "Rattles")
    page.select_option(f"#condition-{OUT}", "needs attention")
    scan_and_see(page, "201101")
    assert page.inner_text("h1") == "Take back 2 items"
    assert page.input_value(f"#note-{OUT}") == "Rattles"
    assert page.input_value(f"#condition-{OUT}") == "needs attention"


@on_sqlite
def test_a_form_is_sent_once_however_often_it_is_pressed(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto(f"/back?item={OUT}")
    sent: list[str] = []
    page.on("request", lambda one: sent.append(one.url) if one.method == "POST" else None)
    page.evaluate(
        "() => { const b = document.querySelector('button.main'); b.click(); b.click(); b.click(); }"
    )
    page.wait_for_selector("h1:text-is('BACK')")
    assert len(sent) == 1


@on_sqlite
def test_a_log_in_that_ended_leads_to_the_door(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto("/counter")
    page.context.clear_cookies()
    scan(page, WRENCH)
    page.wait_for_url("**/in?next=**")
    assert WRENCH in page.url


@on_sqlite
def test_no_camera_is_offered_where_the_browser_reads_no_codes(chromium: Chromium) -> None:
    page = chromium.page("keeper")
    page.goto("/counter")
    assert page.evaluate("'BarcodeDetector' in window") == (page.query_selector("button.camera") is not None)
