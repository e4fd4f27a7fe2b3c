"""A site on a Monday morning whose letters go out, are read or not, and are passed on."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from fleet.desk.acknowledging import Numbered, acknowledge
from fleet.desk.deputies import AbsenceSlip, set_absence, set_deputy
from fleet.desk.passing_on import pass_on
from fleet.lists.letters import unacknowledged
from fleet.rounds import send_waiting
from fleet.rules.letters import WEEKLY, Delivery, Outcome
from tests.letterdesk import SENDER, LetterDesk, Outbox

if TYPE_CHECKING:
    from fleet.lists.letters import LetterLine

REFUSED = Delivery(Outcome.REFUSED, "550 5.1.1 No such mailbox")
SENT = Delivery(Outcome.SENT, "250 OK")
# A Monday morning at the site, five hours behind UTC; its next working noon is Tuesday's, 17:00 in UTC.
MONDAY = datetime(2026, 5, 18, 11, 5, tzinfo=UTC)
TUESDAY_NOON = datetime(2026, 5, 19, 17, tzinfo=UTC)
WEDNESDAY_NOON = datetime(2026, 5, 20, 17, tzinfo=UTC)


@dataclass
class House:
    """A site with a keeper, a planner and a safety officer, on a Monday morning."""

    desk: LetterDesk
    post: Outbox = field(default_factory=Outbox)

    def letters_out(self, *answers: Delivery) -> None:
        """The letters of the week, written and handed over, each answered so."""
        self.desk.write()
        self.send(*answers)

    def send(self, *answers: Delivery) -> None:
        self.post.answers = list(answers)
        send_waiting(self.desk.room, self.post)

    def pass_on(self) -> list[tuple[str, str]]:
        with self.desk.room.act() as db:
            done = pass_on(db, sender=SENDER, now=self.desk.room.now(db))
        return sorted((one.whose, one.to) for one in done)

    def at(self, moment: datetime) -> None:
        self.desk.clock.now = moment

    def deputy(self, badge: str, deputy: str) -> None:
        with self.desk.room.act() as db:
            by, now = self.desk.shop.actor("K1"), self.desk.room.now(db)
            set_deputy(db, badge, deputy, by=by, now=now)

    def away(self, badge: str, deputy: str, day: date) -> None:
        with self.desk.room.act() as db:
            by, now = self.desk.shop.actor("K1"), self.desk.room.now(db)
            set_absence(db, AbsenceSlip(badge, day, day, deputy), by=by, now=now)

    def read(self, by: str, letter: LetterLine) -> None:
        with self.desk.room.act() as db:
            acknowledge(db, [letter.id], by=self.desk.shop.actor(by), now=self.desk.room.now(db))

    def read_number(self, by: str, whose: str | None = None) -> list[int]:
        """By its number: letter 1 of the week; answers the ids of those that were read by it."""
        actor = self.desk.shop.actor(by)
        person = self.desk.shop.actor(whose).id if whose else None
        with self.desk.room.act() as db:
            asked = Numbered(self.desk.site, WEEKLY, 1, person)
            return [one.letter for one in acknowledge(db, asked, by=actor, now=self.desk.room.now(db))]

    def letter(self, badge: str, whose: str | None = None) -> LetterLine:
        (line,) = [one for one in self.desk.letters() if one.badge == badge and one.whose == whose]
        return line

    def read_all_but(self, badge: str) -> None:
        """The others say that they read theirs."""
        for line in self.desk.letters():
            if line.badge != badge:
                self.read(line.badge, line)

    def open(self) -> list[str]:
        with self.desk.room.look() as db:
            found = unacknowledged(db, self.desk.line, now=self.desk.room.now(db))
        return sorted(line.badge for line in found)
