"""Letting things go again: only by what was done after the hold was opened, and only by what serves it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet.desk.holds import Released, ReleaseSlip, open_hold, release_hold
from fleet.records import EntryRow, HoldRow
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.conditions import HoldCause
from fleet.rules.holds import Shown
from tests.proofs import certified, inspected, proof_tested, repaired

if TYPE_CHECKING:
    from datetime import datetime

    from fleet.room import Room
    from tests.shop import Clock, Shop

SAID = "Looked at and found sound"


@dataclass
class Bay:
    """A quarantine shelf with one wrench on it."""

    room: Room
    shop: Shop
    clock: Clock
    task: int
    item: int
    tag: str

    def hold(self, cause: HoldCause = HoldCause.OTHER) -> int:
        by = self.shop.actor("K1")
        with self.room.act() as db:
            open_hold(db, self.tag, cause, "Something is wrong with it", by=by, now=self.room.now(db))
            return int(db.execute(select(HoldRow.id).order_by(HoldRow.id.desc())).scalars().first() or 0)

    def later(self) -> datetime:
        self.clock.pass_by(hours=1)
        return self.clock.now

    def release(
        self, what: Shown, number: int, badge: str = "K1", words: str = SAID, **more: object
    ) -> Released:
        by = self.shop.actor(badge)
        slip = ReleaseSlip(self.tag, what, number, words, **more)  # type: ignore[arg-type]
        with self.room.act() as db:
            return release_hold(db, slip, by=by, now=self.room.now(db))

    def refused(self, sentence: str, what: Shown, number: int, badge: str = "K1", **more: object) -> None:
        with pytest.raises((NotPossible, NotAllowed), match=sentence):
            self.release(what, number, badge, **more)  # type: ignore[arg-type]
        with self.room.look() as db:
            assert db.execute(select(HoldRow.id).where(HoldRow.released_at.is_not(None))).all() == []


@pytest.fixture
def bay(room: Room, shop: Shop, clock: Clock) -> Bay:
    site = shop.site()
    for badge, *roles in (("K1", "keeper"), ("S1", "safety officer"), ("F1",)):
        shop.person(badge, site, *roles)
    task = shop.task("calibration", "wrench", every_months=12)
    return Bay(room, shop, clock, task, *shop.item(shop.model("wrench"), site))


def test_an_inspection_made_since_releases_it_and_stays_with_the_hold(bay: Bay) -> None:
    hold = bay.hold(HoldCause.DAMAGED)
    seen = inspected(bay.shop, bay.item, bay.later())
    done = bay.release(Shown.INSPECTION, seen)
    assert (done.released, done.still_open, done.item.on_hold) == ((hold,), (), False)
    with bay.room.look() as db:
        kept = db.execute(select(HoldRow.inspection_id, HoldRow.repair_id, HoldRow.evidence)).one()
        entry = db.execute(select(EntryRow.act, EntryRow.body).order_by(EntryRow.seq.desc())).first()
    assert tuple(kept) == (seen, None, SAID)
    assert entry is not None
    assert entry.act == "hold released"
    assert f'"by":"inspection {seen}"' in entry.body


def test_what_was_done_before_the_hold_releases_nothing(bay: Bay) -> None:
    early = inspected(bay.shop, bay.item, bay.clock.now)
    bay.later()
    bay.hold(HoldCause.DAMAGED)
    bay.refused("is not newer than hold", Shown.INSPECTION, early)


def test_what_was_done_before_the_hold_releases_nothing_even_when_it_is_recorded_late(bay: Bay) -> None:
    bay.hold(HoldCause.DAMAGED)
    yesterday = (bay.clock.now - timedelta(days=1)).date()
    late = inspected(bay.shop, bay.item, bay.later(), inspected_on=yesterday)
    bay.refused("is not newer than hold", Shown.INSPECTION, late)


def test_what_is_recorded_in_the_same_instant_is_not_newer(bay: Bay) -> None:
    bay.hold(HoldCause.DAMAGED)
    bay.refused("is not newer than hold", Shown.INSPECTION, inspected(bay.shop, bay.item, bay.clock.now))


def test_what_shows_nothing_good_releases_nothing(bay: Bay) -> None:
    bay.hold()
    at = bay.later()
    reject = inspected(bay.shop, bay.item, at, result="reject")
    bay.refused("is a reject, so it releases nothing", Shown.INSPECTION, reject)
    failed = proof_tested(bay.shop, bay.item, at, passed=False)
    bay.refused("was not passed, so it releases nothing", Shown.PROOF_TEST, failed)
    for standing, as_left, why in (
        ("received", "pass", "was not accepted yet"),
        ("refused", "pass", "was refused"),
        ("accepted", "fail", "shows it out of tolerance"),
        ("accepted", "conditional fail", "shows it out of tolerance"),
    ):
        paper = certified(bay.shop, bay.item, bay.task, at, standing=standing, as_left=as_left)
        bay.refused(f"{why}, so it releases nothing", Shown.CERTIFICATE, paper)


def test_a_withdrawn_inspection_releases_nothing_and_neither_does_its_withdrawal(bay: Bay) -> None:
    bay.hold(HoldCause.DAMAGED)
    at = bay.later()
    wrong = inspected(bay.shop, bay.item, at)
    withdrawal = inspected(bay.shop, bay.item, at, withdraws_id=wrong, reason="The other wrench was meant")
    bay.refused("was withdrawn", Shown.INSPECTION, wrong)
    bay.refused("only withdraws another", Shown.INSPECTION, withdrawal)


def test_nothing_of_another_item_is_evidence(bay: Bay) -> None:
    bay.hold(HoldCause.DAMAGED)
    other, _ = bay.shop.item(bay.shop.model("wrench"), 1)
    seen = inspected(bay.shop, other, bay.later())
    with pytest.raises(NotFound, match=f"has no inspection {seen} on record"):
        bay.release(Shown.INSPECTION, seen)


@pytest.mark.parametrize(
    ("cause", "serves"),
    [
        (HoldCause.DAMAGED, {Shown.INSPECTION}),
        (HoldCause.INSPECTION, {Shown.INSPECTION, Shown.PROOF_TEST}),
        (HoldCause.CALIBRATION, {Shown.CERTIFICATE}),
        (HoldCause.OTHER, set(Shown)),
    ],
)
def test_each_cause_has_its_own_way_back(bay: Bay, cause: HoldCause, serves: set[Shown]) -> None:
    bay.hold(cause)
    at = bay.later()
    made = {
        Shown.INSPECTION: inspected(bay.shop, bay.item, at),
        Shown.REPAIR: repaired(bay.shop, bay.item, at),
        Shown.PROOF_TEST: proof_tested(bay.shop, bay.item, at),
        Shown.CERTIFICATE: certified(bay.shop, bay.item, bay.task, at),
    }
    for what in set(Shown) - serves:
        bay.refused("does not release hold", what, made[what])
    for what in sorted(serves):
        at = bay.later()
        made = {
            Shown.INSPECTION: inspected(bay.shop, bay.item, at),
            Shown.REPAIR: repaired(bay.shop, bay.item, at),
            Shown.PROOF_TEST: proof_tested(bay.shop, bay.item, at),
            Shown.CERTIFICATE: certified(bay.shop, bay.item, bay.task, at),
        }
        assert bay.release(what, made[what]).still_open == ()
        bay.hold(cause)


def test_what_an_inspection_turned_down_only_a_later_inspection_finds_good(bay: Bay) -> None:
    bay.hold()
    inspected(bay.shop, bay.item, bay.later(), result="reject")
    bay.refused("it needs an inspection", Shown.REPAIR, repaired(bay.shop, bay.item, bay.later()))
    assert bay.release(Shown.INSPECTION, inspected(bay.shop, bay.item, bay.later(), "note")).still_open == ()


def test_what_failed_its_proof_test_only_a_passed_one_releases(bay: Bay) -> None:
    bay.hold(HoldCause.INSPECTION)
    proof_tested(bay.shop, bay.item, bay.later(), passed=False)
    bay.refused("needs a proof test", Shown.INSPECTION, inspected(bay.shop, bay.item, bay.later()))
    passed = proof_tested(bay.shop, bay.item, bay.later())
    assert bay.release(Shown.PROOF_TEST, passed).still_open == ()


def test_a_certificate_that_failed_as_found_releases_its_own_hold_once_its_as_left_is_accepted(
    bay: Bay,
) -> None:
    bay.hold(HoldCause.CALIBRATION)
    opened_at, calibrated_on = bay.clock.now, (bay.clock.now - timedelta(days=9)).date()
    other = certified(bay.shop, bay.item, bay.task, bay.later(), calibrated_on=calibrated_on)
    bay.refused("is not newer than hold", Shown.CERTIFICATE, other)
    own = certified(
        bay.shop,
        bay.item,
        bay.task,
        bay.later(),
        as_found="fail",
        received_at=opened_at,
        calibrated_on=calibrated_on,
    )
    assert bay.release(Shown.CERTIFICATE, own).still_open == ()


def test_a_recall_is_lifted_for_one_item_by_a_safety_officer_only(bay: Bay) -> None:
    bay.hold(HoldCause.RECALL)
    seen = inspected(bay.shop, bay.item, bay.later())
    bay.refused("only a safety officer", Shown.INSPECTION, seen, "K1")
    assert bay.release(Shown.INSPECTION, seen, "S1").item.on_hold is False


def test_of_several_holds_the_one_that_is_meant_is_released(bay: Bay) -> None:
    first, second = bay.hold(HoldCause.DAMAGED), bay.hold(HoldCause.CALIBRATION)
    seen = inspected(bay.shop, bay.item, bay.later())
    bay.refused(rf"is held 2 times: {first} \(damaged\), {second} \(calibration\)", Shown.INSPECTION, seen)
    bay.refused("does not release hold", Shown.INSPECTION, seen, every=True)
    bay.refused("has no open hold 99", Shown.INSPECTION, seen, hold=99)
    done = bay.release(Shown.INSPECTION, seen, hold=first)
    assert (done.released, done.still_open, done.item.on_hold) == ((first,), (second,), True)


def test_all_are_released_at_once_when_the_evidence_serves_each(bay: Bay) -> None:
    both = (bay.hold(HoldCause.DAMAGED), bay.hold(HoldCause.OTHER))
    assert (
        bay.release(Shown.INSPECTION, inspected(bay.shop, bay.item, bay.later()), every=True).released == both
    )


def test_a_fitter_releases_nothing_and_words_are_needed(bay: Bay) -> None:
    bay.hold()
    seen = inspected(bay.shop, bay.item, bay.later())
    bay.refused("is not a keeper or safety officer", Shown.INSPECTION, seen, "F1")
    bay.refused("Write down what the evidence shows", Shown.INSPECTION, seen, words="ok")


def test_what_is_not_on_hold_cannot_be_released(bay: Bay) -> None:
    bay.refused("is not on hold", Shown.INSPECTION, inspected(bay.shop, bay.item, bay.clock.now))
