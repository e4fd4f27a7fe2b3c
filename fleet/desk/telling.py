"""Telling at once: what cannot wait for the week, one letter to each mailbox, and nothing told twice."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, text

from fleet.ledgers import daybook
from fleet.ledgers.letters import NewLetter, add_letter, keep_content
from fleet.ledgers.numbers import take_numbers
from fleet.lists.matters import untold
from fleet.mail.at_once import Part, at_once
from fleet.records import LetterRow, ToldRow
from fleet.records.base import rows_of
from fleet.rules.letters import domain_of
from fleet.rules.matters import AT_ONCE, minute_name
from fleet.rules.people import THE_CLOCK

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.rules.matters import Telling

_ADD_TOLD = insert(rows_of(ToldRow))
# Two at once on PostgreSQL must not both find the same matter untold. SQLite's write lock sees to that.
_QUEUE = text("SELECT pg_advisory_xact_lock(7004, 0)")
_THIS_MINUTE = select(LetterRow.address).where(
    LetterRow.kind == AT_ONCE, LetterRow.week == bindparam("minute")
)


@dataclass(frozen=True, slots=True)
class ToldAtOnce:
    """A letter at once: whose number it bears, to which badge (``spare``: the spare address), about what."""

    site: str
    number: int
    to: str
    matters: tuple[str, ...]


def tell_at_once(
    db: Connection, sites: Sequence[SiteLine], *, sender: str, pages: str | None = None, now: datetime
) -> tuple[ToldAtOnce, ...]:
    """Write to everybody who is still to be told of what stands at these sites; a second time writes nothing.

    ``sender`` is the address the letters will come from, ``pages`` where one logs in. A mailbox
    that had a letter in this very minute gets the rest with the next round.
    """
    if db.dialect.name == "postgresql":
        db.execute(_QUEUE)
    had = {address.casefold() for address in db.execute(_THIS_MINUTE, {"minute": minute_name(now)}).scalars()}
    boxes: defaultdict[str, list[tuple[SiteLine, Telling]]] = defaultdict(list)
    for site in sites:
        for telling in untold(db, site, now):
            boxes[(telling.reader.address or "").strip().casefold()].append((site, telling))
    run = _Run(db, domain_of(sender), pages, now)
    told = [run.write(found) for box, found in boxes.items() if box not in had]
    for site in sites:
        run.enter(site)
    return tuple(told)


class _Run:
    """The letters of one minute: those of one site share a number."""

    def __init__(self, db: Connection, domain: str, pages: str | None, now: datetime) -> None:
        self._db, self._domain, self._pages, self._now = db, domain, pages, now
        self._minute = minute_name(now)
        self._numbers: dict[int, int] = {}
        self._entries: defaultdict[int, list[dict[str, object]]] = defaultdict(list)

    def write(self, found: Sequence[tuple[SiteLine, Telling]]) -> ToldAtOnce:
        """One letter to one mailbox, and on record what it told whom."""
        parts = _parts(found)
        first, to = parts[0].site, found[0][1].reader
        number = self._number(first)
        content = at_once(parts, number, self._now, self._pages)
        letter = NewLetter(
            kind=AT_ONCE,
            site=first.id,
            code=first.code,
            week=self._minute,
            number=number,
            person_id=to.person_id or None,
            address=(to.address or "").strip(),
            subject=content.subject,
            sha256=keep_content(self._db, content),
            domain=self._domain,
            sites=tuple(part.site.id for part in parts),
        )
        self._keep(add_letter(self._db, letter, self._now), [one for _, one in found])
        for part in parts:
            matters = [one.matter.key for one in part.tellings]
            note = {"number": number, "to": to.badge, "message_id": letter.message_id}
            self._entries[part.site.id].append(note | {"sha256": letter.sha256, "matters": matters})
        every = tuple(one.matter.key for part in parts for one in part.tellings)
        return ToldAtOnce(first.code, number, to.badge, every)

    def enter(self, site: SiteLine) -> None:
        """Write the day book of a site that letters told about."""
        if site.id in self._entries:
            body = {"letters": self._entries[site.id]}
            daybook.enter(
                self._db,
                site.id,
                by=THE_CLOCK,
                now=self._now,
                act="told at once",
                about=self._minute,
                body=body,
            )

    def _number(self, site: SiteLine) -> int:
        if site.id not in self._numbers:
            self._numbers[site.id] = take_numbers(self._db, f"letters at once of site {site.id}")[0]
        return self._numbers[site.id]

    def _keep(self, letter: int, told: Iterable[Telling]) -> None:
        rows = [
            {
                "site_id": one.matter.site_id,
                "matter": one.matter.key,
                "level": one.level,
                "reader": one.reader.badge,
                "letter_id": letter,
                "sentence": one.matter.sentence,
            }
            for one in told
        ]
        self._db.execute(_ADD_TOLD, rows)


def _parts(found: Iterable[tuple[SiteLine, Telling]]) -> list[Part]:
    """By site, each matter once: people who share a mailbox share a letter."""
    sites: dict[int, tuple[SiteLine, dict[str, Telling]]] = {}
    for site, telling in found:
        known = sites.setdefault(site.id, (site, {}))[1]
        # Whoever has the item in hand must read that they have it.
        if telling.matter.key not in known or telling.own:
            known[telling.matter.key] = telling
    return [Part(site, tuple(known.values())) for site, known in sites.values()]
