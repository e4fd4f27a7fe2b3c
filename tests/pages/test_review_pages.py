"""Deciding: what is overdue, concessions, impact reviews, intervals, how letters stand, and who is away."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import select, update

from fleet.records import AbsenceRow, ConcessionRow, IntervalProposalRow, LimitRow
from fleet.records.base import rows_of
from tests.pages.busy import JOB, OVERDUE, WRENCH, make_busy
from tests.shop import NOON

if TYPE_CHECKING:
    from tests.pages.browsing import Pages

WHY = "The error is inside what the joint allows"

# --- What is overdue ----------------------------------------------------------------------------------------


def test_what_is_overdue_and_out_stands_first_with_who_has_it_and_what_to_decide(demo: Pages) -> None:
    page = demo.as_("officer").get("/review")
    assert "Out (1)" in page.text
    assert "20129-0 wrench WRL-60 AF 2 3/8 in serial W83-4001 inspection: 7 May 2026" in page.text
    assert "with Lonnie Crabtree-Moss, job NB-139, back 8 May 2026 nothing yet" in page.text
    assert page.body.index("Out (1)") < page.body.index("20129-0") < page.body.index("In (")
    assert 'href="/items/201290/concession"' in page.body
    # A hose past its life: nobody can lift that, so no concession is offered.
    row = page.body.split("replacement:")[1].split("</tr>")[0]
    assert "nobody can lift this" in row
    assert "/concession" not in row


def test_what_was_decided_already_is_said(demo: Pages) -> None:
    make_busy(demo.room)
    officer = demo.as_("officer")
    text = officer.get("/review?where=in").text
    assert "concession for NB-141 until 13 May 2026 20:00, granted by Petra Vansell" in text
    officer.get("/holds?item=201290")
    officer.post("/holds", item="201290", cause="damaged", reason="Square drive is cracked")
    assert "on hold: it is to come back and stay in" in officer.get("/review?where=out").text


def test_it_is_filtered_by_kind_and_place(demo: Pages) -> None:
    officer = demo.as_("officer")
    hoses = officer.get("/review?kind=hose").text
    assert "hose HTW-A20" in hoses
    assert "WRL-60" not in hoses
    assert "Nothing that is out is overdue." in hoses
    assert "In (" not in officer.get("/review?where=out").text
    assert "Out (" not in officer.get("/review?where=in").text
    assert officer.get("/review?kind=%3Cb%3E&where=%3Cb%3E&page=x").status == 200
    assert "Nothing that is in is overdue on page 7." in officer.get("/review?page=7").text


# --- Concessions --------------------------------------------------------------------------------------------


def test_concessions_running_and_over(demo: Pages) -> None:
    make_busy(demo.room)
    officer = demo.as_("officer")
    text = officer.get("/concessions").text
    assert "Running (1)" in text
    assert "no other item: Crew waits at the flange" in text
    assert "asked by Marla Quistgard, granted by Petra Vansell" in text
    assert "2026-05 24 1 4.2" in text
    assert "Over, of the last year (0)" in text
    concession = rows_of(ConcessionRow)
    with demo.room.act() as db:
        begun = NOON - timedelta(days=2)
        db.execute(update(concession).values(starts_at=begun, ends_at=begun + timedelta(hours=8)))
    text = officer.get("/concessions").text
    assert "None is running." in text
    assert "Over, of the last year (1)" in text


# --- Impact reviews -----------------------------------------------------------------------------------------


def test_a_review_is_decided_line_by_line_and_closed(demo: Pages) -> None:
    review = make_busy(demo.room).review
    way = f"/impact/{review}"
    officer = demo.as_("officer")
    page = officer.get(way)
    lines = page.body.count('name="line"')
    assert lines > 1
    assert JOB in page.text
    # Both unit systems stand beside each other.
    assert "lbf·ft (" in page.text
    assert "psi (" in page.text
    none = officer.post(f"{way}/decide", ruling="accept", reason=WHY)
    assert (none.status, "Tick the lines" in none.text) == (409, True)
    assert WHY in none.body
    short = officer.post(f"{way}/decide", line="1", ruling="accept", reason="fine")
    assert short.status == 409
    assert 'value="1" checked' in short.body
    assert officer.post(f"{way}/decide", line="1", ruling="guess", reason=WHY).status == 422
    assert officer.post(f"{way}/decide", line="99", ruling="accept", reason=WHY).status == 404
    done = officer.follow(officer.post(f"{way}/decide", line="1", ruling="accept", reason=WHY))
    assert f"Line 1: accept. {lines - 1} still to decide." in done.text
    assert "accept: The error is inside what the joint allows (Petra Vansell, 13 May 2026 12:00)" in done.text
    again = officer.post(f"{way}/decide", line="1", ruling="accept", reason=WHY)
    assert (again.status, "Line 1 was decided by Petra Vansell" in again.text) == (409, True)
    early = officer.post(f"{way}/close", summary="All joints stay as they are")
    assert (early.status, "nobody has decided line" in early.text) == (409, True)
    rest = tuple(str(number) for number in range(2, lines + 1))
    officer.follow(officer.post(f"{way}/decide", line=rest, ruling="re-tighten", reason=WHY))
    closed = officer.follow(officer.post(f"{way}/close", summary="One joint is tightened again"))
    assert "Closed 13 May 2026 12:00 by Petra Vansell: One joint is tightened again" in closed.text
    assert '<form method="post" action="/impact' not in closed.body
    assert "Closed (1)" in officer.get("/impact").text


def test_only_an_officer_of_the_site_decides(demo: Pages) -> None:
    review = make_busy(demo.room).review
    for who, status in (("keeper", 403), ("planner", 403), ("elsewhere", 404), ("administrator", 404)):
        browser = demo.as_(who)
        browser.get("/own")
        page = browser.post(f"/impact/{review}/decide", line="1", ruling="accept", reason=WHY)
        assert page.status == status
    assert demo.as_("elsewhere").get(f"/impact/{review}").status == 404
    assert demo.as_("planner").get(f"/impact/{review}").status == 200


def test_it_must_be_sure_of_the_person_and_says_so_before(demo: Pages) -> None:
    review = make_busy(demo.room).review
    officer = demo.as_("officer")
    assert "Prove it first" not in officer.get(f"/impact/{review}").text
    demo.clock.pass_by(minutes=6)
    page = officer.get(f"/impact/{review}")
    assert f'href="/again?next=/impact/{review}"' in page.body
    answer = officer.post(f"/impact/{review}/decide", line="1", ruling="accept", reason=WHY)
    assert (answer.status, answer.headers["location"].startswith("/again")) == (303, True)
    assert "to decide" in officer.get(f"/impact/{review}").text


# --- Intervals and certificates -----------------------------------------------------------------------------


def test_a_proposed_interval_is_taken_or_declined_with_a_reason(demo: Pages) -> None:
    busy = make_busy(demo.room)
    officer = demo.as_("officer")
    page = officer.get("/review/intervals")
    assert "12 months" in page.text
    assert "15 months" in page.text
    way = f"/review/intervals/{busy.proposal}"
    refused = officer.post(way, site="NORTH", choice="decline", reason="no")
    assert (refused.status, 'value="no"' in refused.body or ">no</textarea>" in refused.body) == (409, True)
    why = "Too few certificates yet"
    said = officer.follow(officer.post(way, site="NORTH", choice="decline", reason=why))
    assert f"Proposal {busy.proposal} is declined." in said.text
    assert "No interval is proposed." in said.text
    again = officer.post(way, site="NORTH", choice="take", reason=why)
    assert (again.status, "was declined already by Petra Vansell" in again.text) == (409, True)
    with demo.room.look() as db:
        assert db.execute(select(IntervalProposalRow.choice)).scalar_one() == "declined"
        assert db.execute(select(LimitRow.id)).first() is None


def test_nobody_else_takes_an_interval(demo: Pages) -> None:
    busy = make_busy(demo.room)
    for who, status in (("keeper", 403), ("elsewhere", 404), ("administrator", 404)):
        browser = demo.as_(who)
        browser.get("/own")
        page = browser.post(f"/review/intervals/{busy.proposal}", choice="take", reason="Looks all right")
        assert page.status == status


def test_certificates_to_decide_lead_to_their_items(demo: Pages) -> None:
    make_busy(demo.room)
    page = demo.as_("officer").get("/review/certificates")
    assert "C-77, Bench" in page.text
    assert page.body.index("C-77") < page.body.index("K-2026-118")
    assert f'href="/items/{WRENCH}"' in page.body
    assert "C-77" not in demo.as_("elsewhere").get("/review/certificates").text


# --- Letters and deputies -----------------------------------------------------------------------------------


def test_how_the_letters_of_the_site_stand(demo: Pages) -> None:
    busy = make_busy(demo.room)
    officer = demo.as_("officer")
    text = officer.get("/letters/site").text
    for said in ("Sent 1", "Not delivered 1", "Acknowledged 0", "sent 13 May 2026 12:00, not acknowledged"):
        assert said in text
    dead = officer.get(f"/letters/{busy.dead}").text
    assert "This letter has not arrived: undeliverable." in dead
    assert "Send it again" in dead
    # Somebody else's letter is theirs to acknowledge.
    assert "I have read it" not in dead
    page = demo.as_("planner").get("/letters/site")
    assert (page.status, "is not a keeper or safety officer at North Basin" in page.text) == (403, True)
    assert demo.as_("planner").get(f"/letters/{busy.sent}").status == 404


def test_an_absence_is_set_once_and_ended(demo: Pages) -> None:
    officer = demo.as_("officer")
    officer.get("/deputies")
    form = {"person": "N21", "from": "18 May 2026", "through": "2026-05-29", "deputy": "N22"}
    said = officer.follow(officer.post("/deputies/absence", **form))
    assert "Ines Tollivar is away from 18 May 2026 through 29 May 2026; Rufus Amadike gets" in said.text
    assert "That absence stands already." in officer.follow(officer.post("/deputies/absence", **form)).text
    overlap = officer.post("/deputies/absence", **(form | {"through": "2026-06-01"}))
    assert overlap.status == 409
    assert "or end it first." in overlap.text
    assert "fleet " not in overlap.text.split("That did not work")[1].split("Absences")[0]
    ended = officer.follow(officer.post("/deputies/absence/end", person="N21", first="2026-05-18"))
    assert "Ines Tollivar gets the letters again." in ended.text
    with demo.room.look() as db:
        assert len(db.execute(select(AbsenceRow.id)).all()) == 1


def test_an_absence_without_a_deputy_says_what_is_missing(demo: Pages) -> None:
    officer = demo.as_("officer")
    officer.get("/deputies")
    form = {"person": "N21", "from": "18 May 2026", "through": "29 May 2026"}
    none = officer.follow(officer.post("/deputies/standing", person="N21"))
    assert "Ines Tollivar has no standing deputy any more." in none.text
    page = officer.post("/deputies/absence", **form)
    assert page.status == 409
    assert "has no standing deputy; choose who is told instead." in page.text
    assert 'value="18 May 2026"' in page.body
    officer.follow(officer.post("/deputies/standing", person="N21", stand_in="N22"))
    assert "Rufus Amadike gets" in officer.follow(officer.post("/deputies/absence", **form)).text
    assert "Rufus Amadike stands in for Ines Tollivar" in officer.get("/deputies").text


def test_nobody_speaks_for_somebody_elsewhere(demo: Pages) -> None:
    elsewhere = demo.as_("elsewhere")
    elsewhere.get("/deputies")
    form = {"person": "N21", "from": "18 May 2026", "through": "29 May 2026", "deputy": "N22"}
    assert elsewhere.post("/deputies/absence", **form).status == 404
    assert "Ines Tollivar" not in elsewhere.get("/deputies").text
    assert OVERDUE not in elsewhere.get("/review").body
