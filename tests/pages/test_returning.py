"""Taking back in the browser: scan and confirm, a kit at once, what is found on it, and undoing it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select, update

from fleet import records
from fleet.records.base import rows_of
from tests.pages.chromium import on_sqlite
from tests.pages.filling import filled_in, how_many, send, verdict
from tests.pages.test_routes import everything

if TYPE_CHECKING:
    from tests.pages.browsing import Browser, Page, Pages

# Out with one holder for NB-141: wrench, pump and hose; and another loan.
WRENCH, PUMP, HOSE, OTHER = "201101", "201415", "201626", "201257"
KIT = f"/back?item={WRENCH}&item={PUMP}&item={HOSE}"


def take(browser: Browser, address: str, **changed: str | tuple[str, ...]) -> Page:
    return send(browser, browser.get(address), "/back", **changed)


def loan_of(page: Page) -> str:
    found = re.search(r'name="cycles-(\d+)"', page.body)
    assert found
    return found[1]


def booked(demo: Pages) -> dict[str, tuple[int, int]]:
    """What returns booked since the demo was filled, whose history has no loans, by tag."""
    with demo.room.look() as db:
        rows = db.execute(
            select(records.ItemRow.tag, records.UsageRow.cycles, records.UsageRow.minutes)
            .join(records.ItemRow, records.ItemRow.id == records.UsageRow.item_id)
            .where(records.UsageRow.loan_line_id.is_not(None))
        )
        return {tag: (cycles, minutes) for tag, cycles, minutes in rows}


def test_scan_and_confirm_is_all_it_takes(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.follow(kim.get(f"/scan?code={WRENCH}"))
    assert verdict(page) == "Take back 20110-1"
    assert "out with Lorna Beckhold for NB-141 , to be back on 16 May 2026" in page.text
    fields = filled_in(page, "/back")
    loan = loan_of(page)
    assert (fields[f"cycles-{loan}"], fields[f"condition-{WRENCH}"]) == (("336",), ("fine",))

    page = kim.follow(send(kim, page, "/back"))

    assert verdict(page) == "BACK"
    assert "Calibration is now due by use. It stays in until that is done." in page.text
    assert booked(demo) == {WRENCH: (336, 155)}


def test_the_parts_of_a_kit_get_their_own_share(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(KIT)
    assert verdict(page) == "Take back 3 items"
    loan = loan_of(page)
    fields = filled_in(page, "/back")
    assert (fields[f"cycles-{loan}"], fields[f"minutes-{loan}"]) == (("336",), ("155",))
    done = send(kim, page, "/back", **{f"cycles-{loan}": "1,200", f"minutes-{loan}": "90"})
    page = kim.follow(done)
    assert verdict(page) == "BACK"
    assert booked(demo) == {WRENCH: (1200, 0), PUMP: (0, 90), HOSE: (1200, 90)}


def test_a_kit_as_planned_books_what_each_was_planned_for(demo: Pages) -> None:
    kim = demo.as_("keeper")
    kim.follow(take(kim, KIT))
    assert booked(demo) == {WRENCH: (336, 0), PUMP: (0, 155), HOSE: (336, 155)}


def test_of_two_wrenches_each_was_used_as_planned_for_it(demo: Pages) -> None:
    lines, tags = rows_of(records.LoanLineRow), (WRENCH, "201257")
    with demo.room.act() as db:
        ids = select(records.ItemRow.id).where(records.ItemRow.tag.in_(tags))
        out = (lines.c.item_id.in_(ids), lines.c.returned_at.is_(None))
        loan = db.execute(select(lines.c.loan_id).where(*out)).scalars().first()
        db.execute(update(lines).where(*out).values(loan_id=loan))
        planned = [
            (cycles or 0, minutes or 0)
            for cycles, minutes in db.execute(
                select(lines.c.planned_cycles, lines.c.planned_minutes).where(*out)
            )
        ]
    kim = demo.as_("keeper")
    page = kim.get(f"/back?item={tags[0]}&item={tags[1]}")
    assert "Leave both empty when each was used as planned for it." in page.text
    kim.follow(send(kim, page, "/back"))
    assert sorted(booked(demo).values()) == sorted(planned)


def test_items_of_two_loans_have_use_of_their_own(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(f"/back?item={WRENCH}&item={OTHER}")
    first, second = dict.fromkeys(re.findall(r'name="cycles-(\d+)"', page.body))
    use = {
        f"cycles-{first}": "10",
        f"minutes-{first}": "",
        f"cycles-{second}": "20",
        f"minutes-{second}": "5",
    }
    kim.follow(send(kim, page, "/back", **use))
    assert booked(demo) == {WRENCH: (10, 0), OTHER: (20, 5)}


def test_the_same_form_sent_twice_books_once(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(KIT)
    first, second = send(kim, page, "/back"), send(kim, page, "/back")
    assert first.headers["location"] == second.headers["location"]
    assert len(booked(demo)) == 3
    assert verdict(kim.follow(second)) == "BACK"


def test_what_is_damaged_goes_on_hold_and_says_why(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(KIT)
    before = everything(demo.room)
    refused = send(kim, page, "/back", **{f"condition-{HOSE}": "damaged"})
    assert refused.status == 409
    assert "Say in the note what is damaged on 20162-6" in refused.text
    assert '<option value="damaged" selected>' in refused.body
    after = everything(demo.room)
    assert all(after[name] == rows for name, rows in before.items() if name != "session")

    done = send(kim, refused, "/back", **{f"note-{HOSE}": "Cover torn <b>open</b>"})

    page = kim.follow(done)
    assert verdict(page) == "BACK - ON HOLD"
    assert 'data-call="stay"' in page.body
    assert "20162-6 is on hold: Cover torn &lt;b&gt;open" in page.body
    assert "hold shelf" in page.text


def test_what_needs_attention_may_be_put_on_hold(demo: Pages) -> None:
    kim = demo.as_("keeper")
    done = take(kim, f"/back?item={HOSE}", **{f"condition-{HOSE}": "needs attention"})
    page = kim.follow(done)
    assert verdict(page) == "BACK"
    assert f'href="/holds?item={HOSE}"' in page.body


def test_the_joint_and_its_breakouts_are_kept(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(f"/back?item={WRENCH}")
    loan = loan_of(page)
    said = {f"joint-{loan}": "R-12 top manway", f"breakouts-{loan}": "R-12 top manway = 6200 psi\r\n\r\n"}
    before = how_many(demo, records.BreakoutRow)
    for wrong, why in (
        ("R-12 = 6200 psi", "has no joint"),
        ("6200 psi", "is no breakout"),
        ("x=<b>", "&lt;b&gt;"),
    ):
        refused = send(kim, page, "/back", **{f"breakouts-{loan}": wrong})
        assert refused.status in (404, 422), refused.text
        assert why in refused.body
    assert send(kim, page, "/back", **said).status == 303
    assert how_many(demo, records.BreakoutRow) == before + 1
    with demo.room.look() as db:
        newest = select(records.UsageRow.joint_id).order_by(records.UsageRow.id.desc()).limit(1)
        assert db.execute(newest).scalar_one() is not None


@on_sqlite
@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("cycles", "many", "whole number"),
        ("cycles", "-4", "whole number"),
        ("minutes", "2.5", "whole number"),
        ("cycles", "999999", "more than one loan can hold"),
        ("condition", "lost", "Choose the condition from the list."),
        ("joint", "E-999", "has no joint"),
    ],
)
def test_what_cannot_be_read_is_said_with_the_form_filled_in(
    demo: Pages, name: str, value: str, sentence: str
) -> None:
    kim = demo.as_("keeper")
    page = kim.get(f"/back?item={WRENCH}")
    key = f"condition-{WRENCH}" if name == "condition" else f"{name}-{loan_of(page)}"
    refused = send(kim, page, "/back", **{key: value})
    assert refused.status in (404, 409, 422)
    assert sentence in refused.text
    assert booked(demo) == {}
    if name in ("cycles", "minutes"):
        assert filled_in(refused, "/back")[key] == (value,)


def test_without_any_figure_nothing_is_taken_back(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get(f"/back?item={WRENCH}")
    refused = send(kim, page, "/back", **{f"cycles-{loan_of(page)}": "", f"minutes-{loan_of(page)}": ""})
    assert refused.status == 409
    assert "Say how much it was used for NB-141" in refused.text


def test_what_is_not_out_does_not_come_back(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.get("/back?item=201136&item=none&item=%3Cb%3E")
    assert "is not out" in page.text
    assert "<b>" not in page.body.partition("<main")[2].replace("<br>", "")
    kim.follow(take(kim, f"/back?item={WRENCH}"))
    assert "20110-1 is not out: it came back already." in kim.get(f"/back?item={WRENCH}").text


def test_another_site_takes_nothing_of_ours_back(demo: Pages) -> None:
    page = demo.as_("keeper").get(f"/back?item={WRENCH}")
    east = demo.as_("elsewhere")
    token = east.get("/own").token
    answer = east.ask("POST", "/back", {**filled_in(page, "/back"), "token": token})
    assert answer.status == 409
    assert "Nothing was taken back." in answer.text
    assert booked(demo) == {}
    assert "Lorna" not in east.get(f"/back?item={WRENCH}").text


@pytest.mark.parametrize("who", ["planner", "officer"])
def test_only_a_keeper_takes_back(demo: Pages, who: str) -> None:
    page = take(demo.as_(who), f"/back?item={WRENCH}")
    assert page.status == 403
    assert booked(demo) == {}


# --- Undo ---------------------------------------------------------------------------------------------------


def test_a_return_is_undone_by_one_button(demo: Pages) -> None:
    kim = demo.as_("keeper")
    done = take(kim, KIT, **{f"condition-{HOSE}": "damaged", f"note-{HOSE}": "Cover torn open"})
    page = kim.follow(done)
    assert "Until 13 May 2026 12:10" in page.text
    assert "Undo" not in demo.as_("planner").get(done.headers["location"]).text

    undone = send(kim, page, "/back/undo")

    page = kim.follow(undone)
    assert verdict(page) == "OUT AGAIN"
    assert "Lorna Beckhold has it for NB-141, as before." in page.text
    assert kim.get(f"/scan?code={HOSE}").headers["location"] == f"/back?item={HOSE}"


def test_a_return_undone_twice_by_the_same_form_is_undone_once(demo: Pages) -> None:
    kim = demo.as_("keeper")
    page = kim.follow(take(kim, KIT))
    uses = how_many(demo, records.UsageRow)
    first, second = send(kim, page, "/back/undo"), send(kim, page, "/back/undo")
    assert first.headers["location"] == second.headers["location"]
    assert how_many(demo, records.UsageRow) == uses + 3


def test_after_ten_minutes_its_use_is_corrected_instead(demo: Pages) -> None:
    kim = demo.as_("keeper")
    done = take(kim, f"/back?item={WRENCH}")
    page = kim.follow(done)
    demo.clock.pass_by(minutes=11)
    late = send(kim, page, "/back/undo")
    assert late.status == 409
    assert "If its use is wrong, reverse the entry and say why" in late.text
    page = kim.get(done.headers["location"])
    assert ">Undo<" not in page.body
    assert f'<a href="/items/{WRENCH}">20110-1: correct its use, with a reason</a>' in page.body
