"""A tool room where something is the matter: items lent, held, recalled, reserved; and who is told."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from sqlalchemy import select, update

from fleet import records
from fleet.desk.telling import ToldAtOnce, tell_at_once
from fleet.lists.matters import matters, untold
from fleet.lists.sites import sites
from fleet.records.base import rows_of
from tests.letterdesk import SENDER, LetterDesk
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.lists.sites import SiteLine
    from fleet.room import Room
    from fleet.rules.matters import Matter
    from tests.shop import Clock, Shop


@dataclass
class TroubleDesk:
    """One site, a fitter with an address, a job, and a model of pump."""

    room: Room
    shop: Shop
    clock: Clock
    desk: LetterDesk | None = None

    def __post_init__(self) -> None:
        self.letters = self.desk or LetterDesk(self.room, self.shop, self.clock)
        self.site = self.letters.site
        self.fitter = self.shop.person("F1", self.site, address="fin@crew.example")
        self.job = self.shop.job(self.site, "J-1", days=60)
        self.pump = self.shop.model("pump", "P-10")

    # --- What is the matter ---------------------------------------------------------------------------------

    def item(self, site: int | None = None, model: int | None = None) -> tuple[int, str]:
        return self.shop.item(model or self.pump, site or self.site)

    def lend(self, item: int, back_on: date | None = None, issued_at: datetime = NOON) -> int:
        loan = self.shop.put(
            records.LoanRow,
            client_id=f"loan-{next(self.shop.numbers)}",
            site_id=self.site,
            job_id=self.job,
            borrower_id=self.fitter,
            issued_at=issued_at,
            issued_by_id=self.fitter,
            back_on=back_on or TODAY + timedelta(days=90),
        )
        return self.shop.put(records.LoanLineRow, loan_id=loan, item_id=item)

    def take_back(self, line: int) -> None:
        self.change(records.LoanLineRow, line, returned_at=self.clock.now, condition="fine")

    def hold(self, item: int, **values: object) -> int:
        said: dict[str, object] = {"cause": "damaged", "reason": "Relief valve leaks"} | values
        return self.shop.put(records.HoldRow, **({"item_id": item, "opened_at": self.clock.now} | said))

    def release(self, hold: int) -> None:
        self.change(records.HoldRow, hold, released_at=self.clock.now, evidence="Valve replaced, tested")

    def recall(self) -> int:
        return self.shop.put(
            records.RecallRow,
            model_id=self.pump,
            notice="Maker's notice 4 of May",
            reason="Relief valve may stick",
            opened_at=self.clock.now,
        )

    def review(self, item: int, joints: int = 0) -> int:
        review = self.shop.put(
            records.ImpactReviewRow,
            item_id=item,
            site_id=self.site,
            cause="10438-8 failed as found. It reads 6 % low.",
            until_on=TODAY,
            opened_at=self.clock.now,
            due_on=TODAY + timedelta(days=14),
        )
        for _ in range(joints):
            self.shop.put(
                records.ImpactLineRow,
                review_id=review,
                job_id=self.job,
                first_on=TODAY,
                last_on=TODAY,
                cycles=9,
            )
        return review

    def reserve(self, item: int, by: int, hours: float = 12, **values: object) -> int:
        """Keep an item for the job, from so many hours after noon for two days."""
        starts = NOON + timedelta(hours=hours)
        row = {
            "client_id": f"r-{next(self.shop.numbers)}",
            "item_id": item,
            "job_id": self.job,
            "starts_at": starts,
            "ends_at": starts + timedelta(days=2),
            "reserved_at": NOON - timedelta(days=2),
            "reserved_by_id": by,
        }
        return self.shop.put(records.ReservationRow, **(row | values))

    def away(self, person: int, deputy: int, from_day: date = TODAY, through_day: date = TODAY) -> None:
        self.shop.put(
            records.AbsenceRow,
            person_id=person,
            deputy_id=deputy,
            from_day=from_day,
            through_day=through_day,
            set_at=NOON,
        )

    def change(self, entity: type[records.Base], key: int, **values: object) -> None:
        rows = rows_of(entity)
        with self.room.act() as db:
            db.execute(update(rows).where(rows.c.id == key).values(**values))

    # --- Who is told ----------------------------------------------------------------------------------------

    @property
    def sites(self) -> list[SiteLine]:
        with self.room.look() as db:
            return sites(db)

    def standing(self) -> list[Matter]:
        with self.room.look() as db:
            return matters(db, self.letters.line, self.room.now(db))

    def untold(self) -> list[tuple[str, int, str]]:
        """Matter, level and badge of all that could be told now."""
        with self.room.look() as db:
            found = untold(db, self.letters.line, self.room.now(db))
        return [(one.matter.key, one.level, one.reader.badge) for one in found]

    def tell(self) -> list[ToldAtOnce]:
        with self.room.act() as db:
            return list(tell_at_once(db, sites(db), sender=SENDER, now=self.room.now(db)))

    def told(self) -> list[tuple[str, int, str]]:
        """Matter, level and badge on record, as they were told."""
        row = records.ToldRow
        with self.room.look() as db:
            found = db.execute(select(row.matter, row.level, row.reader).order_by(row.id))
            return [(one.matter, one.level, one.reader) for one in found]

    def letter(self, badge: str) -> Any:  # noqa: ANN401  A row of the letter table with its text.
        """The newest letter at once to a badge."""
        row, said = records.LetterRow, records.LetterContentRow
        person = records.PersonRow
        with self.room.look() as db:
            found = db.execute(
                select(*row.__table__.c, said.plain, said.html, person.badge)
                .join(said, said.sha256 == row.sha256)
                .outerjoin(person, person.id == row.person_id)
                .where(row.kind == "at once")
                .order_by(row.id.desc())
            ).all()
        return next(one for one in found if (one.badge or "spare") == badge)

    def said(self, badge: str) -> str:
        return " ".join(self.letter(badge).plain.split())
