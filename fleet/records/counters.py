"""Numbers that are handed out one after the other."""

from __future__ import annotations

from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, table


class CounterRow(Base):
    """The last number given out under a name (item tags, letters of a site)."""

    __tablename__ = "counter"
    __table_args__ = table()

    name: Mapped[str] = mapped_column(primary_key=True)
    last: Mapped[int]
