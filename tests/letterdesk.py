"""A site with its people, and what is done with letters there: written, taken, marked, sent."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from sqlalchemy import select, update

from fleet import records
from fleet.desk.letters import Written, write_letters
from fleet.desk.sending import mark, take_letter
from fleet.ledgers.letters import NewLetter, add_letter, keep_content
from fleet.lists.letters import LetterLine, LetterText, attempts, letter_text, letters
from fleet.lists.sites import SiteLine, find_site
from fleet.mail.post import nobody_elses
from fleet.measures.times import iso_week
from fleet.records.base import rows_of
from fleet.rounds import Sent, send_waiting
from fleet.rules.letters import Content, Delivery, LetterState, Outcome
from fleet.rules.people import THE_CLOCK, Actor

if TYPE_CHECKING:
    from fleet.mail.messages import TakenLetter
    from fleet.mail.post import Post, StillOurs
    from fleet.room import Room
    from tests.shop import Clock, Shop

SENDER = "fleet@tool-room.example"
PEOPLE = {"K1": "keeper", "P1": "planner", "S1": "safety officer"}


@dataclass
class LetterDesk:
    """One site; ``hire`` people to give it readers."""

    room: Room
    shop: Shop
    clock: Clock
    code: str = "NORTH"
    site: int = field(init=False)

    def __post_init__(self) -> None:
        self.site = self.shop.site(self.code)

    def hire(self, badge: str, *roles: str, address: str | None = "") -> int:
        """Somebody with a role; an address of their own unless another, or none, is given."""
        own = f"{badge.lower()}@tool-room.example" if address == "" else address
        return self.shop.person(badge, self.site, *(roles or (PEOPLE[badge],)), address=own)

    def change(self, person: int, **values: object) -> None:
        rows = rows_of(records.PersonRow)
        with self.room.act() as db:
            db.execute(update(rows).where(rows.c.id == person).values(**values))

    def change_letters(self, **values: object) -> None:
        with self.room.act() as db:
            db.execute(update(rows_of(records.LetterRow)).values(**values))

    @property
    def line(self) -> SiteLine:
        with self.room.look() as db:
            return find_site(db, self.code)

    @property
    def week(self) -> str:
        return iso_week(self.line.today(self.clock.now))

    def write(self, week: str | None = None, by: Actor = THE_CLOCK) -> Written:
        with self.room.act() as db:
            now = self.room.now(db)
            return write_letters(db, self.line, week or self.week, sender=SENDER, by=by, now=now)

    def put(self, stem: str, count: int, plain: str = "Plain.\n") -> list[str]:
        """Letters that say the same to as many addresses and wait; answers their Message-IDs."""
        with self.room.act() as db:
            digest = keep_content(db, Content("A letter", plain, "<p>Said.</p>\n"))
            made = [
                NewLetter(
                    kind="test",
                    site=self.site,
                    code=self.code,
                    week="2026-W20",
                    number=1,
                    person_id=None,
                    address=f"reader-{stem}-{at}@tool-room.example",
                    subject="A letter",
                    sha256=digest,
                    domain="tool-room.example",
                    sites=(self.site,),
                )
                for at in range(count)
            ]
            for letter in made:
                add_letter(db, letter, self.room.now(db))
        return [letter.message_id for letter in made]

    def letters(self, **asked: object) -> list[LetterLine]:
        with self.room.look() as db:
            return letters(db, **asked)  # type: ignore[arg-type]

    def states(self) -> dict[str, str]:
        return {line.badge: line.state for line in self.letters()}

    def text(self, badge: str, **asked: object) -> LetterText:
        (line,) = [line for line in self.letters(**asked) if line.badge == badge]
        with self.room.look() as db:
            return letter_text(db, line.id)

    def said(self, badge: str, **asked: object) -> str:
        return " ".join(self.text(badge, **asked).plain.split())

    def outcomes(self, letter: int) -> list[tuple[int, str]]:
        with self.room.look() as db:
            return [(attempt.turn, attempt.outcome) for attempt in attempts(db, letter)]

    def take(self, sender: str = "one") -> TakenLetter | None:
        with self.room.act() as db:
            return take_letter(db, sender, self.room.now(db))

    def must_take(self, sender: str = "one") -> TakenLetter:
        taken = self.take(sender)
        assert taken is not None
        return taken

    def mark(self, taken: TakenLetter, outcome: Outcome, answer: str = "…") -> LetterState:
        with self.room.act() as db:
            return mark(db, taken, Delivery(outcome, answer), self.room.now(db))

    def send(self, post: Post, *, patient: bool = False) -> Sent:
        return send_waiting(self.room, post, patient=patient)

    def book(self) -> list[tuple[str, str]]:
        """What the day book says, oldest first: act and what it was about."""
        entry = records.EntryRow
        with self.room.look() as db:
            rows = db.execute(select(entry.act, entry.about).order_by(entry.chain, entry.seq))
            return [(row.act, row.about) for row in rows]


@dataclass
class Outbox:
    """A post that keeps what it was given, and answers as it was told; otherwise it takes everything."""

    answers: list[Delivery] = field(default_factory=list)
    taken: list[TakenLetter] = field(default_factory=list)

    def send(self, letter: TakenLetter, still_ours: StillOurs = nobody_elses) -> Delivery:
        if not still_ours(letter):
            return Delivery(Outcome.NOT_OURS, "It was no longer this sender's letter.")
        delivery = self.answers.pop(0) if self.answers else Delivery(Outcome.SENT, "250 OK")
        if delivery.outcome is Outcome.SENT:
            self.taken.append(letter)
        return delivery

    def together(self) -> AbstractContextManager[None]:
        return nullcontext()

    @property
    def badges(self) -> list[str]:
        return sorted(letter.badge for letter in self.taken)
