"""Undoing at the counter: every entry stays, a second one takes it back, and all stands as before."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select, update

from fleet import records
from fleet.desk.away import SendSlip, send_away
from fleet.desk.loans import Issued, IssueSlip, issue
from fleet.desk.returns import Receipt, ReturnSlip, take_back
from fleet.desk.undoing import Undone, undo_issue, undo_return
from fleet.lists.matters import matters, untold
from fleet.lists.reservations import reservations
from fleet.lists.served import served
from fleet.lists.sites import find_site
from fleet.lists.traces import trace
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.conditions import HoldCause
from fleet.rules.evidence import Errand
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@dataclass
class Counter:
    """Two keepers, a fitter, a job, a wrench that may go out, and its calibration by use."""

    room: Room
    shop: Shop
    clock: Clock
    site: int = 0
    job: int = 0
    item: int = 0
    tag: str = ""
    loans: list[int] = field(default_factory=list)

    def issue(self, *tags: str, client: str = "i1") -> Issued:
        with self.room.act() as db:
            slip = IssueSlip(client, tags or (self.tag,), "F1", "J-1", TODAY + timedelta(days=5))
            return issue(db, slip, by=self.shop.actor("K1"), now=self.room.now(db))

    def take_back(self, client: str = "r1", **changed: Any) -> Receipt:  # noqa: ANN401  Fields of a slip.
        said: Any = {"item": self.tag, "cycles": 40, "minutes": 90, "condition": "fine"} | changed
        with self.room.act() as db:
            return take_back(db, ReturnSlip(client, **said), by=self.shop.actor("K1"), now=self.room.now(db))

    def undo_return(self, client: str = "u1", by: str = "K1") -> Undone:
        with self.room.act() as db:
            line = db.execute(
                select(records.LoanLineRow.id).where(records.LoanLineRow.item_id == self.item)
            ).scalars()
            return undo_return(db, max(line), client_id=client, by=self.shop.actor(by), now=self.room.now(db))

    def undo_issue(self, loan: int, client: str = "u1", by: str = "K1") -> Undone:
        with self.room.act() as db:
            return undo_issue(db, loan, client_id=client, by=self.shop.actor(by), now=self.room.now(db))

    def rows(self, entity: type[records.Base], *columns: str) -> list[tuple[Any, ...]]:
        table = rows_of(entity)
        chosen = [table.c[name] for name in columns] or list(table.c)
        with self.room.look() as db:
            return [tuple(row) for row in db.execute(select(*chosen).order_by(*table.primary_key))]

    def acts(self) -> list[str]:
        return [act for (act,) in self.rows(records.EntryRow, "act")]

    def stand(self) -> list[object]:
        """All that a return moves, apart from what is only ever added to."""
        tables = (records.ItemRow, records.DueLineRow, records.LoanRow, records.LoanLineRow)
        with self.room.look() as db:
            now = self.room.now(db)
            told = matters(db, find_site(db, "NORTH"), now)
            touched = trace(db, self.item, since=None, until=TODAY)
        return [*map(self.rows, tables), told, touched]


@pytest.fixture
def counter(room: Room, shop: Shop, clock: Clock) -> Counter:
    made = Counter(room, shop, clock, shop.site())
    for badge, *roles in (("K1", "keeper"), ("K2", "keeper"), ("S1", "safety officer"), ("F1",)):
        shop.person(badge, made.site, *roles, address=f"{badge.lower()}@tool-room.example")
    task = shop.task("calibration", "wrench", every_months=12, every_cycles=100)
    made.item, made.tag = shop.item(shop.model("wrench"), made.site)
    shop.did(made.item, task, TODAY - timedelta(days=30))
    made.job = shop.job(made.site)
    return made


@pytest.mark.parametrize("cycles", [0, 40, 150])
def test_after_a_return_is_undone_all_stands_as_before(counter: Counter, cycles: int) -> None:
    """Also when its use had used up the calibration."""
    counter.issue()
    before = counter.stand()
    counter.clock.pass_by(minutes=3)
    receipt = counter.take_back(cycles=cycles)
    assert receipt.due_by_use == (("calibration",) if cycles > 100 else ())
    assert counter.stand() != before

    undone = counter.undo_return()

    assert counter.stand() == before
    assert (undone.tags, undone.job, undone.holder) == ((counter.tag,), "J-1", "Fin Fitter")
    assert counter.rows(records.UsageRow, "cycles", "minutes", "reverses_id") == [
        (cycles, 90, None),
        (-cycles, -90, 1),
    ]
    assert counter.acts() == ["issued", "returned", "use reversed", "return undone"]


def test_what_was_undone_can_come_back_again_and_be_undone_again(counter: Counter) -> None:
    counter.issue()
    before = counter.stand()
    for at in range(3):
        counter.take_back(f"r{at}")
        counter.undo_return(f"u{at}")
        assert counter.stand() == before
    assert counter.take_back("last", cycles=7, minutes=8).total_cycles == 7


def test_the_same_undo_sent_twice_acts_once(counter: Counter) -> None:
    counter.issue()
    counter.take_back()
    counter.undo_return()
    entries = len(counter.acts())
    assert counter.undo_return().again
    assert len(counter.acts()) == entries
    with pytest.raises(NotPossible, match="is out with Fin Fitter; there is no return to undo"):
        counter.undo_return("another")


def test_only_who_took_it_back_undoes_it_and_only_for_ten_minutes(counter: Counter) -> None:
    counter.issue()
    counter.take_back()
    with pytest.raises(NotAllowed, match="can be undone by Kim Keeper only"):
        counter.undo_return(by="K2")
    with pytest.raises(NotAllowed, match="not a keeper"):
        counter.undo_return(by="S1")
    counter.clock.pass_by(minutes=10, seconds=1)
    with pytest.raises(NotPossible, match=r"more than 10 minutes ago and stands\. If its use is wrong"):
        counter.undo_return()
    counter.clock.now -= timedelta(seconds=1)
    counter.undo_return()


def test_nothing_is_undone_after_something_followed(counter: Counter) -> None:
    counter.issue()
    counter.take_back()
    with counter.room.act() as db:
        slip = SendSlip("s1", counter.tag, "The workshop", Errand.REPAIR)
        send_away(db, slip, by=counter.shop.actor("K1"), now=counter.room.now(db))
    with pytest.raises(NotPossible, match="it was sent away since"):
        counter.undo_return()


def test_what_went_out_again_stays_with_whoever_has_it(counter: Counter) -> None:
    counter.issue()
    counter.take_back()
    with counter.room.look() as db:
        line = db.execute(select(records.LoanLineRow.id)).scalar_one()
    counter.issue(client="i2")
    with pytest.raises(NotPossible, match="it went out again since"), counter.room.act() as db:
        undo_return(db, line, client_id="u1", by=counter.shop.actor("K1"), now=counter.room.now(db))
    with pytest.raises(NotFound), counter.room.act() as db:
        undo_return(db, 999, client_id="u1", by=counter.shop.actor("K1"), now=counter.room.now(db))


def test_the_hold_of_its_damage_ends_and_no_other(counter: Counter) -> None:
    counter.issue()
    other = counter.shop.put(
        records.HoldRow,
        item_id=counter.item,
        cause=HoldCause.DAMAGED,
        reason="Dropped last week",
        opened_at=NOON - timedelta(days=7),
    )
    before = counter.stand()
    counter.take_back(condition="damaged", note="Hook bent")
    held = max(number for (number,) in counter.rows(records.HoldRow, "id"))

    assert counter.undo_return().holds == (held,)

    assert counter.stand() == before
    rows = dict(counter.rows(records.HoldRow, "id", "evidence"))
    assert rows == {other: None, held: "Its return was undone at the counter."}
    assert counter.acts()[1:] == ["hold opened", "returned", "use reversed", "hold released", "return undone"]


def test_nobody_is_told_of_a_hold_that_was_undone(counter: Counter) -> None:
    counter.issue()
    counter.take_back(condition="damaged", note="Hook bent")
    counter.undo_return()
    with counter.room.look() as db:
        assert untold(db, find_site(db, "NORTH"), counter.room.now(db)) == []


def test_nobody_is_told_twice_that_it_is_late(counter: Counter) -> None:
    counter.issue()
    counter.clock.pass_by(days=7)
    with counter.room.look() as db:
        (late,) = matters(db, find_site(db, "NORTH"), counter.room.now(db))
    counter.take_back()
    counter.undo_return()
    with counter.room.look() as db:
        assert matters(db, find_site(db, "NORTH"), counter.room.now(db)) == [late]


def test_its_breakouts_are_withdrawn(counter: Counter) -> None:
    counter.shop.put(
        records.JointRow,
        job_id=counter.job,
        mark="E-1",
        bolts=8,
        torque_written="1000 N·m",
        torque_nm=1000.0,
    )
    counter.issue()
    counter.take_back(breakouts=(("E-1", "1300 N·m"), ("E-1", "40 MPa")))
    counter.undo_return()
    rows = counter.rows(records.BreakoutRow, "withdraws_id", "reason")
    assert rows == [
        (None, None),
        (None, None),
        *((at, "Its return was undone at the counter.") for at in (1, 2)),
    ]
    assert counter.acts()[-4:] == ["use reversed", *["breakout withdrawn"] * 2, "return undone"]


def test_the_rest_of_its_kit_serves_what_is_planned_for_it_again(counter: Counter) -> None:
    hose = counter.shop.item(counter.shop.model("hose"), counter.site)[1]
    counter.issue(counter.tag, hose)
    lines = rows_of(records.LoanLineRow)
    with counter.room.act() as db:
        db.execute(update(lines).where(lines.c.item_id == counter.item).values(planned_cycles=60))
    counter.take_back()
    counter.undo_return()
    with counter.room.look() as db:
        found = served(db, 2)
    assert found is not None
    assert found.cycles == 60


def test_what_was_issued_by_mistake_is_taken_back_unused(counter: Counter) -> None:
    hose, tag = counter.shop.item(counter.shop.model("hose"), counter.site, first_out_on=None)
    loan = counter.issue(counter.tag, tag).loan
    items = dict(counter.rows(records.ItemRow, "id", "first_out_on"))
    assert items[hose] == TODAY
    due = counter.rows(records.DueLineRow)
    counter.clock.pass_by(minutes=10)

    undone = counter.undo_issue(loan)

    assert undone == Undone((counter.tag, tag), "J-1", "Fin Fitter")
    lines = counter.rows(records.LoanLineRow, "condition", "note", "returned_by_id")
    assert lines == [("fine", "Issued by mistake: taken back unused.", 1)] * 2
    assert counter.rows(records.UsageRow, "cycles", "minutes", "client_id") == [
        (0, 0, "u1/1"),
        (0, 0, "u1/2"),
    ]
    # It never was out: its time in store still counts. The wrench was out before.
    after = dict(counter.rows(records.ItemRow, "id", "first_out_on"))
    assert after == items | {hose: None}
    assert counter.rows(records.DueLineRow) == due
    assert counter.acts() == ["issued", "issue undone"]
    assert counter.undo_issue(loan).again
    assert counter.acts() == ["issued", "issue undone"]
    counter.issue(counter.tag, tag, client="i2")


def test_a_hose_that_had_been_out_before_stays_one_that_was(counter: Counter) -> None:
    hose, tag = counter.shop.item(counter.shop.model("hose"), counter.site, first_out_on=None)
    counter.issue(tag)
    counter.take_back(item=tag)
    loan = counter.issue(tag, client="i2").loan
    counter.undo_issue(loan)
    assert dict(counter.rows(records.ItemRow, "id", "first_out_on"))[hose] == TODAY


def test_an_issue_is_undone_by_whoever_issued_it_while_all_of_it_is_out(counter: Counter) -> None:
    loan = counter.issue().loan
    with pytest.raises(NotAllowed, match="The issue for J-1 can be undone by Kim Keeper only"):
        counter.undo_issue(loan, by="K2")
    with pytest.raises(NotAllowed, match="not a keeper"):
        counter.undo_issue(loan, by="S1")
    with pytest.raises(NotFound):
        counter.undo_issue(99)
    counter.take_back()
    with pytest.raises(NotPossible, match="came back already"):
        counter.undo_issue(loan)
    counter.undo_return()
    counter.clock.pass_by(minutes=11)
    with pytest.raises(
        NotPossible, match=r"more than 10 minutes ago and stands\. Take the items back instead"
    ):
        counter.undo_issue(loan)


def test_the_return_of_an_issue_by_mistake_cannot_be_undone(counter: Counter) -> None:
    counter.undo_issue(counter.issue().loan)
    with pytest.raises(NotPossible, match="the loan was undone"):
        counter.undo_return("u2")


def test_what_was_issued_by_mistake_was_not_fetched(counter: Counter) -> None:
    counter.shop.put(
        records.ReservationRow,
        client_id="res",
        item_id=counter.item,
        job_id=counter.job,
        starts_at=NOON,
        ends_at=NOON + timedelta(days=3),
        reserved_at=NOON - timedelta(days=1),
        reserved_by_id=1,
        expires_at=NOON + timedelta(hours=4),
    )

    def fetched() -> list[bool]:
        with counter.room.look() as db:
            return [bool(line.fetched) for line in reservations(db, since=counter.room.now(db))]

    loan = counter.issue().loan
    assert fetched() == [True]
    counter.undo_issue(loan)
    assert fetched() == [False]
