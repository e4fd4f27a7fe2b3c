"""Telling at once: one letter to each mailbox, each matter once, and by night only what can hurt."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.telling import tell_at_once
from fleet.rules.daybook import canonical
from fleet.rules.letters import Outcome
from tests.letterdesk import SENDER
from tests.shop import NOON, TODAY
from tests.troubledesk import TroubleDesk

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop

# Two in the morning in Chicago (UTC-5 in summer), and the first minute after the quiet hours.
NIGHT = datetime(2026, 5, 14, 7, 0, tzinfo=UTC)
MORNING = datetime(2026, 5, 14, 11, 0, tzinfo=UTC)


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> TroubleDesk:
    return TroubleDesk(room, shop, clock)


@pytest.fixture
def staffed(desk: TroubleDesk) -> TroubleDesk:
    for badge in ("K1", "P1", "S1"):
        desk.letters.hire(badge)
    return desk


def held(desk: TroubleDesk) -> int:
    """Something is put on hold while it is out."""
    item, _ = desk.item()
    desk.lend(item)
    return desk.hold(item)


def late(desk: TroubleDesk, days: int = 1) -> int:
    item, _ = desk.item()
    return desk.lend(item, TODAY - timedelta(days=days))


# --- Once ---------------------------------------------------------------------------------------------------


def test_a_hold_on_something_out_is_told_once_to_each(staffed: TroubleDesk) -> None:
    key = f"hold {held(staffed)}"

    assert [(one.site, one.number, one.to, one.matters) for one in staffed.tell()] == [
        ("NORTH", 1, "F1", (key,)),
        ("NORTH", 1, "K1", (key,)),
        ("NORTH", 1, "S1", (key,)),
    ]
    assert staffed.told() == [(key, 0, "F1"), (key, 0, "K1"), (key, 0, "S1")]
    for days in (0, 1, 5):
        staffed.clock.pass_by(days=days, minutes=1)
        assert staffed.tell() == []


def test_several_matters_make_one_letter(staffed: TroubleDesk) -> None:
    held(staffed), held(staffed), late(staffed)
    assert [(one.to, len(one.matters)) for one in staffed.tell()] == [("F1", 2), ("K1", 3), ("S1", 2)]
    assert staffed.letter("K1").week == "2026-W20-3T1700"


def test_what_ended_before_it_could_be_told_is_not_told(staffed: TroubleDesk) -> None:
    hold, line = held(staffed), late(staffed)
    staffed.release(hold)
    staffed.take_back(line)
    assert staffed.tell() == []


def test_what_comes_later_is_told_in_a_letter_of_its_own(staffed: TroubleDesk) -> None:
    held(staffed)
    staffed.tell()
    staffed.clock.pass_by(minutes=1)
    second = f"hold {held(staffed)}"

    assert {one.matters for one in staffed.tell()} == {(second,)}
    assert (staffed.letter("K1").number, staffed.letter("K1").week) == (2, "2026-W20-3T1701")


def test_a_second_letter_to_a_mailbox_waits_for_the_next_minute(staffed: TroubleDesk) -> None:
    held(staffed)
    staffed.tell()
    held(staffed)
    staffed.clock.pass_by(seconds=59)
    assert staffed.tell() == []
    staffed.clock.pass_by(seconds=1)
    assert [one.to for one in staffed.tell()] == ["F1", "K1", "S1"]


def test_after_a_standstill_only_what_still_stands_is_told_with_all_its_levels(staffed: TroubleDesk) -> None:
    gone, stays = held(staffed), late(staffed)
    staffed.clock.pass_by(days=20)
    staffed.release(gone)

    assert [(one.to, one.matters) for one in staffed.tell()] == [
        (badge, (f"late {stays}",)) for badge in ("K1", "S1", "spare")
    ]
    assert [(level, badge) for _, level, badge in staffed.told()] == [(0, "K1"), (1, "S1"), (2, "spare")]


def test_somebody_new_is_told_of_what_still_stands(staffed: TroubleDesk) -> None:
    late(staffed)
    staffed.tell()
    staffed.letters.hire("K2", "keeper")
    staffed.clock.pass_by(minutes=1)
    assert [one.to for one in staffed.tell()] == ["K2"]


def test_several_who_tell_at_once_write_each_letter_once(staffed: TroubleDesk, *, deep: bool) -> None:
    rounds = 50 if deep else 5
    with ThreadPoolExecutor(4) as pool:
        for _ in range(rounds):
            held(staffed)
            runs = [run.result() for run in [pool.submit(staffed.tell) for _ in range(4)]]
            assert sorted(len(run) for run in runs) == [0, 0, 0, 3]
            staffed.clock.pass_by(minutes=1)
    told = [(matter, reader) for matter, _, reader in staffed.told()]
    assert len(set(told)) == len(told) == 3 * rounds


def test_when_the_letters_cannot_be_kept_nobody_counts_as_told(staffed: TroubleDesk) -> None:
    held(staffed)

    def tell_and_fail() -> None:
        with staffed.room.act() as db:
            tell_at_once(db, staffed.sites, sender=SENDER, now=NOON)
            raise RuntimeError("the machine stops here")

    with pytest.raises(RuntimeError, match="stops here"):
        tell_and_fail()
    assert staffed.told() == []
    assert len(staffed.tell()) == 3


# --- To whom ------------------------------------------------------------------------------------------------


def test_people_who_share_a_mailbox_share_a_letter(desk: TroubleDesk) -> None:
    for badge in ("K1", "S1"):
        desk.letters.hire(
            badge, address="Room@tool-room.example" if badge == "K1" else "room@tool-room.example"
        )
    held(desk)

    assert [one.to for one in desk.tell()] == ["F1", "K1"]
    assert [badge for _, _, badge in desk.told()] == ["F1", "K1", "S1"]
    assert desk.said("K1").count("Relief valve leaks") == 1
    desk.clock.pass_by(minutes=1)
    assert desk.tell() == []


def test_a_holder_who_is_a_keeper_too_reads_that_they_have_it(desk: TroubleDesk) -> None:
    desk.fitter = desk.letters.hire("K1")
    held(desk)
    assert [one.to for one in desk.tell()] == ["K1"]
    assert "!! You have it: stop its use now, and bring it back." in desk.said("K1")


def test_a_holder_who_shares_the_keepers_mailbox_reads_that_they_have_it(desk: TroubleDesk) -> None:
    desk.letters.hire("K1", address="fin@crew.example")
    held(desk)
    assert [one.to for one in desk.tell()] == ["F1"]
    assert "!! You have it" in desk.said("F1")
    assert [badge for _, _, badge in desk.told()] == ["F1", "K1"]


def test_who_answers_for_two_sites_gets_one_letter_about_both(staffed: TroubleDesk) -> None:
    south = staffed.shop.site("SOUTH")
    kim = staffed.letters.hire("K2", "keeper")
    staffed.shop.put(records.RoleRow, person_id=kim, site_id=south, role="keeper")
    for site in (staffed.site, south):
        item, _ = staffed.item(site)
        staffed.lend(item, TODAY - timedelta(days=1))

    told = {one.to: (one.site, len(one.matters)) for one in staffed.tell()}
    assert told == {"K1": ("NORTH", 1), "K2": ("NORTH", 2)}
    with staffed.room.look() as db:
        row = records.LetterSiteRow
        about = select(row.site_id).where(row.letter_id == staffed.letter("K2").id).order_by(row.site_id)
        assert list(db.execute(about).scalars()) == [staffed.site, south]
    said = staffed.said("K2")
    assert said.index("======== North tool room (NORTH)") < said.index("======== South tool room (SOUTH)")


def test_a_deputy_is_told_and_whoever_comes_back_reads_what_still_stands(staffed: TroubleDesk) -> None:
    deputy = staffed.letters.hire("K2", "planner")
    kim = staffed.shop.actor("K1").id
    assert kim is not None
    staffed.away(kim, deputy, through_day=TODAY + timedelta(days=2))
    late(staffed)

    assert [one.to for one in staffed.tell()] == ["K2"]
    assert "You are also told instead of Kim Keeper, who is away." in staffed.said("K2")
    staffed.clock.pass_by(days=2)
    assert staffed.tell() == []
    staffed.clock.pass_by(days=1)
    assert [one.to for one in staffed.tell()] == ["K1"]


def test_where_nobody_can_be_written_to_the_spare_address_is_told_and_why(desk: TroubleDesk) -> None:
    desk.letters.hire("K1", address="kim at the counter")
    late(desk)

    assert [one.to for one in desk.tell()] == ["spare"]
    assert desk.letter("spare").address == "north@tool-room.example"
    assert "You get this because nobody who has to see to it could be written to." in desk.said("spare")


def test_the_planner_who_reserved_it_is_told_that_the_kit_is_ready(staffed: TroubleDesk) -> None:
    item, _ = staffed.item()
    staffed.letters.hire("P2", "planner")
    pat = staffed.shop.actor("P1").id
    assert pat is not None
    staffed.reserve(item, pat)

    assert [one.to for one in staffed.tell()] == ["P1"]
    assert "> You reserved it: have it fetched." in staffed.said("P1")
    staffed.letters.change(pat, active=False)
    staffed.clock.pass_by(minutes=1)
    assert [one.to for one in staffed.tell()] == ["P2"]
    assert "> Planner: have it fetched; Pat Planner reserved it." in staffed.said("P2")


# --- When ---------------------------------------------------------------------------------------------------


def test_at_night_only_what_can_hurt_is_told_and_the_rest_first_thing_in_the_morning(
    staffed: TroubleDesk,
) -> None:
    staffed.clock.now = NIGHT
    key = f"hold {held(staffed)}"
    waits = late(staffed)

    assert {one.matters for one in staffed.tell()} == {(key,)}
    staffed.clock.now = MORNING - timedelta(seconds=1)
    assert staffed.tell() == []
    staffed.clock.now = MORNING
    assert [(one.to, one.matters) for one in staffed.tell()] == [("K1", (f"late {waits}",))]


def test_a_site_without_quiet_hours_is_told_at_night(staffed: TroubleDesk) -> None:
    staffed.change(records.SiteRow, staffed.site, quiet_from_hour=3, quiet_until_hour=3)
    staffed.clock.now = NIGHT
    late(staffed)
    assert [one.to for one in staffed.tell()] == ["K1"]


def test_what_is_passed_on_at_midnight_waits_for_the_morning(staffed: TroubleDesk) -> None:
    held(staffed)
    staffed.tell()
    staffed.clock.now = NIGHT + timedelta(days=13)
    assert staffed.tell() == []
    staffed.clock.now = MORNING + timedelta(days=13)
    assert [one.to for one in staffed.tell()] == ["spare"]


# --- On record ----------------------------------------------------------------------------------------------


def test_the_day_book_names_matters_and_letters_of_each_site(staffed: TroubleDesk) -> None:
    key = f"hold {held(staffed)}"
    staffed.tell()
    entry = records.EntryRow
    with staffed.room.look() as db:
        (row,) = db.execute(select(entry).where(entry.act == "told at once"))
    letter = staffed.letter("K1")
    assert (row.chain, row.person_name, row.about) == (staffed.site, "the clock", "2026-W20-3T1700")
    note = {
        "number": 1,
        "to": "K1",
        "message_id": letter.message_id,
        "sha256": letter.sha256,
        "matters": [key],
    }
    assert canonical(note) in row.body


def test_a_letter_at_once_waits_to_be_sent_like_any_other(staffed: TroubleDesk) -> None:
    held(staffed)
    staffed.tell()
    taken = staffed.letters.must_take()

    assert (taken.kind, taken.week, taken.badge) == ("at once", "2026-W20-3T1700", "F1")
    assert " " not in taken.message_id
    assert staffed.letters.mark(taken, Outcome.SENT) == "sent"
