"""Deputies and absences: who may set them, what they need, and who is told instead on which day."""

from __future__ import annotations

import json
import threading
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet.desk.deputies import Absence, AbsenceSlip, Deputy, end_absence, set_absence, set_deputy
from fleet.lists.deputies import absences, deputies, instead_of
from fleet.records import EntryRow, RoleRow
from fleet.refusals import NotAllowed, NotFound, NotPossible, Refusal
from fleet.rules.people import SETTING_UP
from tests.letterdesk import LetterDesk

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.rules.people import Actor
    from tests.shop import Clock, Shop

TODAY = date(2026, 5, 13)
FRIDAY, MONDAY = date(2026, 5, 15), date(2026, 5, 18)


@dataclass
class Office:
    """A site with a keeper, a planner, a safety officer and a fitter without a role."""

    desk: LetterDesk
    ids: dict[str, int]

    def away(
        self,
        badge: str,
        deputy: str | None = None,
        *,
        days: tuple[date, date] = (TODAY, FRIDAY),
        by: str | Actor = "K1",
    ) -> Absence:
        actor = self.desk.shop.actor(by) if isinstance(by, str) else by
        with self.desk.room.act() as db:
            slip = AbsenceSlip(badge, *days, deputy)
            return set_absence(db, slip, by=actor, now=self.desk.room.now(db))

    def back(self, badge: str, from_day: date | None = None, by: str = "K1") -> Absence:
        actor = self.desk.shop.actor(by)
        with self.desk.room.act() as db:
            return end_absence(db, badge, by=actor, now=self.desk.room.now(db), from_day=from_day)

    def deputy(self, badge: str, deputy: str | None, by: str = "K1") -> Deputy:
        actor = self.desk.shop.actor(by)
        with self.desk.room.act() as db:
            return set_deputy(db, badge, deputy, by=actor, now=self.desk.room.now(db))

    def told(self, day: date = TODAY) -> dict[str, str]:
        badges = {number: badge for badge, number in self.ids.items()}
        with self.desk.room.look() as db:
            return {badges[one]: badges[other] for one, other in instead_of(db, day).items()}


@pytest.fixture
def office(room: Room, shop: Shop, clock: Clock) -> Office:
    desk = LetterDesk(room, shop, clock)
    ids = {badge: desk.hire(badge) for badge in ("K1", "P1", "S1")}
    ids["F1"] = shop.person("F1", desk.site, address="f1@tool-room.example")
    return Office(desk, ids)


def test_the_deputy_is_told_on_the_days_of_the_absence_and_on_no_other(office: Office) -> None:
    done = office.away("K1", "P1", days=(FRIDAY, MONDAY))
    assert (done.badge, done.deputy_badge, done.deputy) == ("K1", "P1", "Pat Planner")
    days = [date(2026, 5, day) for day in range(13, 21)]
    assert [day.day for day in days if office.told(day) == {"K1": "P1"}] == [15, 16, 17, 18]
    assert office.told(TODAY) == {}


def test_nobody_loses_a_role_by_being_away(office: Office) -> None:
    office.away("K1", "P1")
    with office.desk.room.look() as db:
        roles = db.execute(select(RoleRow.role).where(RoleRow.person_id == office.ids["K1"])).scalars().all()
    assert roles == ["keeper"]


def test_a_deputy_who_is_away_is_followed_and_a_circle_leaves_everybody_their_letters(office: Office) -> None:
    office.away("K1", "P1")
    office.away("P1", "S1")
    assert office.told() == {"K1": "S1", "P1": "S1"}
    office.away("S1", "K1")
    assert office.told() == {}
    office.back("P1")
    assert office.told() == {"K1": "P1", "S1": "P1"}


@pytest.mark.parametrize("change", [{"active": False}, {"address": None}, {"address": "somewhere"}])
def test_a_deputy_who_left_or_lost_the_address_is_not_told(office: Office, change: dict[str, object]) -> None:
    office.away("K1", "P1")
    office.desk.change(office.ids["P1"], **change)
    assert office.told() == {}


def test_the_standing_deputy_serves_when_none_is_named(office: Office) -> None:
    with pytest.raises(NotPossible, match=r"no standing deputy.*fleet deputy set K1 DEPUTY"):
        office.away("K1")
    assert office.deputy("K1", "S1") == Deputy("K1", "Kim Keeper", "S1", "Sam Safety")
    assert office.away("K1").deputy_badge == "S1"
    with office.desk.room.look() as db:
        (line,) = deputies(db)
    assert (line.badge, line.deputy_badge, line.trouble) == ("K1", "S1", None)
    assert office.deputy("K1", None).deputy_badge is None
    with office.desk.room.look() as db:
        assert deputies(db) == []


def test_a_standing_deputy_who_can_no_longer_serve_is_shown_with_the_reason(office: Office) -> None:
    office.deputy("K1", "S1")
    office.desk.change(office.ids["S1"], active=False)
    with office.desk.room.look() as db:
        assert [line.trouble for line in deputies(db)] == ["is no longer active"]
    with pytest.raises(NotPossible, match=r"Sam Safety is no longer active"):
        office.away("K1")


