"""The day book, and the files that were taken in."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, table


class EntryRow(Base):
    """Who did what, when and why. Append-only; each entry carries the hash of the one before.

    One chain per site; chain 0 is the room's own, for what belongs to no site (models, people).
    """

    __tablename__ = "daybook"
    __table_args__ = table(
        Index("ix_daybook_recorded_at", "recorded_at"),
        Index("ix_daybook_about", "about"),
    )

    chain: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    recorded_at: Mapped[datetime]
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    # The name as it was then: it is part of the record.
    person_name: Mapped[str]
    act: Mapped[str]
    about: Mapped[str]
    body: Mapped[str]
    prev_hash: Mapped[str]
    hash: Mapped[str]


class TakenInRow(Base):
    """A file that was imported, kept as it came (deflated), named by its digest."""

    __tablename__ = "taken_in"
    __table_args__ = table()

    id: Mapped[Key]
    sha256: Mapped[str] = mapped_column(index=True)
    name: Mapped[str]
    content: Mapped[bytes]
    taken_at: Mapped[datetime]
