"""Forms of pages, sent as a browser without scripts would send them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from sqlalchemy import func, select

from fleet.records.base import rows_of

if TYPE_CHECKING:
    from fleet import records
    from tests.pages.browsing import Browser, Page, Pages

# Reserved for NB-142: wrench, pump, hose; a hose past its life; a pump that is out for NB-141.
WRENCH, PUMP, HOSE = "201136", "201388", "201683"
OLD_HOSE, OUT = "201642", "201415"
KIT = f"/counter?to=N44&item={WRENCH}&item={PUMP}&item={HOSE}"


def verdict(page: Page) -> str:
    found = re.search(r'<h1 tabindex="-1">([^<]*)</h1>', page.body)
    assert found, page.text
    return found[1]


def filled_in(page: Page, action: str) -> dict[str, tuple[str, ...]]:
    """What the form of a page would send, as it is drawn."""
    form = page.body.partition(f'<form method="post" action="{action}"')[2].partition("</form>")[0]
    assert form, page.text
    found: dict[str, tuple[str, ...]] = {}
    for field in re.findall(r"<input [^>]*>", form):
        said = dict(re.findall(r'(name|value)="([^"]*)"', field))
        found[said["name"]] = (*found.get(said["name"], ()), said.get("value", ""))
    for name, options in re.findall(r'<select [^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected>', options)
        found[name] = (chosen[1] if chosen else "",)
    return found


def send(browser: Browser, page: Page, action: str, **changed: str | tuple[str, ...]) -> Page:
    return browser.ask("POST", action, {**filled_in(page, action), **changed})


def hand_out(browser: Browser, address: str, **changed: str | tuple[str, ...]) -> Page:
    return send(browser, browser.get(address), "/counter/issue", **changed)


def how_many(demo: Pages, entity: type[records.Base]) -> int:
    with demo.room.look() as db:
        return db.execute(select(func.count()).select_from(rows_of(entity))).scalar_one()
