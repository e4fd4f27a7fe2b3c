"""The ground all tables stand on: names for constraints, column types that both engines keep faithfully."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Annotated, Any, cast

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Date,
    DateTime,
    Double,
    Integer,
    MetaData,
    Text,
    TypeDecorator,
)
from sqlalchemy.dialects.sqlite import REAL
from sqlalchemy.engine.processors import int_to_boolean, str_to_date
from sqlalchemy.orm import DeclarativeBase, mapped_column

if TYPE_CHECKING:
    from enum import StrEnum

    from sqlalchemy import Table
    from sqlalchemy.engine import Dialect
    from sqlalchemy.types import TypeEngine

INSTANT_FORMAT = "%Y-%m-%dT%H:%M:%S.%fZ"


class Instant(TypeDecorator[datetime]):
    """An aware UTC instant; naive values are refused.

    SQLite's own date type drops the offset silently; there it is fixed-width text, which sorts as time does.
    """

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Timestamptz on PostgreSQL, text on SQLite."""
        return dialect.type_descriptor(DateTime(timezone=True) if dialect.name == "postgresql" else Text())

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:  # noqa: ANN401  Text or datetime.
        """Refuse a naive time: its zone could only be guessed."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value!r} has no time zone")
        utc = value.astimezone(UTC)
        return utc if dialect.name == "postgresql" else utc.strftime(INSTANT_FORMAT)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:  # noqa: ANN401, ARG002  As above.
        """Answer aware UTC on both engines."""
        if value is None:
            return None
        if isinstance(value, str):
            return datetime.fromisoformat(value)
        return value.astimezone(UTC)  # type: ignore[no-any-return]


class Day(TypeDecorator[date]):
    """A civil day at a site: no time, no zone."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Date on PostgreSQL, ISO text on SQLite."""
        return dialect.type_descriptor(Date() if dialect.name == "postgresql" else Text())

    def process_bind_param(self, value: date | None, dialect: Dialect) -> Any:  # noqa: ANN401  Text or date.
        """ISO text on SQLite; an instant is refused, since its day depends on a zone."""
        if isinstance(value, datetime):
            raise ValueError(f"{value!r} is an instant, not a day")  # noqa: TRY004  A value of the wrong sort.
        if value is None or dialect.name == "postgresql":
            return value
        return value.isoformat()

    def result_processor(self, dialect: Dialect, _coltype: object) -> Any:  # noqa: ANN401  A function or none.
        """Answer a date on both engines. A list reads hundreds of days, so nothing stands in between."""
        return None if dialect.name == "postgresql" else str_to_date


class Flag(TypeDecorator[bool]):
    """Yes or no; an integer on SQLite, whose strict tables know no boolean."""

    impl = Integer
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Boolean on PostgreSQL, integer on SQLite."""
        return dialect.type_descriptor(Boolean() if dialect.name == "postgresql" else Integer())

    def result_processor(self, dialect: Dialect, _coltype: object) -> Any:  # noqa: ANN401  A function or none.
        """Answer a bool on both engines."""
        return None if dialect.name == "postgresql" else int_to_boolean


# SQLite only numbers rows by itself for a column that is exactly INTEGER.
BIG = BigInteger().with_variant(Integer(), "sqlite")
NUMBER: TypeEngine[float] = Double().with_variant(REAL(), "sqlite")

Key = Annotated[int, mapped_column(BIG, primary_key=True)]


class Base(DeclarativeBase):
    """Every table; each constraint gets a name, so that a migration can find it again."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012  SQLAlchemy's own declaration.
        str: Text,
        int: BIG,
        float: NUMBER,
        bool: Flag,
        datetime: Instant,
        date: Day,
    }


def table(*constraints: Any) -> tuple[Any, ...]:  # noqa: ANN401  SQLAlchemy's own open type.
    """Table arguments: the constraints, and strict column types on SQLite."""
    return (*constraints, {"sqlite_strict": True})


def one_of(column: str, values: type[StrEnum]) -> CheckConstraint:
    """The column holds one of the enumeration's values."""
    listed = ", ".join(f"'{value.value}'" for value in values)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


def rows_of(entity: type[Base]) -> Table:
    """The plain table, for statements that are built once and run without the object layer."""
    return cast("Table", entity.__table__)
