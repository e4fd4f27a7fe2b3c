"""Pictures of every page of the demo, to be looked at: ``python -m tests.pages.pictures FOLDER [WORD ...]``.

With words, only addresses that have one of them. Three widths in light, the narrow one also in dark, and as
printed. A page of 640 px is what a window of 1,280 px shows at 200 %.
"""

from __future__ import annotations

import re
import sys
from contextlib import ExitStack
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.machine import BROWSER
from tests.pages.chromium import ARGUMENTS, Chromium
from tests.pages.outside import demo_served, to_look_at


def main(folder: Path, words: list[str]) -> None:
    """Take the pictures."""
    folder.mkdir(parents=True, exist_ok=True)
    with demo_served() as pages, sync_playwright() as playwright, ExitStack() as stack:
        browser = playwright.chromium.launch(executable_path=BROWSER, args=ARGUMENTS)
        chromium = Chromium(pages, browser, stack)
        for who, way in to_look_at():
            if words and not any(word in way.address for word in words):
                continue
            page = chromium.page(who)
            page.goto(way.address)
            stem = re.sub(r"[^a-z0-9]+", "-", way.address.lower()).strip("-")[:60] or "start"
            for width, scheme in ((1280, "light"), (640, "light"), (320, "light"), (320, "dark")):
                page.set_viewport_size({"width": width, "height": 900})
                page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
                page.screenshot(path=folder / f"{stem}-{width}-{scheme}.png", full_page=True)
            page.set_viewport_size({"width": 1280, "height": 900})
            page.emulate_media(media="print")
            page.screenshot(path=folder / f"{stem}-print.png", full_page=True)
            page.close()
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
