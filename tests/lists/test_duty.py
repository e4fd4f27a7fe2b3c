"""Whether the duty is done: what is said when letters stop, get lost or go elsewhere, and until when."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import insert

from fleet import records
from fleet.lists.duty import DutyLine, duty, run_complete
from fleet.records.base import rows_of
from fleet.rounds import tick
from fleet.rules.letters import Delivery, Outcome
from tests.letterdesk import LetterDesk, Outbox

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop

REFUSED = Delivery(Outcome.REFUSED, "550 5.1.1 No such user")
_ATTEMPT = insert(rows_of(records.LetterAttemptRow))
LATER = Delivery(Outcome.TRY_AGAIN, "451 4.7.1 Later, please")


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    """A site with two readers."""
    made = LetterDesk(room, shop, clock)
    made.hire("K1")
    made.hire("P1")
    return made


def looked_at(desk: LetterDesk, **mail: Any) -> list[DutyLine]:  # noqa: ANN401  Any of the settings.
    asked = replace(desk.room.settings.mail, **mail)
    with desk.room.look() as db:
        return duty(db, asked, clock=desk.clock.now)


def amiss(desk: LetterDesk, **mail: Any) -> dict[str, str]:  # noqa: ANN401  As above.
    return {line.what: line.sentence for line in looked_at(desk, **mail) if not line.ok}


def go_round(desk: LetterDesk, *answers: Delivery) -> None:
    tick(desk.room, Outbox(list(answers)))


def test_when_the_rounds_have_sent_everything_all_is_in_order(desk: LetterDesk) -> None:
    go_round(desk)
    assert amiss(desk) == {}
    assert [line.sentence for line in looked_at(desk)] == [
        "Letters are on: they are laid into a folder that is set.",
        "The rounds ran at 17:00 UTC.",
        "The weekly letters of every site went out.",
        "No letter waits for more than four hours.",
        "No letter is lost that was not made good since.",
    ]


def test_a_new_room_is_told_what_is_still_to_be_set_up(desk: LetterDesk) -> None:
    found = [line for line in looked_at(desk) if not line.ok]
    assert {line.what for line in found} == {"rounds", "weekly letters"}
    assert not any(line.begun for line in found)
    assert amiss(desk)["weekly letters"] == "No weekly letters of NORTH were written in the last 13 weeks."


# --- Off, redirected, limited -------------------------------------------------------------------------------


def test_letters_that_are_off_are_said_first_and_once(desk: LetterDesk) -> None:
    off = looked_at(desk, folder=None)
    assert off[0] == DutyLine(
        "letters", ok=False, sentence="Letters are off until mail.host or mail.folder is set.", begun=False
    )
    assert set(amiss(desk, folder=None)) == {"letters", "rounds"}


def test_letters_to_one_address_instead_are_amiss(desk: LetterDesk) -> None:
    go_round(desk)
    assert amiss(desk, redirect_to="me@tool-room.example") == {
        "redirected": "Every letter goes to the address in mail.redirect_to instead of its reader."
    }


def test_a_limit_to_domains_is_said_and_in_order(desk: LetterDesk) -> None:
    go_round(desk)
    assert amiss(desk, allowed_domains=("a.example", "b.example")) == {}
    said = [line.sentence for line in looked_at(desk, allowed_domains=("a.example", "b.example"))]
    assert "Letters go only to addresses at a.example, b.example." in said


def test_a_week_that_went_to_another_address_did_not_go_out(desk: LetterDesk) -> None:
    elsewhere = Delivery(Outcome.SENT, "redirected to me@tool-room.example: 250 OK")
    go_round(desk, elsewhere, elsewhere)
    assert amiss(desk) == {
        "weekly letters": "In none of the last 13 weeks did all weekly letters of NORTH go out."
    }


# --- The rounds ---------------------------------------------------------------------------------------------


def test_rounds_that_stopped_are_noticed_after_five_minutes(desk: LetterDesk) -> None:
    go_round(desk)
    desk.clock.pass_by(minutes=5)
    assert amiss(desk) == {}
    desk.clock.pass_by(seconds=1)
    assert amiss(desk) == {"rounds": "The rounds have not run since 13 May 2026 17:00 UTC."}


# --- The weekly letters -------------------------------------------------------------------------------------


def test_a_site_is_silent_when_its_last_whole_week_is_more_than_eight_days_old(desk: LetterDesk) -> None:
    go_round(desk)
    desk.clock.pass_by(days=8)
    assert "weekly letters" not in amiss(desk)
    desk.clock.pass_by(seconds=1)
    assert amiss(desk)["weekly letters"] == "Since 2026-W20 the weekly letters of NORTH did not all go out."
    go_round(desk)
    assert amiss(desk) == {}


def test_each_site_is_named_by_itself(desk: LetterDesk) -> None:
    go_round(desk)
    south = desk.shop.site("SOUTH")
    desk.shop.person("S9", south, "keeper", address="s9@tool-room.example")
    assert amiss(desk) == {"weekly letters": "No weekly letters of SOUTH were written in the last 13 weeks."}


def test_a_letter_about_two_sites_serves_both(desk: LetterDesk) -> None:
    south = desk.shop.site("SOUTH")
    desk.shop.person("S9", south, "keeper", address="k1@tool-room.example")
    go_round(desk)
    assert amiss(desk) == {}
    with desk.room.look() as db:
        assert run_complete(db, south, "2026-W20") == 1


def test_somebody_hired_in_the_middle_of_the_week_makes_no_noise(desk: LetterDesk) -> None:
    go_round(desk)
    desk.clock.pass_by(days=1)
    desk.hire("S1")
    desk.write()
    go_round(desk, LATER)
    assert amiss(desk) == {}
    with desk.room.look() as db:
        assert run_complete(db, desk.site, "2026-W20") == 0


# --- Waiting ------------------------------------------------------------------------------------------------


def test_a_letter_that_waits_is_late_after_four_hours(desk: LetterDesk) -> None:
    go_round(desk, LATER)
    desk.clock.pass_by(hours=4)
    assert "waiting" not in amiss(desk)
    desk.clock.pass_by(seconds=1)
    assert amiss(desk)["waiting"] == "One letter has waited for more than four hours."
    go_round(desk)
    assert amiss(desk) == {}


def test_a_letter_that_may_only_go_after_a_quiet_night_is_not_late(desk: LetterDesk) -> None:
    desk.write()
    morning = desk.clock.now + timedelta(hours=10)
    desk.change_letters(not_before=morning)
    desk.clock.pass_by(hours=10)
    assert "waiting" not in amiss(desk)
    desk.clock.pass_by(hours=5)
    assert amiss(desk)["waiting"] == "2 letters have waited for more than four hours."


# --- Lost ---------------------------------------------------------------------------------------------------


def test_a_lost_letter_is_said_until_a_later_one_reaches_its_reader(desk: LetterDesk) -> None:
    go_round(desk, REFUSED)
    said = "One letter could not be delivered. See: fleet letters list --state undeliverable"
    assert amiss(desk)["undeliverable"] == said
    desk.clock.pass_by(days=7)
    desk.write()
    assert amiss(desk)["undeliverable"] == said
    go_round(desk)
    assert amiss(desk) == {}


def test_letters_that_were_set_aside_are_settled_by_the_one_in_their_place(desk: LetterDesk) -> None:
    for _ in range(2):
        desk.write()
        desk.clock.pass_by(days=7)
    desk.write()
    assert amiss(desk)["undeliverable"].startswith("4 letters could not be delivered.")
    go_round(desk)
    assert amiss(desk) == {}


def test_a_lost_letter_of_somebody_who_left_is_nobodys_business(desk: LetterDesk) -> None:
    gone = desk.hire("S1")
    desk.write()
    desk.change_letters(state="undeliverable", last_answer="550 5.1.1 No such user")
    assert amiss(desk)["undeliverable"].startswith("3 letters")
    desk.change(gone, active=False)
    assert amiss(desk)["undeliverable"].startswith("2 letters")


def test_a_letter_without_an_answer_asks_for_a_question_to_its_reader(desk: LetterDesk) -> None:
    desk.write()
    taken = desk.must_take()
    desk.mark(taken, Outcome.REFUSED)
    with desk.room.act() as db:
        noted = {"letter_id": taken.id, "turn": taken.turn, "at": desk.clock.now, "answer": "…"}
        db.execute(_ATTEMPT, noted | {"outcome": "handed over, no answer"})
    found = amiss(desk)
    assert "undeliverable" not in found
    assert found["unanswered"].startswith("One letter was handed over without an answer; ask the reader")


# --- Readers ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("address", [None, "kim at the tool room"])
def test_a_site_whose_readers_cannot_be_written_to_is_named(desk: LetterDesk, address: str | None) -> None:
    south = desk.shop.site("SOUTH")
    desk.shop.person("S9", south, "keeper", address=address)
    go_round(desk)
    assert amiss(desk) == {
        "readers": "Nobody with a role at SOUTH has a usable e-mail address; "
        "only its spare address is written to."
    }


def test_no_sentence_names_a_person_or_an_address(desk: LetterDesk) -> None:
    go_round(desk, REFUSED, LATER)
    desk.clock.pass_by(days=20)
    sentences = " ".join(line.sentence for line in looked_at(desk, redirect_to="me@tool-room.example"))
    assert len(amiss(desk)) >= 4
    assert "@" not in sentences
    assert not {"K1", "P1", "Kim", "Pat"} & set(sentences.replace(".", " ").split())
