"""What a keeper does away from the counter: holds, inspections, sending away, notes, tests, limits."""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING

import pytest

from fleet.lists.away import away
from fleet.lists.concessions import concessions
from fleet.lists.holds import holds
from fleet.lists.inspections import inspections
from fleet.lists.items import find_item
from fleet.lists.limits import limits
from fleet.lists.sites import find_site
from fleet.lists.upkeep import upkeep_done
from tests.pages.browsing import PASSWORD
from tests.pages.history import photograph
from tests.shop import NOON

if TYPE_CHECKING:
    from fleet.lists.holds import HoldLine
    from fleet.lists.items import ItemLine
    from tests.pages.browsing import Browser, Page, Pages

COUPLER, HELD, WRENCH, PUMP = "201909", "201933", "201144", "201440"
SAID = "<b>{{7*7}}</b> leaks at the swivel when it is turned."


def the(demo: Pages, tag: str) -> ItemLine:
    with demo.room.look() as db:
        return find_item(db, tag)


def open_holds(demo: Pages, tag: str) -> list[HoldLine]:
    with demo.room.look() as db:
        return [one for one in holds(db, find_site(db, "NORTH"), now=demo.room.now(db)) if one.tag == tag]


def form_id(page: Page) -> str:
    return str(re.findall(r'name="id" value="(\w+)"', page.body)[-1])


def tag_of(browser: Browser, kind: str) -> str:
    found = re.findall(r'href="/items/(\d+)"', browser.get(f"/items?kind={kind}").body)
    return str(found[0])


