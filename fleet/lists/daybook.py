"""Reading the day book, and working its seals out again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from sqlalchemy import Integer, Text, bindparam, cast, or_, select

from fleet.lists.rows import lines
from fleet.measures.times import as_utc
from fleet.records import EntryRow
from fleet.rules.daybook import FIRST, Seal, entry_hash

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow

# How many entries are in memory at a time.
BATCH = 1000


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: who did what to what, when. ``body`` is JSON text, kept as it was sealed."""

    chain: int
    seq: int
    recorded_at: datetime
    person_name: str
    act: str
    about: str
    body: str
    hash: str


@dataclass(frozen=True, slots=True)
class Verified:
    """A chain in which every entry still is what was sealed; ``seal`` is its newest."""

    chain: int
    entries: int
    seal: Seal


@dataclass(frozen=True, slots=True)
class FirstAltered:
    """The first entry of a chain that is no longer what was sealed, and what is wrong with it."""

    chain: int
    seq: int
    what: str


_CHAIN = EntryRow.chain == bindparam("chain")
_SEAL = select(EntryRow.seq, EntryRow.hash).where(_CHAIN).order_by(EntryRow.seq.desc()).limit(1)
_CHAINS = select(EntryRow.chain).distinct().order_by(EntryRow.chain)
_ENTRIES = (
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
    .where(
        _CHAIN,
        or_(bindparam("about", type_=Text()).is_(None), EntryRow.about == bindparam("about")),
        or_(
            bindparam("since", type_=EntryRow.recorded_at.type).is_(None),
            EntryRow.recorded_at >= bindparam("since", type_=EntryRow.recorded_at.type),
        ),
        or_(
            bindparam("before", type_=Integer()).is_(None),
            EntryRow.seq < bindparam("before", type_=Integer()),
        ),
    )
    .order_by(EntryRow.seq.desc())
    .limit(bindparam("most"))
)

# The time as text: a changed one may be no time at all, and must be found all the same.
_SEALED = (
    select(
        EntryRow.chain,
        EntryRow.seq,
        cast(EntryRow.recorded_at, Text).label("recorded_at"),
        EntryRow.person_name,
        EntryRow.act,
        EntryRow.about,
        EntryRow.body,
        EntryRow.prev_hash,
        EntryRow.hash,
    )
    .where(_CHAIN, EntryRow.seq > bindparam("after", type_=Integer()))
    .order_by(EntryRow.seq)
)
_PART = _SEALED.limit(bindparam("most"))
_HASH = select(EntryRow.seq, EntryRow.hash).where(_CHAIN, EntryRow.seq == bindparam("seq"))


def seal(db: Connection, chain: int) -> Seal:
    """The seal of a chain's newest entry; of an empty chain, number 0."""
    head = db.execute(_SEAL, {"chain": chain}).first()
    return Seal(chain, head.seq, head.hash) if head else Seal(chain, 0, FIRST)


def chains(db: Connection) -> list[int]:
    """Every chain that has an entry: 0 is the room's own, the others are named by their site's id."""
    return list(db.execute(_CHAINS).scalars())


def entries(
    db: Connection,
    chain: int,
    *,
    about: str | None = None,
    since: datetime | None = None,
    before: int | None = None,
    most: int = 50,
) -> list[Entry]:
    """The newest entries of a chain, newest first; ``about`` one thing: an item's tag, a job's code.

    ``before``: only those with a lower number, to read on.
    """
    asked = {"chain": chain, "about": about, "since": since, "before": before, "most": most}
    return lines(Entry, db.execute(_ENTRIES, asked))


def verify(db: Connection, chain: int, printed: tuple[int, str] | None = None) -> Verified | FirstAltered:
    """Work every hash of a chain out again, in order, and answer the first entry that does not fit.

    ``printed`` is a seal from paper (entry number, first figures of its hash): only paper can show that the
    newest entries were cut off, or that the whole chain was written anew.
    """
    before = Seal(chain, 0, FIRST)
    asked = {"chain": chain, "after": 0}
    with db.execute(_SEALED, asked, execution_options={"yield_per": BATCH}) as found:
        for row in found:
            if altered := _compare(row, before):
                return altered
            before = Seal(chain, row.seq, row.hash)
            if printed and printed[0] == row.seq and not row.hash.startswith(printed[1]):
                return FirstAltered(chain, row.seq, f"bears a hash that does not begin with {printed[1]}")
    if printed and printed[0] > before.seq:
        return FirstAltered(chain, before.seq + 1, f"is missing: a seal of entry {printed[0]} was printed")
    return Verified(chain, before.seq, before)


def verify_part(db: Connection, chain: int, *, after: int, most: int) -> Verified | FirstAltered:
    """As ``verify`` for the ``most`` entries after one, whose own hash is taken as it stands.

    ``entries`` are those of this part; each part begins where the one before it ended.
    """
    head = db.execute(_HASH, {"chain": chain, "seq": after}).first() if after else None
    if after and head is None:
        return FirstAltered(chain, after, "is missing")
    before = first = Seal(chain, after, head.hash if head else FIRST)
    asked = {"chain": chain, "after": after, "most": most}
    with db.execute(_PART, asked, execution_options={"yield_per": BATCH}) as found:
        for row in found:
            if altered := _compare(row, before):
                return altered
            before = Seal(chain, row.seq, row.hash)
    return Verified(chain, before.seq - first.seq, before)


def compare_seal(db: Connection, chain: int, seq: int, begins: str) -> FirstAltered | Seal:
    """The entry that a printed seal is about, if its hash still begins as it was printed."""
    row = db.execute(_HASH, {"chain": chain, "seq": seq}).first()
    if row is None:
        return FirstAltered(chain, seq, "is missing, although a seal of it was printed")
    if not row.hash.startswith(begins):
        return FirstAltered(chain, seq, f"bears a hash that does not begin with {begins}")
    return Seal(chain, row.seq, row.hash)


def _compare(row: AnyRow, before: Seal) -> FirstAltered | None:
    """What is wrong with an entry, or with the one before it, which this one carries the hash of."""
    if row.seq != before.seq + 1:
        return FirstAltered(row.chain, before.seq + 1, f"is missing; after {before.seq} comes {row.seq}")
    if _worked_out(row) != row.hash:
        return FirstAltered(row.chain, row.seq, "no longer gives its hash")
    if row.prev_hash != before.hash:
        # This entry is as it was sealed, so it was the one before it that was sealed a second time.
        altered = max(before.seq, 1)
        return FirstAltered(row.chain, altered, "bears another hash than the next entry was sealed with")
    return None


def _worked_out(row: AnyRow) -> str | None:
    """The hash by the entry's own content; nothing when a column holds what no entry can."""
    try:
        return entry_hash(
            row.prev_hash,
            chain=row.chain,
            seq=row.seq,
            recorded_at=as_utc(datetime.fromisoformat(row.recorded_at)),
            person_name=row.person_name,
            act=row.act,
            about=row.about,
            body=row.body,
        )
    except ValueError:
        return None
