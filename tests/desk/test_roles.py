"""Roles given and taken, administrators, and people made inactive."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select, update

from fleet.desk.roles import Changed, give_role, name_administrator, set_active, take_role
from fleet.lists.people import find_actor
from fleet.records import EntryRow, LoanLineRow, LoanRow, PersonRow, RoleRow, SessionRow, TokenRow
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotPossible, Refusal
from fleet.rules.people import SETTING_UP
from fleet.rules.register import Role
from tests.letterdesk import LetterDesk
from tests.shop import NOON

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.rules.people import Actor
    from tests.shop import Clock, Shop

WHY = "Takes over from August on"


@dataclass
class Office:
    """NORTH with a keeper, a planner and an officer, an administrator A1 and a fitter without roles; EAST."""

    desk: LetterDesk
    east: int

    def actor(self, badge: str) -> Actor:
        return self.desk.shop.actor(badge)

    def give(self, badge: str, role: Role, by: str | Actor, site: str = "NORTH") -> Changed:
        actor = self.actor(by) if isinstance(by, str) else by
        with self.desk.room.act() as db:
            return give_role(db, badge, site, role, by=actor, now=self.desk.room.now(db))

    def take(self, badge: str, role: Role, by: str, site: str = "NORTH", why: str = WHY) -> Changed:
        actor = self.actor(by)
        with self.desk.room.act() as db:
            return take_role(db, badge, site, role, why, by=actor, now=self.desk.room.now(db))

    def administrator(self, badge: str, by: str, *, on: bool) -> Changed:
        actor = self.actor(by)
        with self.desk.room.act() as db:
            return name_administrator(db, badge, WHY, on=on, by=actor, now=self.desk.room.now(db))

    def active(self, badge: str, by: str, *, on: bool) -> Changed:
        actor = self.actor(by)
        with self.desk.room.act() as db:
            return set_active(db, badge, WHY, on=on, by=actor, now=self.desk.room.now(db))

    def roles(self, badge: str) -> set[tuple[int, str]]:
        person = PersonRow.id == RoleRow.person_id
        with self.desk.room.look() as db:
            rows = db.execute(
                select(RoleRow.site_id, RoleRow.role).join(PersonRow, person).where(PersonRow.badge == badge)
            )
            return {(row.site_id, row.role) for row in rows}

    def book(self) -> list[tuple[int, str, str]]:
        with self.desk.room.look() as db:
            rows = db.execute(select(EntryRow.chain, EntryRow.act, EntryRow.about).order_by(EntryRow.seq))
            return [(row.chain, row.act, row.about) for row in rows]

    def administrators(self) -> set[str]:
        with self.desk.room.look() as db:
            rows = db.execute(
                select(PersonRow.badge).where(PersonRow.administrator == True, PersonRow.active == True)  # noqa: E712  It is SQL.
            )
            return set(rows.scalars())


@pytest.fixture
def office(room: Room, shop: Shop, clock: Clock) -> Office:
    desk = LetterDesk(room, shop, clock)
    for badge in ("K1", "P1", "S1"):
        desk.hire(badge)
    for badge in ("A1", "A2", "F1"):
        shop.person(badge, desk.site)
    made = Office(desk, shop.site("EAST", "Europe/Amsterdam"))
    people = rows_of(PersonRow)
    with room.act() as db:
        db.execute(update(people).where(people.c.badge == "A1").values(administrator=True))
    return made


@pytest.mark.parametrize("by", ["A1", "K1", "S1"])
def test_a_role_is_given_by_who_answers_for_the_site_or_an_administrator(office: Office, by: str) -> None:
    done = office.give("F1", Role.PLANNER, by)
    assert (done.person, done.what, done.again) == ("Fin Fitter", "planner at NORTH", False)
    assert office.roles("F1") == {(office.desk.site, "planner")}
    assert office.book() == [(office.desk.site, "role given", "F1")]
    assert office.give("F1", Role.PLANNER, by).again
    assert len(office.book()) == 1


@pytest.mark.parametrize(
    ("badge", "role", "by"),
    [
        ("F1", Role.PLANNER, "P1"),
        ("F1", Role.PLANNER, "F1"),
        ("F1", Role.SAFETY, "K1"),
        ("K1", Role.SAFETY, "K1"),
        ("A1", Role.SAFETY, "A1"),
    ],
)
def test_nobody_else_gives_one(office: Office, badge: str, role: Role, by: str) -> None:
    before = office.roles(badge)
    with pytest.raises(NotAllowed):
        office.give(badge, role, by)
    with pytest.raises(NotAllowed):
        office.take(badge, role, by)
    assert office.roles(badge) == before
    assert office.book() == []


def test_only_an_officer_or_an_administrator_makes_an_officer(office: Office) -> None:
    office.give("P1", Role.SAFETY, "S1")
    office.give("F1", Role.SAFETY, "A1")
    assert (office.desk.site, "safety officer") in office.roles("P1") & office.roles("F1")


def test_the_first_role_of_a_new_site_comes_from_elsewhere_and_the_next_from_there(office: Office) -> None:
    office.give("F1", Role.KEEPER, "K1", "EAST")
    assert office.roles("F1") == {(office.east, "keeper")}
    with pytest.raises(NotAllowed, match="at East tool room"):
        office.give("P1", Role.PLANNER, "K1", "EAST")
    office.give("P1", Role.PLANNER, "F1", "EAST")


def test_a_role_that_is_taken_counts_no_more_and_its_reason_is_kept(office: Office) -> None:
    office.take("K1", Role.KEEPER, "S1")
    assert office.roles("K1") == set()
    assert office.actor("K1").roles == frozenset()
    assert office.book() == [(office.desk.site, "role taken", "K1")]
    with pytest.raises(NotPossible, match="is not a keeper"):
        office.take("K1", Role.KEEPER, "S1")
    with pytest.raises(NotPossible, match="in a sentence"):
        office.take("P1", Role.PLANNER, "S1", why="gone")


def test_an_administrator_names_another_and_the_last_one_stays(office: Office) -> None:
    with pytest.raises(NotPossible, match="only administrator"):
        office.administrator("A1", "A1", on=False)
    with pytest.raises(NotAllowed):
        office.administrator("K1", "K1", on=True)
    office.administrator("A2", "A1", on=True)
    assert office.administrator("A2", "A1", on=True).again
    office.administrator("A1", "A2", on=False)
    assert office.administrators() == {"A2"}
    assert [act for _, act, _ in office.book()] == ["administrator named", "administrator ended"]
    with pytest.raises(NotPossible, match="only administrator"):
        office.administrator("A2", "A2", on=False)


def test_two_administrators_who_end_each_other_at_once_leave_one(office: Office) -> None:
    office.administrator("A2", "A1", on=True)
    meet = threading.Barrier(2)
    refused: list[str] = []

    def end(badge: str, by: str) -> None:
        actor = office.actor(by)
        meet.wait()
        try:
            with office.desk.room.act() as db:
                now = office.desk.room.now(db)
                name_administrator(db, badge, WHY, on=False, by=actor, now=now)
        except Refusal as refusal:
            refused.append(str(refusal))

    threads = [threading.Thread(target=end, args=pair) for pair in (("A1", "A2"), ("A2", "A1"))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(office.administrators()) == 1
    assert len(refused) == 1


def begin_session(office: Office, badge: str) -> None:
    person = office.actor(badge).id
    at = {"begun_at": NOON, "seen_at": NOON, "confirmed_at": NOON}
    office.desk.shop.put(SessionRow, token_sha256=f"s-{badge}", person_id=person, browser="a", **at)
    office.desk.shop.put(
        TokenRow, person_id=person, name="a", token_sha256=f"t-{badge}", scopes="read", made_at=NOON
    )


def open_ones(office: Office) -> int:
    with office.desk.room.look() as db:
        sessions = db.execute(select(SessionRow.id).where(SessionRow.ended_at.is_(None))).all()
        tokens = db.execute(select(TokenRow.id).where(TokenRow.ended_at.is_(None))).all()
    return len(sessions) + len(tokens)


def test_whoever_is_made_inactive_is_out_at_once_and_what_they_hold_is_said(office: Office) -> None:
    for badge in ("K1", "P1"):
        begin_session(office, badge)
    shop, site = office.desk.shop, office.desk.site
    item, _ = shop.item(shop.model("wrench"), site)
    people = {"borrower_id": office.actor("P1").id, "issued_by_id": office.actor("K1").id}
    loan = shop.put(
        LoanRow,
        client_id="l1",
        site_id=site,
        job_id=shop.job(site),
        issued_at=NOON,
        back_on=NOON.date(),
        **people,
    )
    shop.put(LoanLineRow, loan_id=loan, item_id=item)
    done = office.active("P1", "K1", on=False)
    assert (done.what, done.still_out, done.again) == ("no longer active", 1, False)
    assert open_ones(office) == 2
    with pytest.raises(NotAllowed, match="no longer active"), office.desk.room.look() as db:
        find_actor(db, "P1")
    assert office.active("P1", "K1", on=False).again
    assert office.active("P1", "K1", on=True).what == "active"
    assert open_ones(office) == 2
    assert [act for _, act, _ in office.book()] == ["made inactive", "made active"]


@pytest.mark.parametrize(
    ("badge", "by"), [("S1", "K1"), ("K1", "K1"), ("K1", "P1"), ("F1", "P1"), ("A1", "K1"), ("A1", "A1")]
)
def test_not_everybody_makes_anybody_inactive(office: Office, badge: str, by: str) -> None:
    with pytest.raises(Refusal):
        office.active(badge, by, on=False)
    assert office.book() == []


def test_a_keeper_of_another_site_makes_nobody_inactive_here(office: Office) -> None:
    office.give("F1", Role.KEEPER, SETTING_UP, "EAST")
    with pytest.raises(NotAllowed):
        office.active("P1", "F1", on=False)


def test_nobody_who_left_gets_a_role(office: Office) -> None:
    office.active("F1", "K1", on=False)
    with pytest.raises(NotPossible, match="no longer active"):
        office.give("F1", Role.PLANNER, "K1")
    with pytest.raises(NotPossible, match="no longer active"):
        office.administrator("F1", "A1", on=True)