def test_an_item_is_put_on_hold_once_and_its_words_are_only_words(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    page = keeper.get(f"/holds?item={COUPLER}")
    assert f'value="{COUPLER}"' in page.body
    given = form_id(page)
    for _ in range(2):
        keeper.get("/holds")
        answer = keeper.post("/holds", id=given, item=COUPLER, cause="damaged", reason=SAID)
        assert answer.status == 303
    (hold,) = open_holds(demo, COUPLER)
    assert (hold.cause, hold.reason) == ("damaged", SAID)
    page = keeper.get("/holds?site=NORTH")
    assert SAID in page.text
    assert "<b>" not in page.body
    assert "Stays in On hold since 13 May 2026 (damaged)" in keeper.get(f"/items/{COUPLER}").text


@pytest.mark.parametrize(
    ("form", "status", "said"),
    [
        ({"item": "", "reason": SAID}, 404, "That did not work"),
        ({"item": "20190-0", "reason": SAID}, 404, "its last figure does not fit"),
        ({"item": COUPLER, "reason": "bad"}, 409, "at least 10 characters"),
        ({"item": COUPLER, "reason": SAID, "cause": "boredom"}, 422, "Choose what it is about"),
        ({"item": COUPLER, "reason": SAID, "cause": "recall"}, 409, "kept in by a recall"),
        ({"item": "10052-3", "reason": SAID}, 404, "That did not work"),
        ({"item": COUPLER, "reason": "a\0b" * 9}, 422, "a sign that is none"),
    ],
)
def test_a_hold_that_cannot_be_opened_says_why(
    demo: Pages, form: dict[str, str], status: int, said: str
) -> None:
    keeper = demo.as_("keeper")
    keeper.get("/holds")
    answer = keeper.post("/holds", **form)
    assert (answer.status, said in answer.text) == (status, True), answer.text
    assert open_holds(demo, COUPLER) == []


def test_a_planner_reads_why_and_who_may(demo: Pages) -> None:
    planner = demo.as_("planner")
    planner.get("/holds")
    answer = planner.post("/holds", item=COUPLER, reason=SAID)
    assert answer.status == 403
    assert "is not a keeper or safety officer at North Basin" in answer.text
    assert SAID in answer.text


def inspect(browser: Browser, tag: str, **form: str) -> Page:
    browser.get(f"/items/{tag}/inspect")
    return browser.upload(f"/items/{tag}/inspect", {}, **form)


def test_an_inspection_is_recorded_once_with_what_was_seen(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    given = form_id(keeper.get(f"/items/{COUPLER}/inspect?task=inspection"))
    form = {"id": given, "occasion": "periodic", "task": "inspection", "all_fine": "yes"}
    form |= {"answer-1": "note", "remark-1": SAID, "photographs-show": "1", "version": "0"}
    shot = {"photographs": ("IMG.jpg", photograph())}
    answer = keeper.upload(f"/items/{COUPLER}/inspect", shot, **form)
    assert "Inspection is done." in keeper.follow(answer).text
    keeper.get(f"/items/{COUPLER}/inspect")
    assert keeper.upload(f"/items/{COUPLER}/inspect", shot, **form).status == 303
    with demo.room.look() as db:
        found = inspections(db, the(demo, COUPLER).id)
    (number,) = (one.number for one in found)
    page = keeper.get(f"/inspections/{number}")
    assert SAID in page.text
    assert "<b>" not in page.body
    assert f'alt="Inspection {number}, checkpoint 1"' in page.body
    assert "Inspection 13 Nov 2026" in keeper.get(f"/items/{COUPLER}").text.replace(
        "inspection", "Inspection"
    )


def test_a_reject_keeps_it_in_and_an_inspection_since_lets_it_go(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    reject = {"answer-1": "reject", "remark-1": "a crack in the collar", "all_fine": "yes"}
    page = keeper.follow(inspect(keeper, COUPLER, occasion="before use", **reject))
    assert "It is on hold" in page.text
    (hold,) = open_holds(demo, COUPLER)
    page = keeper.get(f"/items/{COUPLER}/release")
    assert "an inspection made after 13 May 2026" in page.text
    assert "Inspection" in page.text
    first = re.findall(r'<option value="(inspection/\d+)"', page.body)[0]
    words = "No crack under the lamp after cleaning."
    answer = keeper.post(f"/items/{COUPLER}/release", evidence=first, words=words)
    assert answer.status == 409
    assert "is a reject" in answer.text
    demo.clock.pass_by(seconds=60)
    assert inspect(keeper, COUPLER, occasion="periodic", all_fine="yes").status == 303
    page = keeper.get(f"/items/{COUPLER}/release")
    newest = max(re.findall(r'<option value="(inspection/\d+)"', page.body), key=lambda one: int(one[11:]))
    answer = keeper.post(f"/items/{COUPLER}/release", evidence=newest, words=words)
    assert f"released from hold {hold.id}" in keeper.follow(answer).text
    assert open_holds(demo, COUPLER) == []


def test_release_needs_to_be_sure_of_the_person(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    keeper.get(f"/items/{COUPLER}/inspect")
    assert inspect(keeper, HELD, occasion="periodic", all_fine="yes").status == 303
    demo.clock.pass_by(minutes=6)
    page = keeper.get(f"/items/{HELD}/release")
    assert "prove anew that it is you" in page.text
    assert f"/again?next=/items/{HELD}/release" in page.body.replace("%2F", "/")
    answer = keeper.post(f"/items/{HELD}/release", evidence="inspection/2", words="It is tight again now.")
    assert answer.headers["location"].startswith("/again")
    assert open_holds(demo, HELD)
    keeper.get("/again")
    back = keeper.post("/again", password=PASSWORD, next=f"/items/{HELD}/release")
    page = keeper.follow(back)
    evidence = re.findall(r'<option value="(inspection/\d+)"', page.body)[0]
    assert (
        keeper.post(f"/items/{HELD}/release", evidence=evidence, words="It is tight again now.").status == 303
    )


def test_an_inspection_is_withdrawn_with_a_reason(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    page = keeper.get("/inspections/1")
    given = form_id(page)
    answer = keeper.post("/inspections/1", id=given, reason="It was the coupler beside it.")
    assert "withdraws inspection 1" in keeper.follow(answer).text
    page = keeper.get("/inspections/1")
    assert "Withdrawn by entry 2" in page.text
    assert "Withdraw it" not in page.text
    again = (
        keeper.post("/inspections/2", reason="It was the coupler beside it.")
        if "token" in page.body
        else page
    )
    assert again.status in (200, 409)
    assert demo.as_("elsewhere").get("/inspections/1").status == 404
    assert "There is no inspection 1 at a site of yours." in demo.as_("elsewhere").get("/inspections/1").text


def test_an_unanswered_checkpoint_is_named(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    answer = inspect(keeper, COUPLER, occasion="before use", **{"answer-1": "fine"})
    assert answer.status == 409
    assert "Not every checkpoint is answered; missing: 2, 3" in answer.text
    answer = inspect(keeper, COUPLER, occasion="before use", **{"remark-2": "a scratch"})
    assert "Checkpoint 2 has a remark and no answer" in answer.text
    answer = inspect(keeper, COUPLER, occasion="before use", all_fine="yes", version="7")
    assert "was changed meanwhile" in answer.text
    answer = inspect(keeper, COUPLER, occasion="before use", all_fine="yes", on="14 May 2026")
    assert "is still to come" in answer.text


def test_something_goes_away_once_and_comes_back(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    way = f"/items/{WRENCH}/send"
    given = form_id(keeper.get(f"{way}?errand=calibration"))
    form = {"id": given, "errand": "calibration", "to": "Brook Valley Calibration", "wanted": "20 May 2026"}
    answer = keeper.post(way, **form)
    assert answer.status == 409
    assert "Choose now how the certificate" in answer.text
    form |= {"rule": "guard band U", "tolerance": "3 %"}
    for _ in range(2):
        keeper.get(way)
        answer = keeper.post(way, **form)
        assert answer.status == 303, answer.text
    assert "judged by guard band U, ±3 %" in keeper.follow(answer).text
    with demo.room.look() as db:
        (line,) = away(db, find_site(db, "NORTH"), now=NOON)
    assert (line.tag, line.wanted_on) == (WRENCH, date(2026, 5, 20))
    assert "Brook Valley Calibration" in keeper.get("/away").text
    assert "Away for calibration at Brook Valley Calibration" in keeper.get(f"/items/{WRENCH}").text
    keeper.get(f"/items/{WRENCH}/back")
    page = keeper.follow(keeper.post(f"/items/{WRENCH}/back"))
    assert "Its certificate is still to come." in page.text
    keeper.get(f"/items/{WRENCH}/back")
    assert "It is not away" in keeper.last.text if keeper.last else False


def test_a_note_makes_a_task_done_and_is_taken_back(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    way = f"/items/{PUMP}/done"
    page = keeper.get(f"{way}?task=oil change".replace(" ", "%20"))
    assert '<option value="oil change" selected>' in page.body
    given = form_id(page)
    answer = keeper.post(way, id=given, task="oil change", on="12 May 2026", note=SAID)
    assert "is done. Next due" in keeper.follow(answer).text
    with demo.room.look() as db:
        entry = upkeep_done(db, find_item(db, PUMP), most=1)[0]
    assert (entry.done_on, entry.note) == (date(2026, 5, 12), SAID)
    page = keeper.get(f"{way}/{entry.entry}")
    answer = keeper.post(f"{way}/{entry.entry}", reason="It was the pump beside it.")
    assert f"withdraws entry {entry.entry}" in keeper.follow(answer).text
    keeper.get(f"{way}/{entry.entry}")
    assert keeper.post(f"{way}/{entry.entry}", reason="It was the pump beside it.").status == 409


def test_a_test_that_is_not_passed_keeps_the_hose_in(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    way = "/items/201714/proof-test"
    page = keeper.get(way)
    assert "Marked with a maximum working pressure of" in page.text
    form = {"pressure": "1400 bar", "held": "60", "gauge": "20203-2", "tight": "tight"}
    answer = keeper.post(way, **form)
    assert answer.status == 409
    assert "ends at 15,000 psi and cannot have shown" in answer.text
    assert "1400 bar" in answer.body
    assert "Say whether it stayed tight." in keeper.post(way, **(form | {"tight": ""})).text
    assert "as a whole number" in keeper.post(way, **(form | {"held": "a minute"})).text
    given = form_id(keeper.get(way))
    form |= {"id": given, "pressure": "900 bar", "tight": "leaked"}
    keeper.post(way, **form)
    keeper.get(way)
    page = keeper.follow(keeper.post(way, **form))
    assert "NOT PASSED" in page.text
    assert "It failed its proof test on 13 May 2026. Record a later proof test" in page.text
    assert len(open_holds(demo, "201714")) == 1


def test_an_officer_gives_and_ends_a_limit(demo: Pages) -> None:
    officer = demo.as_("officer")
    way = f"/items/{WRENCH}/limit"
    officer.get(way)
    form = {"task": "inspection", "months": "3", "document": "QM-17", "reason": "It works in salt water."}
    page = officer.follow(officer.post(way, **form))
    assert "goes by 3 months" in page.text
    assert "QM-17" in page.text
    officer.get(way)
    answer = officer.post(way, do="end", task="inspection", reason="It works in the dry again.")
    assert answer.status == 303, answer.text
    with demo.room.look() as db:
        assert limits(db, tag=WRENCH) == []


def test_an_item_is_retired_once(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    tag = tag_of(keeper, "socket")
    keeper.get(f"/items/{tag}/retire")
    answer = keeper.post(f"/items/{tag}/retire", reason="The square is rounded off.")
    page = keeper.follow(answer)
    assert "is retired." in page.text
    assert "Retired on 13 May 2026" in page.text
    assert "Inspect</a>" not in page.body
    assert "It was retired on 13 May 2026" in keeper.get(f"/items/{tag}/retire").text
    assert keeper.post(f"/items/{tag}/retire", reason="The square is rounded off.").status in (404, 409)


def test_an_officer_lets_one_overdue_item_out_for_one_job_once(demo: Pages) -> None:
    officer = demo.as_("officer")
    way = f"/items/{WRENCH}/concession"
    page = officer.get(f"{way}?job=NB-142")
    assert '<option value="NB-142" selected>' in page.body
    form = {"task": "calibration", "job": "NB-142", "asked_by": "N11", "code": "no other item", "hours": "8"}
    answer = officer.post(way, **form, reason="short")
    assert answer.status == 409
    reason = "The other wrench of its size is at the laboratory."
    for _ in range(2):
        officer.get(way)
        answer = officer.post(way, **form, reason=reason)
        assert answer.status == 303, answer.text
    assert "may go out for NB-142 with its calibration overdue" in officer.follow(answer).text
    with demo.room.look() as db:
        granted = [one for one in concessions(db, find_site(db, "NORTH"), now=NOON) if one.tag == WRENCH]
    assert [one.reason for one in granted] == [reason]
    officer.get(way)
    assert officer.post(way, **(form | {"asked_by": "N31"}), reason=reason + " Again.").status == 403
    keeper = demo.as_("keeper")
    keeper.get(way)
    assert keeper.post(way, **form, reason=reason).status in (303, 403)
