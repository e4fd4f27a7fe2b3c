"""Sites, people and their roles."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, UniqueConstraint, text
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
        CheckConstraint("quiet_from_hour BETWEEN 0 AND 23", name="quiet_from_hour_in_day"),
        CheckConstraint("quiet_until_hour BETWEEN 0 AND 23", name="quiet_until_hour_in_day"),
        CheckConstraint("length(working_days) BETWEEN 1 AND 7", name="working_days_some"),
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
    # What can wait is not sent in these hours; the same hour twice means that there are none.
    quiet_from_hour: Mapped[int] = mapped_column(server_default=text("20"))
    quiet_until_hour: Mapped[int] = mapped_column(server_default=text("6"))
    # ISO weekdays as figures: 12345 is Monday to Friday.
    working_days: Mapped[str] = mapped_column(server_default=text("'12345'"))


class PersonRow(Base):
    """Somebody who works with the tool room; a borrower may have neither role nor address."""

    __tablename__ = "person"
    __table_args__ = table(one_of("pressure_unit", PressureUnit), one_of("torque_unit", TorqueUnit))

    id: Mapped[Key]
    badge: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    address: Mapped[str | None]
    active: Mapped[bool]
    # Gets the letters of somebody who is away, and those that nobody said they had read.
    deputy_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    # Sees to log-ins, stations and tokens; a role at a site is another matter.
    administrator: Mapped[bool] = mapped_column(server_default=text("FALSE"))
    # Instead of the site's units, where somebody reads others more easily.
    pressure_unit: Mapped[str | None]
    torque_unit: Mapped[str | None]


class AbsenceRow(Base):
    """Days on which somebody is away and ``deputy_id`` is told instead; never deleted, but ended early."""

    __tablename__ = "absence"
    __table_args__ = table(
        CheckConstraint("through_day >= from_day", name="begins_before_it_ends"),
        CheckConstraint("person_id <> deputy_id", name="deputy_is_another"),
    )

    id: Mapped[Key]
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), index=True)
    deputy_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    from_day: Mapped[date]
    through_day: Mapped[date]
    set_at: Mapped[datetime]
    set_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    ended_at: Mapped[datetime | None]
    ended_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))


class RoleRow(Base):
    """One role of one person at one site."""

    __tablename__ = "role"
    __table_args__ = table(one_of("role", Role), UniqueConstraint("person_id", "site_id", "role"))

    id: Mapped[Key]
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"), index=True)
    role: Mapped[str]
