"""Sites, people and their roles."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, ForeignKey, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, one_of, table
from fleet.rules.register import PressureUnit, Role, TorqueUnit


class SiteRow(Base):
    """A tool room: its zone decides what day it is, its units what people read."""

    __tablename__ = "site"
    __table_args__ = table(
        one_of("pressure_unit", PressureUnit),
        one_of("torque_unit", TorqueUnit),
        CheckConstraint("letter_weekday BETWEEN 0 AND 6", name="letter_weekday_in_week"),
        CheckConstraint("letter_hour BETWEEN 0 AND 23", name="letter_hour_in_day"),
    )

    id: Mapped[Key]
    code: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    time_zone: Mapped[str]
    pressure_unit: Mapped[str]
    torque_unit: Mapped[str]
    letter_weekday: Mapped[int]
    letter_hour: Mapped[int]
    # Gets the letter when nobody with a role has an address: silence must not be possible.
    spare_address: Mapped[str]


class PersonRow(Base):
    """Somebody who works with the tool room; a borrower may have neither role nor address."""

    __tablename__ = "person"
    __table_args__ = table()

    id: Mapped[Key]
    badge: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    address: Mapped[str | None]
    active: Mapped[bool]


class RoleRow(Base):
    """One role of one person at one site."""

    __tablename__ = "role"
    __table_args__ = table(one_of("role", Role), UniqueConstraint("person_id", "site_id", "role"))

    id: Mapped[Key]
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"), index=True)
    role: Mapped[str]
