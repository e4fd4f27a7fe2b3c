"""The register, the page of an item, what is due, out and away; and corrections of use."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import insert, update

from fleet.lists.due import due
from fleet.lists.items import find_item
from fleet.lists.out import out
from fleet.lists.people import find_actor
from fleet.lists.sites import find_site
from fleet.lists.usage import usage
from fleet.records import ItemRow, ModelRow, RoleRow
from fleet.records.base import rows_of
from tests.shop import NOON

if TYPE_CHECKING:
    from tests.pages.browsing import Page, Pages

OVERDUE, OLD_HOSE, OUT, HELD = "201144", "201642", "202065", "201933"
HOSTILE = "<b>{{7*7}}</b>" + "n" * 300


def tags(page: Page) -> list[str]:
    return re.findall(r'<th scope="row"><a class="whole" href="/items/(\d+)"', page.body)


def test_items_are_found_by_kind_and_by_part_of_what_is_on_their_label(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    assert len(tags(keeper.get("/items"))) == 100
    hoses = keeper.get("/items?kind=hose")
    assert {"hose"} == set(re.findall(r'<td data-of="Kind">(\w+)<', hoses.body))
    for about in ("20114-4", "20114", "w55-7681"):
        assert OVERDUE in tags(keeper.get(f"/items?about={about}"))
    assert tags(keeper.get("/items?about=wsq-76&kind=hose")) == []
    assert "Ask for less" in keeper.get("/items?about=wsq-76&kind=hose").text


def test_the_register_goes_on_where_a_page_ends(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    first = keeper.get("/items")
    (on,) = re.findall(r'href="([^"]+after=[^"]+)"', first.body)
    second = keeper.get(on.replace("&amp;", "&"))
    assert not {*tags(first)} & {*tags(second)}
    assert max(tags(first)) < min(tags(second))


def test_each_row_says_whether_it_may_go_out(demo: Pages) -> None:
    rows = {tag: demo.as_("keeper").get(f"/items?about={tag}").text for tag in (OVERDUE, OUT, "201136", HELD)}
    assert rows[OVERDUE].count("stays in") == 1
    assert "is out" in rows[OUT]
    assert "may go out" in rows["201136"]
    assert "C-1.6, on hold" in rows[HELD]


def test_a_site_without_items_says_what_to_do(demo: Pages) -> None:
    with demo.room.act() as db:
        north, east = find_site(db, "NORTH"), find_site(db, "EAST")
        items = rows_of(ItemRow)
        db.execute(update(items).where(items.c.site_id == north.id).values(site_id=east.id))
    assert "Bring models and items in with a sheet" in demo.as_("keeper").get("/items").text


def test_an_item_says_what_may_be_done_with_it_and_why(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    text = keeper.get(f"/items/{OVERDUE}").text
    assert "Stays in Calibration was due 29 Apr 2026. Send or take in" in text
    assert "A safety officer may let it out for one job" in text
    text = keeper.get(f"/items/{OLD_HOSE}").text
    assert "Replacement was due 6 Mar 2026. Retire and replace" in text
    assert "6 years 2 months ago" in text
    assert "A safety officer may let it out" not in text
    assert "On hold since 2 Apr 2026 (inspection)" in keeper.get(f"/items/{HELD}").text
    assert "Is out" in keeper.get(f"/items/{OUT}").text
    assert "Nothing on record speaks against it today" in keeper.get("/items/201136").text


def test_a_plate_stands_there_in_more_than_one_unit(demo: Pages) -> None:
    text = demo.as_("keeper").get("/items/201798").text
    assert "10,000 psi (689.4 bar)" in text
    keeper = demo.as_("keeper")
    keeper.get("/own")
    keeper.post("/own/units", pressure="MPa", torque="N·m")
    text = keeper.get("/items/201798").text
    assert "10,000 psi (68.94 MPa, 689.4 bar)" in text
    page = keeper.get(f"/items/{OVERDUE}")
    assert "Torque (N·m) over Set pressure (MPa)" in page.text


def test_a_chart_stands_beside_its_table(demo: Pages) -> None:
    page = demo.as_("keeper").get(f"/items/{OVERDUE}")
    assert page.body.count("<svg") == 1
    assert "chart of the model: 1,000, 560;" in page.text
    assert "1,000 psi 68.95 bar 560 lbf·ft 759.3 N·m of the model" in page.text
    assert "style=" not in page.body


def test_what_people_wrote_is_never_markup(demo: Pages) -> None:
    with demo.room.act() as db:
        items, models = rows_of(ItemRow), rows_of(ModelRow)
        db.execute(update(items).where(items.c.tag == OVERDUE).values(serial=HOSTILE, shelf=HOSTILE))
        db.execute(update(models).where(models.c.designation == "WSQ-76").values(description=HOSTILE))
    keeper = demo.as_("keeper")
    for way in (
        f"/items/{OVERDUE}",
        f"/items?about={OVERDUE}",
        "/due",
        "/model?named=WSQ-76",
        "/models",
        f"/items/{OVERDUE}/inspect",
        "/items?about=%3Cb%3E%7B%7B7*7%7D%7D",
        f"/items/{OVERDUE}/done?task=%3Cb%3E",
    ):
        page = keeper.get(way)
        assert page.status == 200
        assert "<b>" not in page.body, way
        assert "{{7*7}}" in page.text or "49" not in page.text or way == "/due", way


@pytest.mark.parametrize(
    "way",
    [
        "/items/%00",
        "/items?about=%00",
        "/items?after=%00&kind=%27%20or%201",
        "/items/' or 1=1 --".replace(" ", "%20"),
        "/items/" + "9" * 500,
        "/due?first=-1&until=9999-12-31",
        "/due?first=99999999999999999999&until=0001-01-01",
        "/due?until=" + "x" * 5_000,
        "/inspections/99999999999999999999999",
        "/certificates/0",
        "/items/201144/use/-1",
        "/items/201144/done/9223372036854775808",
        "/model?named=%00",
        "/models?about=%25_%27",
        "/certificates?item=%F0%9F%94%A7",
        "/holds?site=%F0%9F%94%A7&item=%22%3E%3Cscript%3E",
    ],
)
def test_nothing_asked_for_breaks_a_page(demo: Pages, way: str) -> None:
    page = demo.as_("keeper").get(way)
    assert page.status in (200, 404, 422), page.text
    assert "<script>" not in page.body


def test_the_due_list_says_who_has_it_and_leads_to_what_does_it(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    page = keeper.get("/due?until=2026-06-12")
    with demo.room.look() as db:
        found = due(db, find_site(db, "NORTH").id, until=date(2026, 6, 12), today=NOON.date())
    assert tags(page) == [line.tag for line in found]
    late = sum(line.overdue(NOON.date()) for line in found)
    assert f"{late} overdue , {len(found) - late} due until 12 Jun 2026." in page.text
    assert page.text.count("OVERDUE") == late
    assert "Lonnie Crabtree-Moss, NB-139, back 8 May 2026" in page.text
    ways = re.findall(r'<td class="whole" data-of="To do"><a href="([^"]+)"', page.body)
    assert f"/items/{OVERDUE}/calibrate?task=calibration" in ways
    assert "/items/201440/done?task=oil%20change" in ways
    assert f"/items/{OLD_HOSE}/retire" in ways
    for way in sorted({*ways}):
        assert keeper.get(way).status == 200, way


def test_the_due_list_ends_where_asked(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    week, month = keeper.get("/due?until=20 May 2026".replace(" ", "%20")), keeper.get("/due")
    assert "due until 20 May 2026" in week.text
    assert f"due until {12} Jun 2026" in month.text
    assert len(tags(week)) < len(tags(month))
    wrong = keeper.get("/due?until=03/04/2026")
    assert wrong.status == 422
    assert wrong.body.count("<title>Error: ") == 1
    assert 'value="03/04/2026"' in wrong.body


def test_a_long_due_list_goes_on(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    first = keeper.get("/due?until=2030-01-01")
    second = keeper.get("/due?until=2030-01-01&first=100")
    assert len(tags(first)) == 100
    assert "Rows 1 to 100 of" in first.text
    assert "Rows 101 to" in second.text
    assert "Before these" in second.text


def test_what_is_out_stands_with_who_has_it(demo: Pages) -> None:
    page = demo.as_("keeper").get("/out")
    with demo.room.look() as db:
        found = out(db, find_site(db, "NORTH"), now=NOON)
    late = sum(line.days_late > 0 for line in found)
    assert late
    assert tags(page) == [line.tag for line in found]
    assert f"{late} late , {len(found)} out." in page.text
    assert "Ambrose Keelhan" in page.text
    assert "5 days LATE" in page.text


def test_somebody_elsewhere_sees_their_own_site(demo: Pages) -> None:
    east = demo.as_("elsewhere")
    for way in ("/items", "/due", "/out", "/away", "/holds", "/certificates"):
        page = east.get(way)
        assert page.status == 200
        assert "North Basin" not in page.text
        assert east.get(f"{way}?site=NORTH").status == 404


def test_whoever_has_roles_at_two_sites_chooses(demo: Pages) -> None:
    with demo.room.act() as db:
        roles, person = rows_of(RoleRow), find_actor(db, "N11")[0].id
        east = find_site(db, "EAST").id
        db.execute(insert(roles).values(person_id=person, site_id=east, role="keeper"))
    keeper = demo.as_("keeper")
    for way in ("/items", "/due", "/out", "/away", "/holds", "/certificates"):
        assert '<option value="EAST" selected>' in keeper.get(f"{way}?site=east").body
        assert '<option value="NORTH" selected>' in keeper.get(f"{way}?site=NORTH").body


def test_a_wrong_entry_of_use_is_taken_back_once(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    with demo.room.look() as db:
        before = find_item(db, OVERDUE)
        wrong = next(line for line in usage(db, before, most=5) if line.cycles)
    way = f"/items/{OVERDUE}/use/{wrong.entry}"
    page = keeper.get(way)
    assert f"{wrong.cycles:,} cycles" in page.text
    (given,) = re.findall(r'name="id" value="(\w+)"', page.body)
    short = keeper.post(way, id=given, reason="no")
    assert short.status == 409
    assert "at least 10 characters" in short.text
    done = keeper.post(way, id=given, reason="Counted for the wrench beside it.")
    keeper.get(way)
    assert keeper.post(way, id=given, reason="Counted for the wrench beside it.").status == 303
    page = keeper.follow(done)
    assert f"takes entry {wrong.entry} back" in page.text
    with demo.room.look() as db:
        after = find_item(db, OVERDUE)
        assert before.cycles - after.cycles == wrong.cycles
        assert sum(line.reverses == wrong.entry for line in usage(db, after, most=10)) == 1
    keeper.get(way)
    assert keeper.post(way, reason="Counted for the wrench beside it.").status == 409


def test_an_entry_of_another_item_is_not_taken_back_from_here(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    with demo.room.look() as db:
        other = usage(db, find_item(db, "201048"), most=1)[0].entry
    assert keeper.get(f"/items/{OVERDUE}/use/{other}").status == 404
    keeper.get("/own")
    page = keeper.post(f"/items/{OVERDUE}/use/{other}", reason="Counted for the wrench beside it.")
    assert page.status == 404


def test_its_papers_are_papers(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    for name in ("card", "evidence"):
        assert keeper.ask_raw(f"/items/{OVERDUE}/{name}.pdf").startswith(b"%PDF-")


def test_the_session_is_noted_at_most_once_a_minute_and_pages_write_nothing_else(demo: Pages) -> None:
    from tests.pages.test_routes import everything  # noqa: PLC0415  Only here.

    keeper = demo.as_("keeper")
    demo.clock.pass_by(seconds=90)
    keeper.get("/due")
    noted = everything(demo.room)
    demo.clock.pass_by(seconds=30)
    keeper.get("/due")
    assert everything(demo.room) == noted
    demo.clock.pass_by(seconds=31)
    keeper.get("/due")
    later = everything(demo.room)
    assert [name for name, rows in later.items() if rows != noted[name]] == ["session"]
