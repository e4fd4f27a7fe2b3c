"""Letters, every attempt to deliver them, and the heartbeats of what runs by the clock."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, one_of, table
from fleet.rules.letters import LetterState


class LetterContentRow(Base):
    """What letters say, once for all who are told the same, under the digest of its texts. Never changes."""

    __tablename__ = "letter_content"
    __table_args__ = table()

    sha256: Mapped[str] = mapped_column(primary_key=True)
    plain: Mapped[str]
    html: Mapped[str]
    # The calendar that goes along, as text (RFC 5545).
    calendar: Mapped[str | None]


class LetterRow(Base):
    """One mail to one address, written once; ``sha256`` names its content.

    ``week`` is the ISO week of a weekly letter, and of a letter at once its moment as an ISO week date
    (``2026-W20-3T0714``). ``turn`` counts the times it was taken, and fences off a sender whose lease ran
    out. A letter with ``forwards_id`` passes another one on, to a deputy or to the spare address.
    """

    __tablename__ = "letter"
    __table_args__ = table(
        one_of("state", LetterState),
        UniqueConstraint("kind", "site_id", "week", "address", "copy_no"),
        Index("ux_letter_forwards_id_address", "forwards_id", "address", unique=True),
        Index("ix_letter_week_kind", "week", "kind"),
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
    forwards_id: Mapped[int | None] = mapped_column(ForeignKey("letter.id"))


class LetterSiteRow(Base):
    """A site that a letter tells about: that of its number, and every other one its reader answers for."""

    __tablename__ = "letter_site"
    __table_args__ = table(Index("ix_letter_site_site_id", "site_id"))

    letter_id: Mapped[int] = mapped_column(ForeignKey("letter.id"), primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"), primary_key=True)


class AcknowledgementRow(Base):
    """Somebody logged in and said that a letter was read. Append-only: one for each letter at most."""

    __tablename__ = "acknowledgement"
    __table_args__ = table()

    letter_id: Mapped[int] = mapped_column(ForeignKey("letter.id"), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    at: Mapped[datetime]


class ToldRow(Base):
    """A matter of which a person was told at once, and by which letter; nobody is told of it twice.

    ``matter`` is its kind and number (``hold 12``); ``level`` counts up as it is passed on to others after
    seven and fourteen days; ``reader`` is a badge, or ``spare``.
    """

    __tablename__ = "told"
    __table_args__ = table(
        UniqueConstraint("matter", "level", "site_id", "reader"),
        CheckConstraint("level BETWEEN 0 AND 2", name="level_known"),
    )

    id: Mapped[Key]
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    matter: Mapped[str]
    level: Mapped[int]
    reader: Mapped[str]
    letter_id: Mapped[int] = mapped_column(ForeignKey("letter.id"), index=True)
    sentence: Mapped[str]


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
