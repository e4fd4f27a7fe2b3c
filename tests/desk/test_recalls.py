"""Recalls: everything that is meant is kept in, wherever it is and whenever it comes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet.desk.holds import ReleaseSlip, release_hold
from fleet.desk.imports import import_files, read_file
from fleet.desk.recalls import Ended, Reach, RecallSlip, end_recall, look_over, open_recall
from fleet.ledgers.recalls import hold_matching
from fleet.lists.items import item_facts
from fleet.lists.recalls import find_recall, recalls
from fleet.records import EntryRow, HoldRow, LoanLineRow, LoanRow
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.holds import Shown
from tests.proofs import inspected
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop

WHY = "Cracks at the square drive"


@dataclass
class Notice:
    """Two sites with wrenches of one model."""

    room: Room
    shop: Shop
    clock: Clock
    north: int
    south: int
    model: int

    def item(self, serial: str, site: int | None = None, assembled: date | None = None) -> int:
        return self.shop.item(self.model, site or self.north, serial=serial, assembled_on=assembled)[0]

    def open(self, badge: str = "S1", model: str = "W-2000", **scope: str) -> Reach:
        by = self.shop.actor(badge)
        with self.room.act() as db:
            return open_recall(db, RecallSlip(model, "Notice 7", WHY, **scope), by=by, now=self.room.now(db))

    def end(self, recall: int, badge: str = "S1", reason: str = "Notice 7 is lifted") -> Ended:
        by = self.shop.actor(badge)
        with self.room.act() as db:
            return end_recall(db, recall, reason, by=by, now=self.room.now(db))

    def held(self) -> list[tuple[int, int | None]]:
        with self.room.look() as db:
            found = select(HoldRow.item_id, HoldRow.recall_id).where(HoldRow.released_at.is_(None))
            return [tuple(row) for row in db.execute(found.order_by(HoldRow.id))]  # type: ignore[misc]

    def stops(self, item: int) -> tuple[str, ...]:
        with self.room.look() as db:
            return item_facts(db, [item], now=NOON)[item].recalls


@pytest.fixture
def notice(room: Room, shop: Shop, clock: Clock) -> Notice:
    north, south = shop.site(), shop.site("SOUTH")
    for badge, *roles in (("K1", "keeper"), ("S1", "safety officer"), ("F1",)):
        shop.person(badge, north, *roles)
    return Notice(room, shop, clock, north, south, shop.model("wrench", "W-2000"))


def test_every_item_of_the_range_is_held_at_every_site_and_who_has_it_is_said(notice: Notice) -> None:
    here, there = notice.item("K-100"), notice.item("K-250", notice.south)
    notice.item("K-251")
    other = notice.item("L-120")
    loan = notice.shop.put(
        LoanRow,
        client_id="loan",
        site_id=notice.south,
        job_id=notice.shop.job(notice.south),
        borrower_id=3,
        issued_at=NOON,
        issued_by_id=1,
        back_on=TODAY,
    )
    notice.shop.put(LoanLineRow, loan_id=loan, item_id=there)

    reach = notice.open(serials="K-100..K-250")

    assert [(one.id, one.site, one.holder, one.job) for one in reach.meant] == [
        (here, "NORTH", None, None),
        (there, "SOUTH", "Fin Fitter", "J-1"),
    ]
    assert [one.id for one in reach.unclear] == [other]
    assert notice.held() == [(here, reach.recall), (there, reach.recall)]
    with notice.room.look() as db:
        acts = db.execute(select(EntryRow.chain, EntryRow.act).order_by(EntryRow.chain, EntryRow.seq)).all()
    assert [tuple(act) for act in acts] == [
        (0, "recall opened"),
        (notice.north, "hold opened"),
        (notice.south, "hold opened"),
    ]


def test_a_dry_look_says_the_same_and_changes_nothing(notice: Notice) -> None:
    item = notice.item("K-100")
    with notice.room.look() as db:
        reach = look_over(db, RecallSlip("w-2000", "Notice 7", WHY))
    assert ([one.id for one in reach.meant], reach.recall, notice.held()) == ([item], None, [])


def test_an_unknown_day_of_assembly_may_lie_in_the_period(notice: Notice) -> None:
    unknown, inside = notice.item("A"), notice.item("B", assembled=date(2024, 6, 30))
    notice.item("C", assembled=date(2024, 7, 1))
    notice.open(assembled="2024-01..2024-06")
    assert [item for item, _ in notice.held()] == [unknown, inside]


def test_what_comes_on_record_later_is_held_at_once_and_only_once(notice: Notice) -> None:
    recall = notice.open(serials="K-100..K-250").recall
    by = notice.shop.actor("K1")
    sheet = "Tag,Model,Serial,Site,Received\n,W-2000,K-101,NORTH,2026-01-01\n,W-2000,K-99,NORTH,2026-01-01\n"
    for _ in range(2):
        with notice.room.act() as db:
            report = import_files(db, [read_file("items.csv", sheet.encode())], by=by, now=NOON)
        assert report.rejections == ()
        sheet = sheet.replace("2026-01-01", "2026-01-02")
    assert [number for _, number in notice.held()] == [recall]


def test_an_item_whose_serial_number_is_corrected_into_the_range_is_held(notice: Notice) -> None:
    recall = notice.open(serials="K-100..K-250").recall
    item, tag = notice.shop.item(notice.model, notice.north, serial="X-101")
    by = notice.shop.actor("K1")
    sheet = f"Tag,Model,Serial,Site\n{tag},W-2000,K-101,NORTH\n"
    with notice.room.act() as db:
        report = import_files(db, [read_file("items.csv", sheet.encode())], by=by, now=NOON)
    if report.rejections:
        pytest.fail(str(report.rejections))
    assert notice.held() == [(item, recall)]


def test_an_item_that_no_hold_keeps_in_is_still_stopped_by_the_recall(notice: Notice) -> None:
    notice.open(serials="K-100..K-250")
    item = notice.item("K-101")
    assert notice.stops(item) == ("Notice 7",)
    by = notice.shop.actor("K1")
    with notice.room.act() as db:
        assert len(hold_matching(db, [item], by=by, now=NOON)) == 1
        assert hold_matching(db, [item], by=by, now=NOON) == []
    assert notice.stops(item) == ()


def test_one_item_is_cleared_with_evidence_and_stays_cleared(notice: Notice) -> None:
    item = notice.item("K-100")
    recall = notice.open().recall or 0
    notice.clock.pass_by(hours=1)
    seen = inspected(notice.shop, item, notice.clock.now)
    by = notice.shop.actor("S1")
    with notice.room.act() as db:
        slip = ReleaseSlip("K-100", Shown.INSPECTION, seen, "Dye test shows no crack")
        release_hold(db, slip, by=by, now=notice.room.now(db))
        assert hold_matching(db, [item], by=by, now=NOON) == []
    assert (notice.held(), notice.stops(item)) == ([], ())
    with notice.room.look() as db:
        line, (shown,) = find_recall(db, recall)
    assert (line.held, line.cleared, shown.released_at) == (0, 1, notice.clock.now)


def test_the_end_of_a_recall_ends_its_own_holds_and_no_others(notice: Notice) -> None:
    item = notice.item("K-100")
    recall = notice.open().recall or 0
    notice.shop.put(HoldRow, item_id=item, cause="damaged", reason="Arm bent", opened_at=NOON)
    notice.clock.pass_by(hours=1)
    ended = notice.end(recall)
    assert len(ended.released) == 1
    assert notice.held() == [(item, None)]
    with notice.room.look() as db:
        words = db.execute(select(HoldRow.evidence).where(HoldRow.recall_id == recall)).scalar_one()
        assert recalls(db) == []
        (line,) = recalls(db, ended=True)
    assert words == f"Recall {recall} ended: Notice 7 is lifted"
    assert (line.end_reason, line.held, line.cleared) == ("Notice 7 is lifted", 0, 0)
    with pytest.raises(NotPossible, match="has ended already"):
        notice.end(recall)


def test_only_a_safety_officer_opens_and_ends_a_recall(notice: Notice) -> None:
    notice.item("K-100")
    with pytest.raises(NotAllowed, match="is not a safety officer at any site"):
        notice.open("K1")
    assert notice.held() == []
    recall = notice.open().recall or 0
    with pytest.raises(NotAllowed, match="is not a safety officer at any site"):
        notice.end(recall, "K1")


def test_a_recall_that_cannot_be_is_refused_and_nothing_changes(notice: Notice) -> None:
    notice.item("K-100")
    with pytest.raises(NotFound, match="There is no model"):
        notice.open(model="W-9")
    with pytest.raises(NotPossible, match="cannot be compared"):
        notice.open(serials="K-1..L-2")
    with pytest.raises(NotFound, match="There is no recall 9"):
        notice.end(9)
    assert notice.held() == []
    notice.open(serials="K-1..K-200")
    with pytest.raises(NotPossible, match="about the same is open already"):
        notice.open(serials="K-1..K-200")


def test_what_is_retired_is_left_alone(notice: Notice) -> None:
    notice.shop.item(
        notice.model, notice.north, serial="K-1", retired_on=TODAY - timedelta(days=1), retired_reason="Worn"
    )
    assert notice.open().meant == ()
