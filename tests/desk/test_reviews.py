"""Reviews: each line decided once, by name, by a safety officer; closed when all are."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet.desk.reviews import Decided, close, decide
from fleet.ledgers.reviews import open_review
from fleet.lists.reviews import find_review, reviews
from fleet.lists.sites import find_site
from fleet.records import EntryRow, JointRow, UsageRow
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.evidence import Ruling
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.lists.reviews import ReviewLine, TouchedLine
    from fleet.room import Room
    from tests.shop import Clock, Shop

WHY = "The error is inside the joint's tolerance"


@dataclass
class Case:
    """A wrench that tightened two joints of one job, and was found 6 % low."""

    room: Room
    shop: Shop
    clock: Clock
    item: int

    def open(self, since: date | None = date(2026, 1, 1)) -> int:
        by = self.shop.actor("S1")
        with self.room.act() as db:
            return open_review(
                db,
                item_id=self.item,
                calibration_id=None,
                cause="Found 6 % low",
                error_at=lambda _pressure: -6.0,
                since_on=since,
                until_on=TODAY,
                by=by,
                now=self.room.now(db),
            )

    def decide(
        self,
        *lines: int,
        ruling: Ruling = Ruling.ACCEPT,
        reason: str = WHY,
        badge: str = "S1",
        review: int = 1,
    ) -> Decided:
        by = self.shop.actor(badge)
        with self.room.act() as db:
            return decide(db, review, lines, ruling, reason, by=by, now=self.room.now(db))

    def close(self, summary: str = "Both joints stay as they are", badge: str = "S1") -> ReviewLine:
        by = self.shop.actor(badge)
        with self.room.act() as db:
            return close(db, 1, summary, by=by, now=self.room.now(db))

    def found(self) -> tuple[ReviewLine, list[TouchedLine]]:
        with self.room.look() as db:
            return find_review(db, 1)


@pytest.fixture
def case(room: Room, shop: Shop, clock: Clock) -> Case:
    site = shop.site()
    for badge, *roles in (("K1", "keeper"), ("S1", "safety officer"), ("F1",)):
        shop.person(badge, site, *roles)
    job = shop.job(site)
    for mark, tolerance in (("A1", 5.0), ("A2", 10.0)):
        shop.put(
            JointRow,
            job_id=job,
            mark=mark,
            bolts=8,
            torque_written="900 N·m",
            torque_nm=900.0,
            tolerance_percent=tolerance,
        )
    item, _ = shop.item(shop.model("wrench"), site)
    shop.put(
        UsageRow,
        client_id="use",
        item_id=item,
        job_id=job,
        cycles=40,
        minutes=0,
        used_on=TODAY,
        recorded_at=NOON,
    )
    return Case(room, shop, clock, item)


def test_a_review_is_to_be_decided_within_two_weeks_and_then_is_overdue(case: Case) -> None:
    case.open()
    line, touched = case.found()
    assert (line.due_on, line.lines, line.undecided) == (TODAY + timedelta(days=14), 2, 2)
    assert not line.overdue(TODAY + timedelta(days=14))
    assert line.overdue(TODAY + timedelta(days=15))
    assert [(one.number, one.joint, one.cycles, one.error_percent) for one in touched] == [
        (1, "A1", 40, -6.0),
        (2, "A2", 40, -6.0),
    ]
    assert [one.pressure_mpa for one in touched] == [pytest.approx(30.0)] * 2
    assert [one.out_of_tolerance for one in touched] == [True, False]


def test_what_is_overdue_stands_on_top_and_what_is_closed_is_left_out(case: Case) -> None:
    case.open()
    case.clock.pass_by(days=20)
    case.open()
    with case.room.look() as db:
        site = find_site(db, None)
        assert [(one.id, one.overdue(site.today(case.clock.now))) for one in reviews(db, site)] == [
            (1, True),
            (2, False),
        ]
    case.decide(1, 2)
    case.close()
    with case.room.look() as db:
        assert [one.id for one in reviews(db, site)] == [2]
        assert [one.id for one in reviews(db, site, closed=True)] == [1, 2]


def test_a_line_is_decided_once_and_keeps_the_name(case: Case) -> None:
    case.open()
    done = case.decide(1, ruling=Ruling.RETIGHTEN, reason="Beyond its tolerance, tighten again")
    assert (done.lines, done.undecided) == ((1,), 1)
    _, (first, second) = case.found()
    assert (first.ruling, first.decided_by, first.reason) == (
        "re-tighten",
        "Sam Safety",
        "Beyond its tolerance, tighten again",
    )
    assert second.ruling is None
    with pytest.raises(NotPossible, match=r"Line 1 was decided by Sam Safety \(re-tighten\)"):
        case.decide(1)
    with pytest.raises(NotPossible, match="Line 1 was decided"):
        case.decide(2, 1)
    assert case.found()[0].undecided == 1


def test_a_review_is_closed_when_every_line_is_decided(case: Case) -> None:
    case.open()
    case.decide(1)
    with pytest.raises(NotPossible, match="nobody has decided line 2 yet"):
        case.close()
    assert case.decide(2).undecided == 0
    closed = case.close()
    assert (closed.closed_by, closed.summary) == ("Sam Safety", "Both joints stay as they are")
    with pytest.raises(NotPossible, match="was closed by Sam Safety"):
        case.close()
    with pytest.raises(NotPossible, match="was closed by Sam Safety"):
        case.decide(1)
    with case.room.look() as db:
        acts = db.execute(select(EntryRow.act).order_by(EntryRow.seq)).scalars().all()
    assert acts == ["review opened", "review line decided", "review line decided", "review closed"]


def test_a_review_that_touched_nothing_is_closed_with_its_summary_alone(case: Case) -> None:
    with case.room.look() as db:
        assert db.execute(select(UsageRow.id)).scalars().all() == [1]
    case.clock.pass_by(days=2)
    by = case.shop.actor("S1")
    with case.room.act() as db:
        later = TODAY + timedelta(days=1)
        open_review(
            db,
            item_id=case.item,
            calibration_id=None,
            cause="Found low",
            error_at=lambda _pressure: None,
            since_on=later,
            until_on=later,
            by=by,
            now=case.room.now(db),
        )
    assert case.found()[1] == []
    assert case.close("Nothing was touched since").closed_at is not None


def test_only_a_safety_officer_decides_with_a_reason(case: Case) -> None:
    case.open()
    for badge in ("K1", "F1"):
        with pytest.raises(NotAllowed, match="is not a safety officer"):
            case.decide(1, badge=badge)
        with pytest.raises(NotAllowed, match="is not a safety officer"):
            case.close(badge=badge)
    with pytest.raises(NotPossible, match="Write down why"):
        case.decide(1, reason="fine")
    with pytest.raises(NotFound, match="has no line 3; it has 2"):
        case.decide(1, 3)
    with pytest.raises(NotFound, match="There is no impact review 7"):
        case.decide(1, review=7)
    assert case.found()[0].undecided == 2
