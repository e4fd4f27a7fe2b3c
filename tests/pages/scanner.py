"""A scanner as the browser sees it: keys with set gaps, however busy the machine is, and Enter or Tab."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import CDPSession, Page

# Scanners need 7 to 16 ms from key to key.
QUICK = 0.010
_ENDS = {"Enter": ("\r", 13), "Tab": ("", 9)}


def scan(page: Page, code: str, *, gap: float = QUICK, end: str = "Enter") -> None:
    """Type a code into the page as a scanner does, and end it.

    The keys bear times of their own: on a busy machine they would come later than a scanner sends them.
    """
    line = page.context.new_cdp_session(page)
    at = time.time()
    for sign in code:
        _press(line, at, key=sign, text=sign)
        at += gap
    text, number = _ENDS[end]
    _press(line, at, key=end, text=text, code=end, windowsVirtualKeyCode=number)
    line.detach()


def scan_and_see(page: Page, code: str, *, gap: float = QUICK, end: str = "Enter") -> None:
    """As ``scan``, and wait until what was found is shown."""
    page.evaluate("document.querySelector('main').dataset.seen = 'yes'")
    scan(page, code, gap=gap, end=end)
    page.wait_for_selector("main:not([data-seen])")


def _press(line: CDPSession, at: float, *, key: str, text: str, **more: object) -> None:
    said = {"key": key, "timestamp": at, **more}
    line.send("Input.dispatchKeyEvent", {"type": "keyDown", **said, **({"text": text} if text else {})})
    line.send("Input.dispatchKeyEvent", {"type": "keyUp", **said})
