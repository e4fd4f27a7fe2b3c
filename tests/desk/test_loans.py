"""Handing out: every reason an item stays in, and nothing half done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select, update

from fleet import records
from fleet.desk.holds import ConcessionSlip, ReleaseSlip, grant_concession, open_hold, release_hold
from fleet.desk.loans import Issued, IssueSlip, issue, look_over
from fleet.desk.returns import ReturnSlip, take_back
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.conditions import ConcessionReason, HoldCause
from fleet.rules.holds import Shown
from tests.proofs import inspected
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.rules.loans import Verdict
    from tests.shop import Clock, Shop


@dataclass
class Counter:
    room: Room
    shop: Shop
    site: int
    wrench: int
    task: int

    def slip(self, *tags: str, client: str = "i1", back: date = TODAY + timedelta(days=5)) -> IssueSlip:
        return IssueSlip(client, tags, "F1", "J-1", back)

    def issue(self, *tags: str, by: str = "K1", client: str = "i1") -> Issued:
        actor = self.shop.actor(by)
        with self.room.act() as db:
            return issue(db, self.slip(*tags, client=client), by=actor, now=self.room.now(db))

    def verdict(self, tag: str, back: date = TODAY + timedelta(days=5)) -> Verdict:
        with self.room.look() as db:
            _job, verdicts = look_over(db, self.slip(tag, back=back), now=self.room.now(db))
        return next(iter(verdicts.values()))

    def codes(self, tag: str) -> set[str]:
        return {finding.code for finding in self.verdict(tag).findings}

    def good(self, **values: object) -> tuple[int, str]:
        item, tag = self.shop.item(self.wrench, self.site, **values)
        self.shop.did(item, self.task, TODAY - timedelta(days=30))
        return item, tag


@pytest.fixture
def counter(room: Room, shop: Shop) -> Counter:
    site = shop.site()
    shop.person("K1", site, "keeper")
    shop.person("S1", site, "safety officer")
    shop.person("F1", site)
    task = shop.task("calibration", "wrench", every_months=12, every_cycles=5000)
    shop.job(site)
    return Counter(room, shop, site, shop.model("wrench"), task)


def test_what_is_in_order_goes_out(counter: Counter) -> None:
    _, tag = counter.good()

    issued = counter.issue(tag)

    assert [verdict.goes_out for verdict in issued.verdicts] == [True]
    assert counter.codes(tag) == {"out"}


def test_the_same_slip_twice_hands_out_once(counter: Counter) -> None:
    _, tag = counter.good()

    assert not counter.issue(tag).again
    assert counter.issue(tag).again
    with counter.room.look() as db:
        assert db.execute(select(func.count(records.LoanLineRow.id))).scalar() == 1


def test_the_day_it_first_went_out_is_kept_for_good(counter: Counter, clock: Clock) -> None:
    item, tag = counter.good()
    counter.shop.did(item, counter.task, TODAY)
    first = select(records.ItemRow.first_out_on).where(records.ItemRow.id == item)
    with counter.room.act() as db:
        db.execute(update(records.ItemRow).where(records.ItemRow.id == item).values(first_out_on=None))
    counter.issue(tag)
    slip = ReturnSlip("r1", tag, 1, 0, "fine")
    with counter.room.act() as db:
        take_back(db, slip, by=counter.shop.actor("K1"), now=counter.room.now(db))
    clock.pass_by(days=3)
    counter.issue(tag, client="i2")

    with counter.room.look() as db:
        assert db.execute(first).scalar() == TODAY


def test_an_id_stands_for_one_slip_only(counter: Counter) -> None:
    (_, tag), (_, other) = counter.good(), counter.good()
    counter.issue(tag)

    with pytest.raises(NotPossible, match="The id 'i1' was used before, for something else"):
        counter.issue(other)

    assert counter.codes(other) == set()


def test_on_the_day_it_comes_it_stays_in_until_somebody_calibrates_it(counter: Counter) -> None:
    item, tag = counter.shop.item(counter.wrench, counter.site, received_on=TODAY)
    assert not counter.verdict(tag, back=TODAY).goes_out

    counter.shop.did(item, counter.task, TODAY)

    assert counter.verdict(tag, back=TODAY).goes_out


def test_never_calibrated_stays_in(counter: Counter) -> None:
    _, tag = counter.shop.item(counter.wrench, counter.site)

    verdict = counter.verdict(tag)

    assert not verdict.goes_out
    assert "was never done" in verdict.findings[0].sentence


def test_usable_through_the_day_it_is_due(counter: Counter) -> None:
    item, tag = counter.shop.item(counter.wrench, counter.site)
    counter.shop.did(item, counter.task, date(2025, 5, 13))

    assert counter.verdict(tag, back=TODAY).goes_out
    assert not counter.verdict(tag, back=TODAY + timedelta(days=1)).goes_out


def test_a_hose_past_its_life_stays_in_whoever_asks(counter: Counter) -> None:
    shop = counter.shop
    shop.task("replacement", "hose", every_months=72, counts_from="assembly", stop="hard")
    _, tag = shop.item(shop.model("hose"), counter.site, assembled_on=date(2020, 5, 12))
    findings = counter.verdict(tag).findings

    assert [(f.severity, f.code) for f in findings] == [("hard", "overdue")]
    with pytest.raises(NotPossible, match="Nobody can lift this"):
        concede(counter, tag, task="replacement")


@pytest.mark.parametrize(
    ("kind", "values", "code"),
    [
        ("wrench", {"mwp_advance_mpa": None}, "rating unknown"),
        ("hose", {"mwp_retract_mpa": None}, "rating unknown"),
        ("pump", {"relief_advance_mpa": None}, "relief unknown"),
        ("gauge", {"range_mpa": None}, "range unknown"),
    ],
)
def test_what_is_not_on_record_is_a_stop(
    counter: Counter, kind: str, values: dict[str, object], code: str
) -> None:
    _, tag = counter.shop.item(counter.shop.model(kind, None, **values), counter.site)

    assert code in counter.codes(tag)


def test_one_that_stays_in_keeps_the_whole_slip_in(counter: Counter) -> None:
    _, good = counter.good()
    _, bad = counter.shop.item(counter.wrench, counter.site)

    with pytest.raises(NotPossible, match="Nothing was issued"):
        counter.issue(good, bad)

    assert counter.codes(good) == set()


def test_a_hold_keeps_it_in_until_there_is_evidence(counter: Counter) -> None:
    item, tag = counter.good()
    by = counter.shop.actor("K1")
    with counter.room.act() as db:
        open_hold(db, tag, HoldCause.INSPECTION, "Crack at the drive", by=by, now=counter.room.now(db))

    assert counter.codes(tag) == {"on hold"}
    seen = inspected(counter.shop, item, NOON + timedelta(hours=1))
    with counter.room.act() as db:
        slip = ReleaseSlip(tag, Shown.INSPECTION, seen, "Dye test 44 shows no crack")
        release_hold(db, slip, by=by, now=counter.room.now(db))
    assert counter.codes(tag) == set()


def test_reserved_for_another_job_stays_in(counter: Counter) -> None:
    item, tag = counter.good()
    other = counter.shop.job(counter.site, "J-2")
    counter.shop.put(
        records.ReservationRow,
        client_id="v",
        item_id=item,
        job_id=other,
        starts_at=NOON + timedelta(days=2),
        ends_at=NOON + timedelta(days=4),
        reserved_at=NOON,
        reserved_by_id=1,
    )

    assert counter.codes(tag) == {"reserved"}


def concede(counter: Counter, tag: str, *, by: str = "S1", asked_by: str = "K1", **other: object) -> object:
    values: dict[str, object] = {
        "item": tag,
        "task": "calibration",
        "job": "J-1",
        "asked_by": asked_by,
        "reason_code": ConcessionReason.NO_OTHER,
        "reason": "Leak at the manway, no other wrench of this size in reach",
    } | other
    actor = counter.shop.actor(by)
    with counter.room.act() as db:
        return grant_concession(db, ConcessionSlip(**values), by=actor, now=counter.room.now(db))  # type: ignore[arg-type]


def test_a_concession_lets_it_out_for_that_job_and_that_day_only(counter: Counter) -> None:
    _, tag = counter.shop.item(counter.wrench, counter.site)
    concede(counter, tag)

    tomorrow = TODAY + timedelta(days=1)
    assert counter.verdict(tag, back=tomorrow).goes_out
    assert {finding.code for finding in counter.verdict(tag, back=tomorrow).findings} == {"concession"}
    assert counter.codes(tag) == {"concession too short"}
    assert not counter.verdict(tag).goes_out
    counter.room.clock.pass_by(hours=25)  # type: ignore[attr-defined]
    assert not counter.verdict(tag, back=TODAY + timedelta(days=2)).goes_out


def test_nobody_grants_his_own_concession(counter: Counter) -> None:
    _, tag = counter.shop.item(counter.wrench, counter.site)

    with pytest.raises(NotAllowed, match="cannot grant what"):
        concede(counter, tag, asked_by="S1")
    with pytest.raises(NotAllowed, match="is not a safety officer"):
        concede(counter, tag, by="K1")
    with pytest.raises(NotPossible, match="from 1 to 24 hours"):
        concede(counter, tag, hours=25)
    assert counter.codes(tag) == {"overdue"}


def test_what_is_not_overdue_needs_no_concession(counter: Counter) -> None:
    _, tag = counter.good()

    with pytest.raises(NotPossible, match="is not overdue"):
        concede(counter, tag)


def test_unknown_words_are_named(counter: Counter) -> None:
    _, tag = counter.good()
    actor = counter.shop.actor("K1")

    for slip, said in (
        (IssueSlip("a", (tag,), "Nobody", "J-1", TODAY), "Nobody with the badge"),
        (IssueSlip("b", (tag,), "F1", "J-9", TODAY), "There is no job 'J-9'"),
        (IssueSlip("c", ("99999",), "F1", "J-1", TODAY), "its last figure does not fit"),
    ):
        with pytest.raises(NotFound, match=said), counter.room.act() as db:
            issue(db, slip, by=actor, now=counter.room.now(db))
    with pytest.raises(NotPossible, match="already passed"):
        counter.verdict(tag, back=TODAY - timedelta(days=1))
