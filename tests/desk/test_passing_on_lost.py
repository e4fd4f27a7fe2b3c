"""Letters that were lost go to the spare address of every site they tell about, at once and once."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sqlalchemy import select

from fleet import records
from fleet.desk.letters import resend, write_letters
from fleet.lists.sites import find_site
from fleet.rules.letters import Delivery, LetterState, Outcome
from fleet.rules.people import THE_CLOCK
from tests.letterdesk import SENDER
from tests.passing import REFUSED, SENT, TUESDAY_NOON

if TYPE_CHECKING:
    from tests.passing import House


def test_a_refused_letter_goes_to_the_spare_address_at_once_with_what_the_server_answered(
    house: House,
) -> None:
    house.deputy("K1", "S1")
    house.letters_out(REFUSED, SENT, SENT)
    assert house.pass_on() == [("Kim Keeper", "spare")]
    assert house.pass_on() == []
    house.send()
    said = " ".join(house.post.taken[-1].plain.split())
    assert said.startswith(
        "This letter could not be delivered to Kim Keeper <k1@tool-room.example>; the last answer was: 550 "
        "5.1.1 No such mailbox. You get it because this is the spare address of North tool room."
    )


def test_a_letter_given_up_after_three_days_goes_to_the_spare_address(house: House) -> None:
    later = Delivery(Outcome.TRY_AGAIN, "451 4.7.1 Come back later")
    house.letters_out(later, SENT, SENT)
    house.read("P1", house.letter("P1"))
    house.read("S1", house.letter("S1"))
    assert house.pass_on() == []
    house.desk.clock.pass_by(hours=73)
    house.send(later)
    assert house.letter("K1").state == LetterState.UNDELIVERABLE
    assert house.pass_on() == [("Kim Keeper", "spare")]


def test_when_the_spare_letter_is_lost_too_nothing_more_is_written(house: House) -> None:
    house.letters_out(REFUSED, SENT, SENT)
    house.pass_on()
    house.send(REFUSED)
    assert house.letter("spare", whose="K1").state == LetterState.UNDELIVERABLE
    house.desk.clock.pass_by(hours=1)
    assert house.pass_on() == []


def test_a_letter_that_the_deputy_cannot_get_goes_to_the_spare_address(house: House) -> None:
    house.deputy("K1", "S1")
    house.letters_out()
    house.read_all_but("K1")
    house.at(TUESDAY_NOON)
    house.pass_on()
    house.send(REFUSED)
    assert house.pass_on() == [("Kim Keeper", "spare")]
    house.send()
    said = " ".join(house.post.taken[-1].plain.split())
    assert (
        "went to Kim Keeper on 18 May 2026 06:05, and nobody has said yet that it was read. It could not be"
        in said
    )
    assert "delivered to Sam Safety <s1@tool-room.example>" in said


def test_a_letter_that_was_set_aside_is_not_passed_on(house: House) -> None:
    house.desk.write()
    house.at(datetime(2026, 5, 25, 11, 5, tzinfo=UTC))
    house.desk.write()
    assert {line.state for line in house.desk.letters(week="2026-W21")} == {"undeliverable"}
    assert house.pass_on() == []


def test_a_lost_letter_that_was_sent_again_is_not_passed_on(house: House) -> None:
    house.letters_out(REFUSED, SENT, SENT)
    lost = house.letter("K1")
    with house.desk.room.act() as db:
        by, now = house.desk.shop.actor("S1"), house.desk.room.now(db)
        resend(db, lost.id, "The address was wrong", sender=SENDER, by=by, now=now)
    assert house.pass_on() == []


def test_what_a_lost_letter_says_of_two_sites_goes_to_the_spare_address_of_each(house: House) -> None:
    east = house.desk.shop.site("EAST")
    house.desk.shop.put(
        records.RoleRow, person_id=house.desk.shop.actor("K1").id, site_id=east, role="keeper"
    )
    # East comes first by its code, so the letter of whoever works at both is one of East.
    with house.desk.room.act() as db:
        now = house.desk.room.now(db)
        for code in ("EAST", "NORTH"):
            write_letters(db, find_site(db, code), "2026-W21", sender=SENDER, by=THE_CLOCK, now=now)
    house.send(REFUSED, SENT, SENT)
    assert house.pass_on() == [("Kim Keeper", "spare"), ("Kim Keeper", "spare")]
    spare = [line for line in house.desk.letters() if line.badge == "spare"]
    assert sorted(line.address for line in spare) == ["east@tool-room.example", "north@tool-room.example"]
    assert {line.site for line in spare} == {"EAST"}
    with house.desk.room.look() as db:
        site = records.LetterSiteRow
        about = db.execute(
            select(site.site_id)
            .where(site.letter_id.in_([line.id for line in spare]))
            .order_by(site.letter_id)
        )
        assert sorted(about.scalars()) == sorted([house.desk.site, east])
