"""A real browser on the demo's pages, with or without scripts, in which somebody is logged in."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import pytest
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import sync_playwright

from fleet.pages.guard import SESSION
from tests.machine import BROWSER

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, ConsoleMessage, Page

    from tests.pages.browsing import Pages

# As root, and in containers, its own sandbox does not start.
ARGUMENTS = ["--no-sandbox", "--disable-gpu"]
# The browser says this of every answer that is not 200, such as a refusal shown as a page.
ANSWER_NOT_200 = "Failed to load resource"


@dataclass
class Chromium:
    """Opens pages; whatever a script throws or the policy of the pages forbids is kept in ``faults``."""

    pages: Pages
    browser: Browser
    stack: ExitStack
    faults: list[str] = field(default_factory=list)

    @property
    def root(self) -> str:
        """Where the pages are served."""
        return f"http://127.0.0.1:{self.pages.port}"

    def page(
        self,
        who: str = "keeper",
        *,
        scripts: bool = True,
        width: int = 1280,
        height: int = 900,
        scheme: Literal["light", "dark"] = "light",
    ) -> Page:
        """A fresh window in which such a visitor is logged in; ``page.goto("/counter")`` goes there."""
        context = self.browser.new_context(
            base_url=self.root,
            java_script_enabled=scripts,
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            reduced_motion="reduce",
        )
        self.stack.callback(context.close)
        if who != "nobody":
            token = self.pages.tokens[who]
            context.add_cookies(
                [
                    {
                        "name": SESSION,
                        "value": token,
                        "url": f"https://127.0.0.1:{self.pages.port}",
                        "secure": True,
                        "httpOnly": True,
                        "sameSite": "Lax",
                    }
                ]
            )
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on("console", self._hear)
        return page

    def _hear(self, message: ConsoleMessage) -> None:
        if message.type == "error" and ANSWER_NOT_200 not in message.text:
            self.faults.append(message.text)


@pytest.fixture(scope="module")
def chromium_browser() -> Iterator[Browser]:
    """One browser for a module; where there is none, or none starts, its tests are skipped and named."""
    if not BROWSER.exists():
        pytest.skip(f"needs a browser: {BROWSER} (Debian's package chromium)")
    with sync_playwright() as playwright:
        try:
            browser = playwright.chromium.launch(executable_path=BROWSER, args=ARGUMENTS)
        except PlaywrightError as error:
            pytest.skip(f"needs a browser, and {BROWSER} does not start here: {str(error).splitlines()[0]}")
        yield browser
        browser.close()


@pytest.fixture
def chromium(chromium_browser: Browser, demo: Pages) -> Iterator[Chromium]:
    """The demo's pages in the browser. A test fails when a script threw or broke the policy of the pages."""
    with ExitStack() as stack:
        made = Chromium(demo, chromium_browser, stack)
        yield made
    assert made.faults == []


# For tests in which the database makes no difference: ``@on_sqlite``.
on_sqlite = pytest.mark.parametrize("engine_name", ["sqlite"], indirect=True)
