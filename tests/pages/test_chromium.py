"""The browser of the tests: logged in, and deaf to nothing."""

import pytest

from tests.pages.chromium import Chromium, on_sqlite


@on_sqlite
@pytest.mark.parametrize("scripts", [True, False])
def test_somebody_is_logged_in(chromium: Chromium, *, scripts: bool) -> None:
    page = chromium.page("planner", scripts=scripts, width=320, scheme="dark")
    answer = page.goto("/own")
    assert answer
    assert answer.status == 200
    assert "/own" in page.url
    assert page.inner_text("header .who a").startswith(page.inner_text("h1"))


@on_sqlite
def test_what_the_policy_forbids_is_heard(chromium: Chromium) -> None:
    page = chromium.page()
    page.goto("/own")
    page.evaluate("document.body.setAttribute('style', 'color: red')")
    page.evaluate("document.head.append(Object.assign(document.createElement('script'), {text: 'x = 1'}))")
    page.wait_for_timeout(100)
    assert any("Content Security Policy" in fault for fault in chromium.faults)
    chromium.faults.clear()
