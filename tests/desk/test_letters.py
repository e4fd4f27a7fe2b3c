"""Writing the weekly letters."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.letters import Written, write_letters
from fleet.lists.daybook import seal
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.letters import Outcome
from fleet.rules.people import THE_CLOCK
from tests.letterdesk import SENDER, LetterDesk

# The shop's noon: Wednesday 13 May 2026 in week 20, whose letters were due on Monday at six.
WEEK = "2026-W20"


def test_everybody_with_a_role_gets_one_letter_a_week(staffed: LetterDesk) -> None:
    assert staffed.write() == Written("NORTH", WEEK, 1, ("K1", "P1", "S1"))
    assert staffed.states() == {"K1": "written", "P1": "written", "S1": "written"}
    assert {line.number for line in staffed.letters()} == {1}


def test_writing_twice_writes_nothing_more(staffed: LetterDesk) -> None:
    staffed.write()
    before = staffed.letters()

    assert staffed.write() == Written("NORTH", WEEK, 1, ())
    assert staffed.letters() == before
    assert staffed.book() == [("letters written", WEEK)]


def test_who_comes_later_in_the_week_gets_theirs_under_the_same_number(staffed: LetterDesk) -> None:
    staffed.write()
    staffed.clock.pass_by(days=2)
    staffed.hire("K2", "keeper")

    assert staffed.write() == Written("NORTH", WEEK, 1, ("K2",))
    assert staffed.states()["K2"] == "written"


def test_several_roles_make_one_letter(desk: LetterDesk) -> None:
    desk.hire("K1", "keeper", "planner", "safety officer")

    assert desk.write().to == ("K1",)
    assert desk.write().to == ()


def test_a_shared_mailbox_gets_one_letter(desk: LetterDesk) -> None:
    desk.hire("K1", address="desk@tool-room.example")
    desk.hire("P1", address="Desk@Tool-Room.example")

    assert desk.write().to == ("K1",)
    assert desk.write().to == ()


def test_whoever_left_or_has_a_role_elsewhere_gets_none(staffed: LetterDesk) -> None:
    staffed.change(staffed.hire("K2", "keeper"), active=False)
    elsewhere = staffed.shop.site("SOUTH")
    staffed.shop.person("K3", elsewhere, "keeper", address="k3@tool-room.example")

    assert staffed.write().to == ("K1", "P1", "S1")


def test_those_without_an_address_are_named_to_the_others(staffed: LetterDesk) -> None:
    staffed.hire("P2", "planner", address=None)
    staffed.hire("P3", "planner", address="somewhere")

    assert staffed.write().to == ("K1", "P1", "S1")
    for badge in ("K1", "P1", "S1"):
        assert "P2 P2, planner has no address on record" in staffed.said(badge)
        assert "'somewhere' is no usable address" in staffed.said(badge)


def test_when_nobody_can_be_written_to_the_spare_address_gets_it_with_their_names(desk: LetterDesk) -> None:
    desk.hire("K1", address=None)
    desk.hire("P1", address=None)

    assert desk.write().to == ("spare",)
    (line,) = desk.letters()
    assert (line.badge, line.address) == ("spare", "north@tool-room.example")
    assert "You get this because nobody with a role at this site could be written to." in desk.said("spare")
    assert "Kim Keeper, keeper has no address" in desk.said("spare")
    assert "Pat Planner, planner has no address" in desk.said("spare")


def test_a_site_without_anybody_is_not_silent(desk: LetterDesk) -> None:
    assert desk.write().to == ("spare",)
    assert desk.write().to == ()


def test_the_spare_address_gets_nothing_while_anybody_else_is_reached(staffed: LetterDesk) -> None:
    staffed.write()
    for _ in range(2):
        staffed.mark(staffed.must_take(), Outcome.REFUSED, "550 5.1.1 No such user")

    assert staffed.write().to == ()


def test_what_is_kept_can_be_checked_against_its_digest(staffed: LetterDesk) -> None:
    """SHA-256 (FIPS 180-4, through hashlib) over subject, plain text and HTML."""
    staffed.write()
    for line in staffed.letters():
        text = staffed.text(line.badge)
        content = f"{line.subject}\0{text.plain}\0{text.html}"
        assert text.sha256 == hashlib.sha256(content.encode()).hexdigest()


def test_the_day_book_holds_digest_and_name_of_each_letter(staffed: LetterDesk) -> None:
    staffed.write()
    entry = records.EntryRow
    with staffed.room.look() as db:
        row = db.execute(select(entry.body, entry.person_name)).one()
    kept = {(line.badge, staffed.text(line.badge).sha256) for line in staffed.letters()}

    assert row.person_name == "the clock"
    assert {(letter["to"], letter["sha256"]) for letter in json.loads(row.body)["letters"]} == kept
    assert json.loads(row.body)["number"] == 1


def test_the_footer_bears_the_seal_of_the_day_book_as_it_was(staffed: LetterDesk) -> None:
    staffed.write()
    with staffed.room.look() as db:
        first = seal(db, staffed.site)
    staffed.clock.pass_by(days=7)
    staffed.write()

    assert f"Day-book seal {first}." in staffed.said("K1", week="2026-W21")
    assert "Day-book seal 0·0000000000000000." in staffed.said("K1", week=WEEK)


def test_a_letter_bears_a_name_that_is_its_own(staffed: LetterDesk) -> None:
    staffed.write()
    names = {staffed.text(badge).message_id for badge in ("K1", "P1", "S1")}

    assert len(names) == 3
    assert all(name.startswith("<weekly-2026-W20-") for name in names)
    assert all(name.endswith("@tool-room.example>") for name in names)


def test_what_fails_after_writing_leaves_no_letter_and_uses_no_number(staffed: LetterDesk) -> None:
    site = staffed.line

    def write_and_fail() -> None:
        with staffed.room.act() as db:
            write_letters(db, site, WEEK, sender=SENDER, by=THE_CLOCK, now=staffed.clock.now)
            raise RuntimeError("the power went")

    with pytest.raises(RuntimeError, match="the power went"):
        write_and_fail()

    assert staffed.letters() == []
    assert staffed.write().number == 1


def test_each_site_counts_its_own_letters(desk: LetterDesk) -> None:
    south = LetterDesk(desk.room, desk.shop, desk.clock, "SOUTH")
    assert (desk.write().number, south.write().number) == (1, 1)
    desk.clock.pass_by(days=7)
    assert (desk.write().number, south.write().number) == (2, 2)


# --- Which week ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("week", ["2026-W19", "2026-W21", "2025-W20"])
def test_no_letter_is_written_for_another_week(week: str, staffed: LetterDesk) -> None:
    with pytest.raises(NotPossible, match=f"for {week}, because it would show .* write that of 2026-W20"):
        staffed.write(week)

    assert staffed.letters() == []


def test_before_its_hour_this_weeks_letter_may_be_written_by_hand(staffed: LetterDesk) -> None:
    """Monday 18 May, five in the morning at the site (UTC-5): last week's letter is still the one due."""
    staffed.clock.now = datetime(2026, 5, 18, 10, 0, tzinfo=UTC)

    assert staffed.write("2026-W20").number == 1
    assert staffed.write("2026-W21").number == 2