def test_the_deputy_needs_a_role_at_every_site_of_the_person(office: Office) -> None:
    east = office.desk.shop.site("EAST", "Europe/Berlin")
    office.desk.shop.put(RoleRow, person_id=office.ids["K1"], site_id=east, role="keeper")
    for act in (office.away, office.deputy):
        with pytest.raises(NotPossible, match="Pat Planner has no role at EAST"):
            act("K1", "P1")
    office.desk.shop.put(RoleRow, person_id=office.ids["P1"], site_id=east, role="planner")
    office.away("K1", "P1")
    with office.desk.room.look() as db:
        rows = db.execute(select(EntryRow.chain, EntryRow.act, EntryRow.body).order_by(EntryRow.chain)).all()
    assert [(row.chain, row.act) for row in rows] == [
        (office.desk.site, "absence set"),
        (east, "absence set"),
    ]
    said = json.loads(rows[0].body)
    assert (said["from"], said["through"], said["deputy"]) == ("2026-05-13", "2026-05-15", "P1")


def test_people_speak_for_themselves_and_keepers_and_safety_officers_for_others(office: Office) -> None:
    office.away("P1", "K1", by="P1")
    office.away("K1", "S1", by="S1")
    with pytest.raises(NotAllowed, match="neither Sam Safety nor a keeper or safety officer at NORTH"):
        office.away("S1", "K1", by="P1")
    with pytest.raises(NotAllowed, match="Fin Fitter is neither"):
        office.back("K1", by="F1")
    with pytest.raises(NotAllowed):
        office.deputy("S1", "K1", by="P1")
    office.away("S1", "K1", by=SETTING_UP)


def test_a_keeper_of_another_site_has_no_say(office: Office) -> None:
    office.desk.shop.person("K2", office.desk.shop.site("EAST"), "keeper")
    with pytest.raises(NotAllowed):
        office.away("K1", "P1", by="K2")


def test_who_gets_no_letters_needs_no_deputy(office: Office) -> None:
    with pytest.raises(NotPossible, match="Fin Fitter has no role at any site"):
        office.away("F1", "K1")
    office.desk.change(office.ids["P1"], active=False)
    with pytest.raises(NotPossible, match="Pat Planner is no longer active"):
        office.deputy("P1", "K1")


def test_absences_of_one_person_do_not_overlap_unless_the_first_was_ended(office: Office) -> None:
    office.away("K1", "P1", days=(FRIDAY, MONDAY))
    with pytest.raises(NotPossible, match="already"):
        office.away("K1", "S1", days=(MONDAY, MONDAY))
    office.away("P1", "S1", days=(FRIDAY, MONDAY))
    office.back("K1")
    office.away("K1", "S1", days=(MONDAY, MONDAY))
    assert office.told(MONDAY) == {"K1": "S1", "P1": "S1"}


def test_an_absence_begins_today_at_the_site_at_the_earliest(office: Office) -> None:
    # Half past one in the night in UTC is still the evening before at the site.
    office.desk.clock.now = datetime(2026, 5, 14, 1, 30, tzinfo=UTC)
    with pytest.raises(NotPossible, match="today is 2026-05-13"):
        office.away("K1", "P1", days=(date(2026, 5, 12), FRIDAY))
    office.away("K1", "P1", days=(TODAY, TODAY))


def test_coming_back_ends_the_absence_of_today_or_the_one_that_is_named(office: Office) -> None:
    with pytest.raises(NotPossible, match="not away, and no absence is to come"):
        office.back("K1")
    later = (date(2026, 7, 1), date(2026, 7, 3))
    office.away("K1", "P1", days=(FRIDAY, MONDAY))
    office.away("K1", "P1", days=later)
    with pytest.raises(NotPossible, match=r"from 2026-05-15 through 2026-05-18, from 2026-07-01.*--from"):
        office.back("K1")
    with pytest.raises(NotFound, match="begins on 2026-06-01; known: from 2026-05-15"):
        office.back("K1", date(2026, 6, 1))
    assert office.back("K1", later[0]).through_day == later[1]
    office.desk.clock.pass_by(days=3)
    office.away("K1", "P1", days=later)
    assert office.back("K1").from_day == FRIDAY
    assert office.told(date(2026, 5, 16)) == {}


def test_the_list_shows_what_is_and_is_to_come_and_all_of_it_when_asked(office: Office) -> None:
    office.away("K1", "P1", days=(TODAY, TODAY))
    office.away("P1", "K1", days=(FRIDAY, MONDAY), by="P1")
    office.away("S1", "K1", days=(FRIDAY, MONDAY), by="S1")
    office.back("S1", by="K1")
    office.desk.clock.pass_by(days=1)
    with office.desk.room.look() as db:
        now = office.desk.room.now(db)
        shown, every = absences(db, now=now), absences(db, now=now, every=True)
    (line,) = shown
    assert (line.badge, line.deputy_badge, line.set_by, line.from_day) == ("P1", "K1", "Pat Planner", FRIDAY)
    assert [(one.badge, one.ended_by) for one in every] == [("K1", None), ("P1", None), ("S1", "Kim Keeper")]


def test_two_who_enter_the_same_absence_at_once_make_one(office: Office) -> None:
    start, answers = threading.Barrier(2), []

    def enter(by: str) -> None:
        start.wait()
        try:
            answers.append(office.away("K1", "P1", by=by).badge)
        except Refusal as refusal:
            answers.append(str(refusal))

    both = [threading.Thread(target=enter, args=(badge,)) for badge in ("K1", "S1")]
    for one in both:
        one.start()
    for one in both:
        one.join()
    made, refused = sorted(answers)
    assert made == "K1"
    assert "already" in refused
