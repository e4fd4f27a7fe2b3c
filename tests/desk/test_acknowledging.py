"""Saying that a letter was read: who may, of which letter, and what is written down."""

from __future__ import annotations

import json
from datetime import date
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet.desk.acknowledging import Acknowledged, Numbered, acknowledge
from fleet.desk.deputies import AbsenceSlip, set_absence
from fleet.desk.letters import resend
from fleet.lists.letters import unacknowledged
from fleet.records import AcknowledgementRow, EntryRow, RoleRow
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.letters import WEEKLY
from fleet.rules.people import SETTING_UP, THE_CLOCK
from tests.letterdesk import Outbox

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.rules.people import Actor
    from tests.letterdesk import LetterDesk


@pytest.fixture
def sent(staffed: LetterDesk) -> LetterDesk:
    """Letter 1 of three people, all sent."""
    staffed.write()
    staffed.send(Outbox())
    return staffed


def say(
    desk: LetterDesk, by: str | Actor, asked: Sequence[int] | None = None, number: int = 1
) -> tuple[Acknowledged, ...]:
    """Somebody says that they read these letters, or their own of a number."""
    actor = desk.shop.actor(by) if isinstance(by, str) else by
    meant = Numbered(desk.site, WEEKLY, number) if asked is None else asked
    with desk.room.act() as db:
        return acknowledge(db, meant, by=actor, now=desk.room.now(db))


def id_of(desk: LetterDesk, badge: str) -> int:
    (line,) = [line for line in desk.letters() if line.badge == badge]
    return line.id


def open_badges(desk: LetterDesk) -> list[str]:
    with desk.room.look() as db:
        return sorted(line.badge for line in unacknowledged(db, desk.line, now=desk.room.now(db)))


def test_a_reader_acknowledges_their_own_letter_and_no_others(sent: LetterDesk) -> None:
    assert open_badges(sent) == ["K1", "P1", "S1"]
    (done,) = say(sent, "K1")
    assert (done.number, done.by, done.at, done.again) == (1, "Kim Keeper", sent.clock.now, False)
    assert open_badges(sent) == ["P1", "S1"]
    read = {line.badge: (line.read_at, line.read_by) for line in sent.letters()}
    assert read == {"K1": (sent.clock.now, "Kim Keeper"), "P1": (None, None), "S1": (None, None)}


def test_it_is_written_into_the_day_book(sent: LetterDesk) -> None:
    say(sent, "K1")
    with sent.room.look() as db:
        entry = db.execute(select(EntryRow).order_by(EntryRow.seq.desc())).first()
    assert entry is not None
    assert (entry.act, entry.about, entry.person_name) == ("letter acknowledged", "2026-W20", "Kim Keeper")
    assert json.loads(entry.body)["number"] == 1


def test_a_second_time_says_who_was_first_and_changes_nothing(sent: LetterDesk) -> None:
    (first,) = say(sent, "K1")
    sent.clock.pass_by(hours=1)
    before = sent.book()
    (again,) = say(sent, "K1")
    assert (again.again, again.at, again.by) == (True, first.at, "Kim Keeper")
    assert sent.book() == before
    with sent.room.look() as db:
        assert len(db.execute(select(AcknowledgementRow.letter_id)).all()) == 1


def test_by_its_id_only_the_letter_that_was_theirs(sent: LetterDesk) -> None:
    with pytest.raises(NotAllowed, match=r"Letter 1 of NORTH to Kim Keeper was not sent to Pat Planner"):
        say(sent, "P1", [id_of(sent, "P1"), id_of(sent, "K1")])
    assert open_badges(sent) == ["K1", "P1", "S1"]
    say(sent, "P1", [id_of(sent, "P1")])
    assert open_badges(sent) == ["K1", "S1"]
    with pytest.raises(NotFound, match="no letter with the id 999"):
        say(sent, "P1", [999])


def test_whoever_has_no_letter_of_that_number_is_told(sent: LetterDesk) -> None:
    sent.shop.person("F1", sent.site)
    with pytest.raises(NotAllowed, match="was not sent to Fin Fitter"):
        say(sent, "F1")
    with pytest.raises(NotFound, match="no weekly letter 7"):
        say(sent, "K1", number=7)


