"""What was scanned, looked up: where it leads, in which order, and what is not found."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import pytest

from tests.pages.chromium import on_sqlite
from tests.pages.filling import KIT, OUT, PUMP, WRENCH, verdict

if TYPE_CHECKING:
    from tests.pages.browsing import Pages


@on_sqlite
@pytest.mark.parametrize(
    ("code", "way"),
    [
        (WRENCH, f"/counter?item={WRENCH}"),
        (" 20113-6 ", f"/counter?item={WRENCH}"),
        ('éà&&"-', f"/counter?item={WRENCH}"),  # The same keys under a French layout.
        (OUT, f"/back?item={OUT}"),
        ("n44", "/counter?to=N44"),
        ("lorna  beckhold", "/counter?to=N44"),
        ("nb-142", "/counter?job=NB-142"),
        ("", "/counter"),
    ],
)
def test_a_scan_leads_to_what_it_found(demo: Pages, code: str, way: str) -> None:
    page = demo.as_("keeper").get(f"/scan?{urlencode({'code': code})}")
    assert (page.status, page.headers.get("location")) == (303, way), page.text


def test_a_serial_number_is_found_whatever_its_case(demo: Pages) -> None:
    page = demo.as_("keeper").get("/scan?code=h23-2234")
    assert page.headers["location"] == "/back?item=201626"


def test_item_and_badge_come_in_any_order_and_twice_changes_nothing(demo: Pages) -> None:
    kim, ends = demo.as_("keeper"), []
    for codes in ((WRENCH, "N44", PUMP), ("N44", WRENCH, PUMP), ("N44", "N44", WRENCH, WRENCH, PUMP, WRENCH)):
        address = "/counter"
        for code in codes:
            page = kim.get(address)
            form = page.body.partition('class="scan"')[2].partition("</form>")[0]
            said = re.findall(r'type="hidden" name="([^"]*)" value="([^"]*)"', form)
            answer = kim.get(f"/scan?{urlencode([*said, ('code', code)])}")
            address = answer.headers["location"]
        ends.append(address)
    assert ends == [f"/counter?to=N44&item={WRENCH}&item={PUMP}"] * 3


def test_what_is_out_comes_back_and_the_rest_waits(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(f"/scan?code={OUT}&at=/counter&to=N44&item={WRENCH}")
    assert page.headers["location"] == f"/back?to=N44&item={OUT}&rest={WRENCH}"
    assert "Go on with what is going out (1)" in kim.follow(page).text
    page = kim.get(f"/scan?code={PUMP}&at=/back&to=N44&item={OUT}&rest={WRENCH}")
    assert page.headers["location"] == f"/counter?to=N44&item={WRENCH}&item={PUMP}&rest={OUT}"
    assert "Go on with what is coming back (1)" in kim.follow(page).text


@on_sqlite
def test_what_is_not_found_is_said_with_a_search(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(f"/scan?{urlencode({'code': '<b>{{7*7}}', 'to': 'N44', 'item': WRENCH})}")
    assert page.status == 404
    assert verdict(page) == "Nothing found for &lt;b&gt;{{7*7}}"
    assert 'action="/items"' in page.body
    assert 'name="about" value="&lt;b&gt;{{7*7}}"' in page.body
    assert f'href="/counter?to=N44&amp;item={WRENCH}"' in page.body
    assert "20113-7" in kim.get("/scan?code=20113-7").text  # A figure misread.
    assert kim.get("/scan?code=" + "9" * 5000).status == 404


@on_sqlite
def test_more_than_goes_over_a_counter_is_refused(demo: Pages) -> None:
    many = "&".join(f"item={number}" for number in range(60))
    page = demo.as_("keeper").get(f"/scan?code={WRENCH}&{many}")
    assert page.status == 409
    assert "60 items are as many as go over the counter at once." in page.text


def test_another_site_has_nothing_of_ours(demo: Pages) -> None:
    east = demo.as_("elsewhere")
    assert east.get(f"/scan?code={WRENCH}").status == 404
    page = east.get(KIT)
    assert "There is no item &#39;201136&#39; at a site of yours" in page.body
    assert "wrench" not in page.text
    assert east.get("/counter/loans/1").status == 404
