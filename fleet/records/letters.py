"""Letters, every attempt to deliver them, and the heartbeats of what runs by the clock."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, one_of, table
from fleet.rules.letters import LetterState


class LetterRow(Base):
    """One mail to one address for one site and ISO week, written once; its content never changes.

    ``turn`` counts the times it was taken, and fences off a sender whose lease ran out.
    """

    __tablename__ = "letter"
    __table_args__ = table(
        one_of("state", LetterState),
        UniqueConstraint("kind", "site_id", "week", "address", "copy_no"),
        Index(
            "ix_letter_waiting",
            "not_before",
            sqlite_where=text("state IN ('written', 'taken')"),
            postgresql_where=text("state IN ('written', 'taken')"),
        ),
    )

    id: Mapped[Key]
    kind: Mapped[str]
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    week: Mapped[str]
    number: Mapped[int]
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    address: Mapped[str]
    copy_no: Mapped[int]
    message_id: Mapped[str] = mapped_column(unique=True)
    subject: Mapped[str]
    plain: Mapped[str]
    html: Mapped[str]
    sha256: Mapped[str]
    written_at: Mapped[datetime]
    state: Mapped[str]
    turn: Mapped[int]
    taken_by: Mapped[str | None]
    lease_until: Mapped[datetime | None]
    not_before: Mapped[datetime]
    give_up_at: Mapped[datetime]
    sent_at: Mapped[datetime | None]
    last_answer: Mapped[str | None]


class LetterAttemptRow(Base):
    """One attempt to deliver one letter. Append-only."""

    __tablename__ = "letter_attempt"
    __table_args__ = table(UniqueConstraint("letter_id", "turn", "outcome"))

    id: Mapped[Key]
    letter_id: Mapped[int] = mapped_column(ForeignKey("letter.id"))
    turn: Mapped[int]
    at: Mapped[datetime]
    outcome: Mapped[str]
    answer: Mapped[str]


class HeartbeatRow(Base):
    """When something that runs by the clock was last alive."""

    __tablename__ = "heartbeat"
    __table_args__ = table()

    name: Mapped[str] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    note: Mapped[str]
