"""People as pages: roles given and taken, administrators, and who is made inactive is out at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.lists.people import find_actor
from fleet.records import PersonRow
from tests.shop import Shop

if TYPE_CHECKING:
    from tests.pages.browsing import Pages

WHY = "Takes over from August on"


def roles(pages: Pages, badge: str) -> set[tuple[int, str]]:
    with pages.room.look() as db:
        return set(find_actor(db, badge)[0].roles)


def test_everybody_sees_names_and_roles_of_their_own_sites(demo: Pages) -> None:
    planner = demo.as_("planner").get("/people")
    assert "Marla Quistgard N11 keeper at NORTH active" in planner.text
    assert "Hanneke Brillard" not in planner.text
    # At both sites.
    assert "Anselm Rothkamp E31 safety officer at EAST, safety officer at NORTH" in planner.text or (
        "Anselm Rothkamp E31 safety officer at NORTH, safety officer at EAST" in planner.text
    )
    elsewhere = demo.as_("elsewhere")
    assert elsewhere.get("/people?badge=N11").status == 404
    assert "Hanneke Brillard" in elsewhere.get("/people").text
    assert "Gil Postlewhite" in demo.as_("administrator").get("/people").text


def test_only_who_could_ever_do_it_is_offered_a_form(demo: Pages) -> None:
    for who, forms in (("planner", 0), ("keeper", 3), ("officer", 3), ("administrator", 4)):
        page = demo.as_(who).get("/people?badge=N22")
        assert page.body.count('action="/people/') == forms, who


def test_a_role_is_given_and_taken_and_counts_at_once(demo: Pages) -> None:
    keeper, planner = demo.as_("keeper"), demo.as_("planner")
    keeper.get("/people?badge=N21")
    form = {"badge": "N21", "site": "NORTH", "role": "keeper"}
    said = keeper.follow(keeper.post("/people/role", **form))
    assert "Ines Tollivar is keeper at NORTH from now on." in said.text
    assert "That was so before." in keeper.follow(keeper.post("/people/role", **form)).text
    assert "Keeper at North Basin" in planner.get("/").text
    short = keeper.post("/people/role/end", **form, reason="gone")
    assert (short.status, "in a sentence" in short.text) == (409, True)
    keeper.follow(keeper.post("/people/role/end", **form, reason=WHY))
    assert "Keeper at North Basin" not in planner.get("/").text
    assert roles(demo, "N21") == {(1, "planner")}


def test_a_keeper_makes_no_officer_and_nobody_raises_themself(demo: Pages) -> None:
    for who, badge, role, status in (
        ("keeper", "N21", "safety officer", 403),
        ("keeper", "N11", "safety officer", 403),
        ("planner", "N21", "keeper", 403),
        ("administrator", "N41", "safety officer", 403),
        ("elsewhere", "N21", "keeper", 404),
        ("officer", "N21", "owner", 422),
    ):
        before = roles(demo, badge)
        browser = demo.as_(who)
        browser.get("/own")
        page = browser.post("/people/role", badge=badge, site="NORTH", role=role)
        assert page.status == status, (who, role)
        assert roles(demo, badge) == before


def test_it_must_be_sure_of_the_person(demo: Pages) -> None:
    demo.clock.pass_by(minutes=6)
    administrator = demo.as_("administrator")
    page = administrator.get("/people?badge=N21")
    assert "Prove it first" in page.text
    answer = administrator.post("/people/role", badge="N21", site="NORTH", role="keeper")
    assert answer.headers["location"].startswith("/again")
    assert roles(demo, "N21") == {(1, "planner")}


def test_an_administrator_is_named_and_the_last_one_stays(demo: Pages) -> None:
    administrator = demo.as_("administrator")
    administrator.get("/people?badge=N41")
    last = administrator.post("/people/administrator", badge="N41", on="no", reason=WHY)
    assert (last.status, "is the only administrator" in last.text) == (409, True)
    assert WHY in last.body
    said = administrator.follow(
        administrator.post("/people/administrator", badge="N11", on="yes", reason=WHY)
    )
    assert "Marla Quistgard is an administrator now." in said.text
    ended = administrator.post("/people/administrator", badge="N41", on="no", reason=WHY)
    assert ended.status == 303
    administrator.get("/own")
    refused = administrator.post("/people/administrator", badge="N41", on="yes", reason=WHY)
    assert refused.status in (403, 404)
    officer = demo.as_("officer")
    officer.get("/own")
    assert officer.post("/people/administrator", badge="N31", on="yes", reason=WHY).status == 403


def test_whoever_is_made_inactive_is_out_with_the_next_click(demo: Pages) -> None:
    planner, keeper = demo.as_("planner"), demo.as_("keeper")
    assert planner.get("/people").status == 200
    keeper.get("/people?badge=N21")
    form = {"badge": "N21", "on": "no", "reason": "Left the company in May"}
    said = keeper.follow(keeper.post("/people/active", **form))
    assert "Ines Tollivar is no longer active." in said.text
    assert planner.get("/people").headers["location"].startswith("/in")
    keeper.post("/people/active", **(form | {"on": "yes"}))
    # The old session does not come back with the person.
    assert planner.get("/people").headers["location"].startswith("/in")


def test_what_they_still_hold_is_said(demo: Pages) -> None:
    administrator = demo.as_("administrator")
    administrator.get("/people?badge=N44")
    form = {"badge": "N44", "on": "no", "reason": "Left the company in May"}
    said = administrator.follow(administrator.post("/people/active", **form))
    assert "still out with them: see what is out." in said.text


def test_hostile_and_very_long_names_stay_words(demo: Pages) -> None:
    name = "<script>alert(1)</script>{{7*7}}" + "y" * 300
    Shop(demo.room).put(PersonRow, badge="X/1 ?&<", name=name, active=True)
    administrator = demo.as_("administrator")
    page = administrator.get("/people")
    assert "<script>alert" not in page.body
    way = page.body.split(">&lt;script&gt;alert")[0].rsplit('href="', 1)[1].rstrip('"').replace("&amp;", "&")
    one = administrator.get(way)
    assert (one.status, "{{7*7}}" in one.text) == (200, True)
    said = administrator.follow(
        administrator.post("/people/role", badge="X/1 ?&<", site="EAST", role="keeper")
    )
    assert "is keeper at EAST from now on." in said.text
