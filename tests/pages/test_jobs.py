"""Jobs as pages: what runs and is to come, one with its kits, warnings and breakouts, and forms by hand."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from icalendar import Calendar
from sqlalchemy import select

from fleet import records
from fleet.desk.holds import open_hold
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.people import find_actor
from fleet.rules.conditions import HoldCause
from tests.shop import NOON

if TYPE_CHECKING:
    from tests.pages.browsing import Pages

JOB = {"site": "NORTH", "job": "NB-900", "name": "Boiler feed", "start": "2 jun", "end": "2026-06-03"}
JOINT = {"job": "NB-142", "joint": "E-204 bonnet", "bolts": "24", "target-torque": "900 lbf·ft"}
HOSTILE = "<b>loud</b> {{7*7}}"


def hold(demo: Pages, tag: str) -> None:
    with demo.room.act() as db:
        by, _ = find_actor(db, "N11")
        open_hold(db, tag, HoldCause.DAMAGED, "Oil on the floor under it", by=by, now=NOON)


def test_jobs_ahead_with_what_they_lack(demo: Pages) -> None:
    page = demo.as_("planner").get("/plan")
    row = re.search(r"NB-146.*?</tr>", page.body, re.DOTALL)
    assert row
    assert 'Joints">8<' in row[0]
    assert 'Without wrench"><strong>6</strong>' in row[0]
    assert "NB-103" not in page.text
    assert "15 Jun 2026" in page.text
    assert "30 Jun 2026" in page.text, "The last day, not the midnight after it."


def test_jobs_that_are_over_are_shown_on_request(demo: Pages) -> None:
    page = demo.as_("planner").get("/plan?past=yes")
    assert "NB-103" in page.text
    assert "NB-146" not in page.text


def test_a_job_shows_torques_kits_and_margins_in_both_units(demo: Pages) -> None:
    page = demo.as_("planner").get("/job?job=nb-142")
    for words in (
        "NB-142: Exchanger E-204, bundle pull",
        "2,700 lbf·ft (3,661 N·m)",
        "4,320 lbf·ft (5,858 N·m)",
        "20113-6 wrench",
        "May be used, margin 22 %",
        "5 times, up to 4,018 lbf·ft (5,448 N·m)",
    ):
        assert words in page.text, words
    assert 'href="/kit-sheet?job=NB-142&amp;joint=E-204%20channel"' in page.body


def test_what_is_stopped_is_warned_of_with_a_swap_that_one_button_does(demo: Pages) -> None:
    hold(demo, "20138-8")
    pat = demo.as_("planner")
    page = pat.get("/job?job=NB-142")
    assert "On hold since 13 May 2026: Oil on the floor under it" in page.text
    assert "May not be used" in page.text.partition("E-204 channel")[2].partition("E-204 shell")[0]
    form = re.search(r'action="/reserved/swap".*?</form>', page.body, re.DOTALL)
    assert form
    number, instead = (re.search(rf'name="{name}" value="(\d+)"', form[0]) for name in ("number", "instead"))
    reason = re.search(r'name="reason" type="text" value="([^"]+)"', form[0])
    assert number
    assert instead
    assert reason
    given = {"number": number[1], "instead": instead[1], "reason": reason[1], "back": "job", "id": "a" * 32}
    page = pat.follow(pat.post("/reserved/swap", **given))
    assert "in place of 20138-8" in page.text
    assert "May be used, margin" in page.text
    assert "20138-8" not in page.text.partition("Joints")[2]
    again = pat.post("/reserved/swap", **given)
    assert again.status == 303
    plan = pat.get("/plan")
    assert re.search(r"NB-142.*?Warnings\">none", plan.body, re.DOTALL)


def test_the_calendar_of_a_job_can_be_read(demo: Pages) -> None:
    made = Calendar.from_ical(demo.as_("planner").ask_raw("/job/calendar.ics?job=NB-142"))
    assert [event for event in made.walk("VEVENT") if "NB-142" in str(event.get("summary"))]


def test_a_job_is_added_by_hand_with_a_day_without_a_year(demo: Pages) -> None:
    pat = demo.as_("planner")
    pat.get("/plan/job")
    page = pat.follow(pat.post("/plan/job", **JOB))
    assert "NB-900 is on record." in page.text
    assert "2 Jun 2026 to 3 Jun 2026" in page.text
    pat.get("/plan/job")
    again = pat.follow(pat.post("/plan/job", **JOB))
    assert "was on record like this already" in again.text
    pat.get("/plan/job")
    page = pat.post("/plan/job", **JOB | {"name": "Another"})
    assert page.status == 409
    assert 'value="Another"' in page.body
    assert page.body.count("Error: ") == 1


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"start": "2/6/26"}, "more than one way"),
        ({"end": "1 jun 2026"}, "End must be after Start"),
        ({"name": ""}, "Name must not be left empty."),
        ({"crews": "many"}, "not a whole number"),
    ],
)
def test_what_makes_no_job_is_said_above_the_form_as_it_was_typed(
    demo: Pages, asked: dict[str, str], said: str
) -> None:
    pat = demo.as_("planner")
    pat.get("/plan/job")
    page = pat.post("/plan/job", **JOB | asked)
    assert page.status == 422
    assert said in page.text
    assert 'value="NB-900"' in page.body
    assert pat.get("/job?job=NB-900").status == 404


def test_a_job_is_changed_and_what_it_leaves_outside_is_said(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = pat.get("/job/change?job=NB-142")
    assert 'value="2026-05-17"' in page.body
    assert 'value="2026-05-22"' in page.body
    page = pat.follow(
        pat.post("/job/change", job="NB-142", name="Bundle pull", start="17 may", end="20 may", crews="")
    )
    assert "Changed of NB-142: Name, End" in page.text
    assert "10 reservations reach beyond its window now" in page.text
    pat.get("/job/change?job=NB-142")
    page = pat.post("/job/change", job="NB-142", name="", start="17 may", end="20 may")
    assert page.status == 422
    assert 'name="name" type="text" value=""' in page.body, "What was emptied stays empty."


def test_a_joint_is_added_and_changed_by_hand(demo: Pages) -> None:
    pat = demo.as_("planner")
    pat.get("/job/joint?job=NB-142")
    page = pat.follow(pat.post("/job/joint", **JOINT))
    assert "E-204 bonnet is on record." in page.text
    assert "No loosening factor is planned for E-204 bonnet" in page.text
    form = pat.get("/job/joint?job=NB-142&joint=E-204%20bonnet")
    assert 'value="900 lbf·ft"' in form.body
    page = pat.follow(pat.post("/job/joint", **JOINT | {"of": "E-204 bonnet", "bolts": "28"}))
    assert "Changed of E-204 bonnet: Bolts." in page.text
    with demo.room.look() as db:
        assert find_joint(db, find_job(db, "NB-142"), "E-204 bonnet").bolts == 28
    pat.get("/job/joint?job=NB-142")
    page = pat.post("/job/joint", **JOINT | {"joint": "X", "target-torque": "900"})
    assert page.status == 422
    assert "Target torque: " in page.text


def test_hostile_names_are_shown_as_they_are(demo: Pages) -> None:
    pat = demo.as_("planner")
    pat.get("/plan/job")
    pat.follow(pat.post("/plan/job", **JOB | {"name": HOSTILE + "x" * 500, "job": "<i>9</i>"}))
    pat.get("/job/joint?job=%3Ci%3E9%3C/i%3E")
    pat.follow(pat.post("/job/joint", **JOINT | {"job": "<i>9</i>", "joint": HOSTILE}))
    nine = "?job=%3Ci%3E9%3C/i%3E"
    for address in ("/plan", f"/job{nine}", f"/job/joint{nine}", f"/kits{nine}", "/weeks", "/kits"):
        page = pat.get(address)
        assert page.status == 200
        assert "<b>loud" not in page.body
        assert "<i>9</i>" not in page.body
        assert "49" not in page.text.partition(HOSTILE)[2][:5]


def test_a_breakout_is_recorded_once_and_withdrawn(demo: Pages) -> None:
    kim = demo.as_("keeper")
    told = {"job": "NB-142", "joint": "E-204 channel", "reading": "3,900 lbf·ft", "item": "20113-6"}
    kim.get("/job?job=NB-142")
    page = kim.follow(kim.post("/job/breakouts", id="b" * 32, **told))
    assert "3,900 lbf·ft, 1.44 × the target." in page.text
    page = kim.follow(kim.post("/job/breakouts", id="b" * 32, **told))
    assert "It had been recorded before." in page.text
    entry = re.search(r"entry=(\d+)\" aria-label=\"Withdraw entry", page.body)
    assert entry
    page = kim.get(f"/job/withdraw?job=NB-142&entry={entry[1]}")
    assert "3,900 lbf·ft" in page.text
    page = kim.post("/job/withdraw", job="NB-142", entry=entry[1], reason="no")
    assert page.status == 409
    page = kim.follow(kim.post("/job/withdraw", job="NB-142", entry=entry[1], reason="Read a wrong gauge"))
    assert f"withdraws breakout {entry[1]}" in page.text
    with demo.room.look() as db:
        ask = select(records.BreakoutRow.id).where(records.BreakoutRow.withdraws_id == int(entry[1]))
        assert len(db.execute(ask).all()) == 1


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"reading": "much"}, "neither a torque nor a pump pressure"),
        ({"item": "nothing"}, "nothing"),
        ({"item": "20141-5", "reading": "6,200 psi"}, "is a pump"),
        ({"on": "14 may 2026"}, "still to come"),
        ({"joint": "Z-9"}, "has no joint"),
    ],
)
def test_a_breakout_that_makes_no_sense_is_said_above_the_form(
    demo: Pages, told: dict[str, str], said: str
) -> None:
    kim = demo.as_("keeper")
    kim.get("/job?job=NB-142")
    given = {"job": "NB-142", "joint": "E-204 channel", "reading": "3,900 lbf·ft", "item": "20113-6"} | told
    page = kim.post("/job/breakouts", **given)
    assert page.status in (409, 422)
    assert said in page.text
    assert f'value="{given["reading"]}"' in page.body


def test_of_jobs_elsewhere_nothing_is_told(demo: Pages) -> None:
    pat = demo.as_("planner")
    pat.get("/plan")
    for method, address, form in (
        ("GET", "/job?job=EQ-139", {}),
        ("GET", "/job/calendar.ics?job=EQ-139", {}),
        ("GET", "/kits?job=EQ-139", {}),
        ("GET", "/reserved/new?job=EQ-139", {}),
        ("POST", "/job/change", {"job": "EQ-139", "name": "x"}),
        ("POST", "/job/joint", {"job": "EQ-139", "joint": "x"}),
        ("POST", "/job/breakouts", {"job": "EQ-139", "joint": "x"}),
    ):
        page = pat.get(address) if method == "GET" else pat.post(address, **form)
        assert page.status == 404, address
        assert "There is no job" in page.text
        pat.get("/plan")