def test_the_week_with_number_53_has_its_letter(staffed: LetterDesk) -> None:
    """1 January 2027 lies in 2026-W53 (ISO 8601)."""
    staffed.clock.now = datetime(2027, 1, 1, 18, 0, tzinfo=UTC)
    assert staffed.write().week == "2026-W53"
    staffed.clock.now = datetime(2027, 1, 4, 18, 0, tzinfo=UTC)
    assert staffed.write().week == "2027-W01"
    assert "No letter was written for" not in staffed.said("K1", week="2027-W01")


def test_weeks_without_a_letter_are_named_and_not_made_up_for(staffed: LetterDesk) -> None:
    staffed.write()
    staffed.clock.pass_by(days=21)

    assert staffed.write() == Written("NORTH", "2026-W23", 2, ("K1", "P1", "S1"))
    assert "No letter was written for 2026-W21 and 2026-W22." in staffed.said("P1", week="2026-W23")
    assert {line.week for line in staffed.letters()} == {WEEK, "2026-W23"}


def test_the_first_letter_of_a_site_misses_none(staffed: LetterDesk) -> None:
    staffed.write()

    assert "No letter was written for" not in staffed.said("K1")


def test_letters_that_still_wait_are_overtaken_by_the_next_and_named_in_it(staffed: LetterDesk) -> None:
    staffed.write()
    sent = staffed.must_take()
    staffed.mark(sent, Outcome.SENT)
    staffed.clock.pass_by(days=7)
    staffed.write()

    old = {line.badge: line for line in staffed.letters(week=WEEK)}
    assert {badge: line.state for badge, line in old.items()} == {
        "K1": "sent",
        "P1": "undeliverable",
        "S1": "undeliverable",
    }
    assert old["P1"].last_answer == "set aside: the letter of 2026-W21 takes its place"
    assert staffed.outcomes(old["P1"].id) == [(0, "set aside")]
    said = staffed.said("K1", week="2026-W21")
    assert "NOT TOLD (2)" in said
    assert "P1 Pat Planner, p1@tool-room.example letter 1 of 2026-W20 has not been sent" in said


def test_a_letter_in_somebodys_hand_is_not_overtaken(staffed: LetterDesk) -> None:
    staffed.write()
    staffed.clock.pass_by(days=7, minutes=-1)
    taken = staffed.must_take()
    staffed.clock.pass_by(minutes=1)
    staffed.write()

    assert {line.badge: line.state for line in staffed.letters(week=WEEK)}["K1"] == "taken"
    staffed.mark(taken, Outcome.SENT)
    assert {line.badge: line.state for line in staffed.letters(week=WEEK)}["K1"] == "sent"


# --- Who may ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("badge", ["K1", "P1", "S1"])
def test_whoever_answers_for_the_site_may_write_its_letters(badge: str, staffed: LetterDesk) -> None:
    assert len(staffed.write(by=staffed.shop.actor(badge)).to) == 3


def test_a_fitter_may_not(staffed: LetterDesk) -> None:
    staffed.shop.person("F1", staffed.site)

    with pytest.raises(NotAllowed, match="Fin Fitter is not a keeper or planner or safety officer"):
        staffed.write(by=staffed.shop.actor("F1"))


# --- Once more ----------------------------------------------------------------------------------------------
