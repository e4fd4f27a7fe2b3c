"""Every page by axe: WCAG 2.2 A and AA and its best practices, narrow to wide, in light and in dark."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.pages.chromium import Chromium, on_sqlite
from tests.pages.outside import to_look_at

if TYPE_CHECKING:
    from playwright.sync_api import Page

WIDTHS = (320, 768, 1280)
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
# How the daily run looks at each page, in turn; the full one, at every width in both.
SOME = ((320, "dark"), (1280, "light"), (768, "dark"), (320, "light"))
PAGES = [(who, way.address) for who, way in to_look_at()]


@pytest.mark.parametrize("share", range(4))
@on_sqlite
def test_axe_finds_nothing_on_any_page(chromium: Chromium, share: int, *, deep: bool) -> None:
    found = []
    windows: dict[str, Page] = {}
    for at, (who, address) in enumerate(PAGES[share::4]):
        page = windows.get(who) or chromium.page(who)
        windows[who] = page
        page.goto(address)
        for width in WIDTHS:
            for scheme in SCHEMES:
                if not deep and (width, scheme) != SOME[at % len(SOME)]:
                    continue
                page.set_viewport_size({"width": width, "height": 900})
                page.emulate_media(color_scheme=scheme)
                for violation in Axe().run(page).response["violations"]:
                    where = [node["target"] for node in violation["nodes"]][:3]
                    found.append(f"{address} {width} {scheme}: {violation['id']} {where}")
                wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
                if wide > 0:
                    found.append(f"{address} {width} {scheme}: {wide} px too wide")
    assert found == []


@on_sqlite
def test_axe_would_find_something(chromium: Chromium) -> None:
    page = chromium.page()
    page.goto("/own")
    page.evaluate("document.querySelector('main').append(document.createElement('input'))")
    assert [one["id"] for one in Axe().run(page).response["violations"]] == ["label"]