@pytest.mark.parametrize("nobody", [SETTING_UP, THE_CLOCK])
def test_only_a_person_can_have_read_a_letter(sent: LetterDesk, nobody: Actor) -> None:
    with pytest.raises(NotAllowed, match="by a person"):
        say(sent, nobody)


def test_a_letter_that_was_not_sent_cannot_have_been_read(staffed: LetterDesk) -> None:
    staffed.write()
    with pytest.raises(NotPossible, match="is written and was not sent"):
        say(staffed, "K1")
    with pytest.raises(NotPossible, match="is written and was not sent"):
        say(staffed, "K1", [id_of(staffed, "K1")])


def test_who_shares_the_mailbox_shares_the_letter(desk: LetterDesk) -> None:
    desk.hire("K1", address="Bench@tool-room.example")
    desk.hire("P1", address="bench@tool-room.example ")
    desk.write()
    desk.send(Outbox())
    (done,) = say(desk, "P1")
    assert done.by == "Pat Planner"
    assert open_badges(desk) == []


def test_the_deputy_in_force_may_and_only_while_in_force(sent: LetterDesk) -> None:
    day = date(2026, 5, 14)
    with sent.room.act() as db:
        slip = AbsenceSlip("K1", day, day, "P1")
        set_absence(db, slip, by=sent.shop.actor("K1"), now=sent.room.now(db))
    letter = [id_of(sent, "K1")]
    with pytest.raises(NotAllowed):
        say(sent, "P1", letter)
    sent.clock.pass_by(days=1)
    with pytest.raises(NotAllowed):
        say(sent, "S1", letter)
    (done,) = say(sent, "P1", letter)
    assert (done.by, done.address) == ("Pat Planner", "k1@tool-room.example")


def test_by_number_whoever_has_a_letter_of_their_own_means_that(sent: LetterDesk) -> None:
    with sent.room.act() as db:
        slip = AbsenceSlip("K1", date(2026, 5, 13), date(2026, 5, 13), "P1")
        set_absence(db, slip, by=sent.shop.actor("K1"), now=sent.room.now(db))
    assert [one.address for one in say(sent, "P1")] == ["p1@tool-room.example"]
    assert open_badges(sent) == ["K1", "S1"]
    kim = next(line for line in sent.letters() if line.badge == "K1")
    with sent.room.act() as db:
        person = sent.shop.actor("K1").id
        asked = Numbered(sent.site, WEEKLY, 1, person)
        acknowledge(db, asked, by=sent.shop.actor("P1"), now=sent.room.now(db))
    assert kim.badge not in open_badges(sent)


def test_a_letter_to_the_spare_address_is_for_a_keeper_or_safety_officer(desk: LetterDesk) -> None:
    for badge in ("K1", "P1", "S1"):
        desk.hire(badge, address=None)
    desk.write()
    desk.send(Outbox())
    assert open_badges(desk) == ["spare"]
    with pytest.raises(
        NotAllowed, match="to the spare address was not sent to Pat Planner; a keeper or safety"
    ):
        say(desk, "P1")
    east = desk.shop.site("EAST")
    desk.shop.put(RoleRow, person_id=desk.shop.actor("P1").id, site_id=east, role="keeper")
    with pytest.raises(NotAllowed):
        say(desk, "P1")
    say(desk, "S1")
    assert open_badges(desk) == []
    assert say(desk, "K1")[0].again


def test_every_copy_that_arrived_is_read_with_the_letter(sent: LetterDesk) -> None:
    with sent.room.act() as db:
        by, now = sent.shop.actor("S1"), sent.room.now(db)
        resend(db, id_of(sent, "K1"), "It was not found", sender="f@tool-room.example", by=by, now=now)
    assert len(say(sent, "K1")) == 1
    sent.send(Outbox())
    assert open_badges(sent) == ["P1", "S1"]
    assert [one.again for one in say(sent, "K1")] == [True, False]
