"""The start: what needs each role, with how many and where to go; letters read and sent again from it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import event

from fleet.lists.ready_holds import ready_holds
from fleet.lists.sites import find_site
from fleet.records import AwayRow, HoldRow, InspectionRow, ReservationRow
from tests.pages.busy import HOSTILE, WRENCH, make_busy
from tests.shop import NOON, TODAY, Shop

if TYPE_CHECKING:
    from tests.pages.browsing import Pages


def needs(pages: Pages, who: str) -> str:
    page = pages.as_(who).get("/")
    assert page.status == 200
    return page.text


def test_an_officer_sees_at_once_what_is_to_be_decided(demo: Pages) -> None:
    make_busy(demo.room)
    text = needs(demo, "officer")
    for said in (
        "Letters to acknowledge (1)",
        "2 items are out although something on them is overdue since 7 May 2026",
        "1 certificate failed as found and is not decided",
        "joints of impact reviews to decide",
        "1 impact review to close",
        "1 concession is running since 13 May 2026",
        "1 proposed interval to take or decline",
        "1 letter was not delivered",
        "2 corrections and late entries this week",
        "Nothing waits of: item on hold out.",
    ):
        assert said in text
    assert "Keeper at" not in text


def test_each_role_sees_its_own_and_what_is_done_in_plain_words(demo: Pages) -> None:
    keeper, planner = needs(demo, "keeper"), needs(demo, "planner")
    assert "2 items are late back since 8 May 2026" in keeper
    assert "12 items come due within a week first 13 May 2026" in keeper
    assert "Nothing waits of: " in keeper
    assert "hold to release" in keeper
    assert "Safety officer at" not in keeper + planner
    assert "Nothing waits of: warning, reservation that ends soon, joint without a wrench." in planner


def test_whoever_has_every_role_elsewhere_sees_nothing_of_here(demo: Pages) -> None:
    make_busy(demo.room)
    text = needs(demo, "elsewhere")
    for role in ("Safety officer", "Keeper", "Planner"):
        assert f"{role} at East Quay" in text
    assert "North Basin" not in text
    assert "concession is running" not in text
    assert "not delivered" not in text


def test_without_a_role_it_says_what_to_do(demo: Pages) -> None:
    text = needs(demo, "administrator")
    assert "You have no role at any site yet. Roles are given on the page of people" in text


def test_every_way_from_the_start_leads_to_a_page(demo: Pages) -> None:
    make_busy(demo.room)
    for who in ("officer", "keeper", "planner"):
        browser = demo.as_(who)
        body = browser.get("/").body
        ways = {part.split('"')[0].replace("&amp;", "&") for part in body.split('href="')[1:]}
        for way in sorted(ways):
            if way.startswith(("/review", "/impact", "/concessions", "/day-book", "/letters", "/evidence")):
                assert browser.get(way).status == 200, way


def test_a_letter_is_acknowledged_from_the_list_and_gone_from_it(demo: Pages) -> None:
    busy = make_busy(demo.room)
    officer = demo.as_("officer")
    officer.get("/")
    page = officer.post(f"/letters/{busy.sent}/acknowledge", **{"from": "start"})
    after = officer.follow(page)
    assert "It is noted that you read it." in after.text
    assert "Letters to acknowledge" not in after.text
    assert "Acknowledged by Petra Vansell" in officer.get(f"/letters/{busy.sent}").text


def test_a_dead_letter_is_sent_again_from_the_list_with_a_reason(demo: Pages) -> None:
    busy = make_busy(demo.room)
    officer = demo.as_("officer")
    page = officer.get("/")
    assert "550 5.1.1 no such mailbox &lt;b&gt;{{7*7}}&lt;/b&gt;" in page.body
    refused = officer.post(f"/letters/{busy.dead}/resend", reason="again")
    assert refused.status == 409
    assert "in a sentence" in refused.text
    assert 'value="again"' in refused.body
    sent = officer.post(f"/letters/{busy.dead}/resend", reason="The mailbox was made this morning")
    assert "Copy 2 is written to ines.tollivar@north-basin.example" in officer.follow(sent).text
    assert "not delivered" not in officer.get("/").text


def test_a_planner_may_not_send_it_again_and_others_do_not_find_it(demo: Pages) -> None:
    busy = make_busy(demo.room)
    reason = "The mailbox was made this morning"
    for who, status in (("planner", 403), ("elsewhere", 404), ("administrator", 404)):
        browser = demo.as_(who)
        browser.get("/own")
        assert browser.post(f"/letters/{busy.dead}/resend", reason=reason).status == status


@pytest.mark.parametrize("cause", ["damaged", "inspection", "calibration", "recall", "other"])
def test_a_hold_is_ready_only_when_its_evidence_serves_it(demo: Pages, cause: str) -> None:
    shop = Shop(demo.room)
    item, _ = shop.item(shop.model("hose"), 1)
    shop.put(HoldRow, item_id=item, cause=cause, reason="A scuffed cover", opened_at=NOON - timedelta(days=2))
    before = _ready(demo)
    shop.put(
        InspectionRow,
        client_id="i1",
        item_id=item,
        occasion="after event",
        checklist_version=0,
        inspected_on=TODAY,
        result="fine",
        cycles_at=0,
        minutes_at=0,
        by_name="Kim",
        recorded_at=NOON - timedelta(days=1),
    )
    # A certificate alone releases what calibration holds; a recall nobody but an officer lifts.
    expected = 0 if cause in ("calibration", "recall") else 1
    assert _ready(demo) - before == expected
    assert ("1 hold can be released" in needs(demo, "keeper")) == bool(expected)
    assert _ready(demo, safety=True) - before == (0 if cause == "calibration" else 1)


def _ready(pages: Pages, *, safety: bool = False) -> int:
    with pages.room.look() as db:
        return len(ready_holds(db, find_site(db, "NORTH"), safety=safety))


def test_kits_and_certificates_of_the_keeper_are_counted(demo: Pages) -> None:
    shop = Shop(demo.room)
    item, other = (shop.item(shop.model("wrench"), 1)[0] for _ in range(2))
    kits = needs(demo, "keeper")
    shop.put(
        ReservationRow,
        client_id="r1",
        item_id=item,
        job_id=shop.job(1, "J-9"),
        starts_at=NOON + timedelta(hours=20),
        ends_at=NOON + timedelta(days=3),
        reserved_at=NOON,
        reserved_by_id=1,
    )
    for at, back in enumerate((NOON - timedelta(days=1), None)):
        shop.put(
            AwayRow,
            client_id=f"a{at}",
            item_id=item if back else other,
            errand="calibration",
            sent_to="Bench Lab",
            decision_rule="simple acceptance",
            tolerance_percent=3.0,
            sent_at=NOON - timedelta(days=30),
            wanted_on=TODAY - timedelta(days=2),
            back_at=back,
        )
    text = needs(demo, "keeper")
    assert "to hand out by tomorrow" in text
    assert text != kits
    assert "1 item came back without its certificate: take it in" in text
    assert "1 item is late from a laboratory or workshop" in text


def test_it_asks_the_database_little(demo: Pages) -> None:
    """Counted in statements, since a test asserts no time."""
    make_busy(demo.room)
    officer = demo.as_("officer")
    officer.get("/")
    asked: list[str] = []

    def count(_c: object, _cursor: object, statement: str, *_rest: object) -> None:
        asked.append(statement)

    event.listen(demo.room.engine, "before_cursor_execute", count)
    try:
        officer.get("/")
    finally:
        event.remove(demo.room.engine, "before_cursor_execute", count)
    assert 0 < len(asked) <= 30


def test_hostile_words_stay_words(demo: Pages) -> None:
    busy = make_busy(demo.room)
    officer = demo.as_("officer")
    for way in (
        "/",
        "/review",
        "/review/certificates",
        "/review/intervals",
        "/concessions",
        "/impact",
        f"/impact/{busy.review}",
        "/day-book",
        "/letters/site",
        f"/letters/{busy.dead}",
        f"/evidence?about={WRENCH}",
    ):
        body = officer.get(way).body
        assert "<b>{{7*7}}</b>" not in body
        assert "<b>49" not in body
    assert HOSTILE[:10] not in officer.get("/impact").body
