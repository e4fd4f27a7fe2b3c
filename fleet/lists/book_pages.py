"""The day book, looked through: by day, person, act and what it is about, page by page."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from sqlalchemy import BigInteger, bindparam, func, literal, select
from sqlalchemy.orm import aliased

from fleet.lists.daybook import Entry
from fleet.lists.rows import lines
from fleet.records import EntryRow

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Select
    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class Sought:
    """What is looked for; what is empty does not narrow. ``before``: only entries with a lower number."""

    since: datetime | None = None
    until: datetime | None = None
    person: str | None = None
    act: str | None = None
    about: str | None = None
    before: int | None = None


_INSTANT = EntryRow.recorded_at.type
_AT = aliased(EntryRow)


def _first_from(moment: str) -> Any:  # noqa: ANN401  A number of the database.
    """The first entry of the chain from an instant on: times rise with numbers, so a number narrows as well.

    The sum keeps a database without statistics from reading the whole chain for it.
    """
    return (
        select(_AT.seq)
        .where(_AT.chain + 0 == bindparam("chain"), _AT.recorded_at >= bindparam(moment, type_=_INSTANT))
        .order_by(_AT.recorded_at, _AT.seq)
        .limit(1)
        .scalar_subquery()
    )


_CONDITIONS: dict[str, Any] = {
    "since": EntryRow.seq >= _first_from("since"),
    "until": EntryRow.seq < func.coalesce(_first_from("until"), literal(2**62, BigInteger())),
    "person": EntryRow.person_name == bindparam("person"),
    "act": EntryRow.act == bindparam("act"),
    "about": EntryRow.about == bindparam("about"),
    "before": EntryRow.seq < bindparam("before"),
}


@cache
def _statement(asked: tuple[str, ...]) -> Select[*tuple[Any, ...]]:
    """One statement per choice of filters, so that the database can use what narrows most."""
    chain = EntryRow.chain + 0 if "about" in asked else EntryRow.chain
    return (
        select(
            EntryRow.chain,
            EntryRow.seq,
            EntryRow.recorded_at,
            EntryRow.person_name,
            EntryRow.act,
            EntryRow.about,
            EntryRow.body,
            EntryRow.hash,
        )
        .where(chain == bindparam("chain"), *(_CONDITIONS[name] for name in asked))
        .order_by(EntryRow.seq.desc())
        .limit(bindparam("most"))
    )


_NEWEST = select(func.max(_AT.seq)).where(_AT.chain == bindparam("chain")).scalar_subquery()
_LAST_ACTS = (
    select(EntryRow.act)
    .distinct()
    .where(
        EntryRow.chain == bindparam("chain"),
        EntryRow.seq > _NEWEST - 5000,
    )
    .order_by(EntryRow.act)
)


def look_through(db: Connection, chain: int, sought: Sought, *, most: int) -> list[Entry]:
    """The newest entries of a chain that are looked for, newest first."""
    given = {name: value for name in _CONDITIONS if (value := getattr(sought, name)) is not None}
    return lines(Entry, db.execute(_statement(tuple(given)), {"chain": chain, "most": most, **given}))


def acts_of(db: Connection, chain: int) -> list[str]:
    """The sorts of act among the newest five thousand entries, to choose from."""
    return list(db.execute(_LAST_ACTS, {"chain": chain}).scalars())
