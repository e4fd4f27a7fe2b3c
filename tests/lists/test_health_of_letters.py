"""What the doctor says about letters that were lost: until their reader got a later one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.lists.health import health
from fleet.rules.letters import Outcome
from tests.letterdesk import LetterDesk, Outbox

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    """A site with two readers; the letter of one of them is lost."""
    made = LetterDesk(room, shop, clock)
    made.hire("K1")
    made.hire("P1")
    made.write()
    made.mark(made.must_take(), Outcome.REFUSED, "550 5.1.1 No such user")
    made.send(Outbox())
    return made


def said(desk: LetterDesk) -> list[str]:
    with desk.room.look() as db:
        return [line.sentence for line in health(db, clock=desk.clock.now) if line.what == "letters"]


def test_a_lost_letter_is_said(desk: LetterDesk) -> None:
    assert said(desk) == ["One letter could not be delivered. See: fleet letters list"]


def test_the_next_letter_that_arrives_settles_it(desk: LetterDesk) -> None:
    desk.clock.pass_by(days=7)
    desk.write()
    assert len(said(desk)) == 1
    desk.send(Outbox())
    assert said(desk) == []


def test_letters_that_were_set_aside_are_settled_by_the_one_in_their_place(desk: LetterDesk) -> None:
    desk.clock.pass_by(days=7)
    desk.write()
    desk.clock.pass_by(days=7)
    desk.write()
    assert len(said(desk)) == 1
    desk.send(Outbox())
    assert said(desk) == []
