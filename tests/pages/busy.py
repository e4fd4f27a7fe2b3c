"""What a safety officer meets, put into the demo's room: a review, a concession, letters, corrections."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from sqlalchemy import select, update

from fleet import records
from fleet.desk.deputies import AbsenceSlip, set_absence
from fleet.desk.holds import ConcessionSlip, grant_concession
from fleet.desk.letters import write_letters
from fleet.desk.usage import UseSlip, note_use, reverse_use
from fleet.ledgers.reviews import open_review
from fleet.lists.people import find_actor
from fleet.lists.sites import find_site
from fleet.measures.times import iso_week
from fleet.records.base import rows_of
from fleet.rules.conditions import ConcessionReason
from fleet.rules.people import THE_CLOCK
from tests.shop import NOON, TODAY, Shop

if TYPE_CHECKING:
    from fleet.room import Room

# A wrench of NORTH that is out for NB-141, and one on the shelf whose calibration is overdue.
WRENCH, OVERDUE = "201101", "201144"
JOB = "NB-141"
HOSTILE = "<b>{{7*7}}</b> " + "long" * 60


@dataclass(frozen=True)
class Busy:
    """The numbers of what was put in: ``dead`` is a letter to the planner, ``sent`` one to the officer."""

    review: int
    proposal: int
    certificate: int
    dead: int
    sent: int


class Maker:
    """Puts one of each thing that needs an officer into NORTH."""

    def __init__(self, room: Room) -> None:
        self.room, self.shop = room, Shop(room)
        self.keeper, self.officer = self.shop.actor("N11"), self.shop.actor("N31")
        items = rows_of(records.ItemRow)
        with room.look() as db:
            self.item = int(db.execute(select(items.c.id).where(items.c.tag == WRENCH)).scalar_one())

    def make(self) -> Busy:
        self.use()
        review = self.review()
        self.concession()
        self.absence()
        dead, sent = self.letters()
        return Busy(review, self.proposal(), self.certificate(), dead, sent)

    def use(self) -> None:
        """Use on a joint of a job, use that is entered five days late, and use that is taken back."""
        joints, jobs = rows_of(records.JointRow), rows_of(records.JobRow)
        marks = select(joints.c.mark).join(jobs, jobs.c.id == joints.c.job_id).where(jobs.c.code == JOB)
        with self.room.act() as db:
            now = self.room.now(db)
            mark = db.execute(marks.order_by(joints.c.id).limit(1)).scalar_one()
            slip = UseSlip("busy-1", WRENCH, 12, 0, TODAY, "Found in the crew's log", JOB, mark)
            note_use(db, slip, by=self.keeper, now=now)
            late = UseSlip("busy-2", WRENCH, 5, 0, TODAY - timedelta(days=5), "Test run on the bench")
            note_use(db, late, by=self.keeper, now=now)
            slip = UseSlip("busy-8", WRENCH, 7, 0, TODAY, "Typed for the wrong wrench")
            wrong = note_use(db, slip, by=self.keeper, now=now)
            why = "It was another wrench"
            reverse_use(db, wrong.entry, why, client_id="busy-9", by=self.keeper, now=now)

    def review(self) -> int:
        with self.room.act() as db:
            return open_review(
                db,
                item_id=self.item,
                calibration_id=None,
                cause=f"Found 6 % low {HOSTILE}",
                error_at=lambda _pressure: -6.0,
                since_on=date(2026, 5, 1),
                until_on=TODAY,
                by=self.officer,
                now=self.room.now(db),
            )

    def concession(self) -> None:
        slip = ConcessionSlip(
            OVERDUE,
            "calibration",
            JOB,
            "N11",
            ConcessionReason.NO_OTHER,
            f"Crew waits at the flange {HOSTILE}",
            8,
        )
        with self.room.act() as db:
            grant_concession(db, slip, by=self.officer, now=self.room.now(db))

    def absence(self) -> None:
        with self.room.act() as db:
            slip = AbsenceSlip("N22", date(2026, 5, 18), date(2026, 5, 29), "N21")
            set_absence(db, slip, by=self.keeper, now=self.room.now(db))

    def letters(self) -> tuple[int, int]:
        """This week's: that to the officer arrived, that to the planner did not, the others wait."""
        rows = rows_of(records.LetterRow)
        sent, dead = {"state": "sent", "sent_at": NOON}, {"state": "undeliverable", "turn": 3}
        with self.room.act() as db:
            site, week = find_site(db, "NORTH"), iso_week(TODAY)
            sender, now = "fleet@tool-room.example", self.room.now(db)
            write_letters(db, site, week, sender=sender, by=THE_CLOCK, now=now)
            by_badge = {
                badge: db.execute(
                    select(rows.c.id).where(rows.c.person_id == find_actor(db, badge)[0].id)
                ).scalar_one()
                for badge in ("N21", "N31")
            }
            answer = {"last_answer": f"550 5.1.1 no such mailbox {HOSTILE}"}
            db.execute(update(rows).where(rows.c.id == by_badge["N31"]).values(**sent))
            db.execute(update(rows).where(rows.c.id == by_badge["N21"]).values(**dead, **answer))
        return by_badge["N21"], by_badge["N31"]

    def proposal(self) -> int:
        tasks = rows_of(records.TaskRow)
        with self.room.look() as db:
            task = (
                db.execute(select(tasks.c.id).where(tasks.c.name == "calibration", tasks.c.kind == "wrench"))
                .scalars()
                .first()
            )
        return self.shop.put(
            records.IntervalProposalRow,
            task_id=task,
            item_id=self.item,
            method="staircase",
            evidence=f"Twice in a row within tolerance {HOSTILE}",
            now_months=12,
            proposed_months=15,
            made_at=NOON,
            made_by_id=self.keeper.id,
        )

    def certificate(self) -> int:
        due = rows_of(records.DueLineRow)
        with self.room.look() as db:
            task = db.execute(select(due.c.task_id).where(due.c.item_id == self.item)).scalars().first()
        return self.shop.put(
            records.CalibrationRow,
            client_id="busy-certificate",
            item_id=self.item,
            task_id=task,
            certificate_no="C-77",
            laboratory=f"Bench {HOSTILE}",
            calibrated_on=TODAY,
            reference="Transducer",
            traceability="Through T-9",
            decision_rule="simple acceptance",
            tolerance_percent=3.0,
            coverage_factor=2.0,
            as_found="fail",
            cycles_at=0,
            minutes_at=0,
            received_at=NOON,
            received_by_id=self.keeper.id,
            standing="received",
        )


def make_busy(room: Room) -> Busy:
    """Everything at once."""
    return Maker(room).make()
