"""Which letters wait for somebody to say that they were read, and which are to be passed on to whom."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, exists, or_, select

from fleet.lists.deputies import colleagues, instead_of, standing_deputies
from fleet.lists.sites import sites
from fleet.measures.times import iso_week, zone
from fleet.records import AcknowledgementRow, LetterAttemptRow, LetterRow, LetterSiteRow, RoleRow
from fleet.rules.letters import WEEKLY, LetterState, Outcome
from fleet.rules.matters import AT_ONCE
from fleet.rules.passing_on import Link, Step, Why, next_working_noon, open_chains, to_pass_on
from fleet.rules.readers import SPARE, usable_address

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.rules.deputies import Colleague

# What is older has long been overtaken by newer letters, and stands in them if it still matters.
PASSED_ON_FOR = timedelta(weeks=4)

_LINKS = (
    select(
        LetterRow.id,
        LetterRow.forwards_id,
        LetterRow.kind,
        LetterRow.site_id,
        LetterRow.week,
        LetterRow.person_id,
        LetterRow.address,
        LetterRow.sha256,
        LetterRow.state,
        LetterRow.sent_at,
        LetterRow.last_answer,
        exists()
        .where(LetterAttemptRow.letter_id == LetterRow.id, LetterAttemptRow.outcome == Outcome.SET_ASIDE)
        .label("set_aside"),
        # Whoever only holds an item has no log-in, and is not asked to say that the letter was read.
        or_(
            AcknowledgementRow.letter_id.is_not(None),
            and_(LetterRow.person_id.is_not(None), ~exists().where(RoleRow.person_id == LetterRow.person_id)),
        ).label("read"),
    )
    .outerjoin(AcknowledgementRow, AcknowledgementRow.letter_id == LetterRow.id)
    .where(LetterRow.week >= bindparam("since"), LetterRow.kind.in_((WEEKLY, AT_ONCE)))
    .order_by(LetterRow.id)
)
_ABOUT = select(LetterSiteRow.site_id).where(LetterSiteRow.letter_id == bindparam("letter"))


@dataclass(frozen=True, slots=True)
class Heir:
    """Somebody to whom a letter is passed on; a spare address is no person's. ``sites``: what it is about."""

    person_id: int | None
    badge: str
    name: str
    address: str
    sites: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Passing:
    """A letter that is to be passed on now, and to whom. ``site``: whose number it bears.

    ``whose`` is the badge of the person to whom it went first; ``names``: of all to whom it went, in order.
    """

    step: Step
    site: SiteLine
    whose: str
    names: tuple[str, ...]
    heirs: tuple[Heir, ...]


def links(db: Connection, now: datetime) -> list[Link]:
    """The letters of the last weeks, as far as passing on goes."""
    places = {site.id: site for site in sites(db)}
    found = []
    for row in db.execute(_LINKS, {"since": iso_week((now - PASSED_ON_FOR).date())}):
        site = places[row.site_id]
        noon = None
        if row.sent_at is not None and not row.read:
            noon = next_working_noon(row.sent_at, zone(site.time_zone), site.working_days)
        found.append(Link(**row._asdict(), until=noon))
    return found


def unread(db: Connection, now: datetime) -> frozenset[int]:
    """The ids of letters that were sent and wait for somebody to say that they were read."""
    chains = open_chains(links(db, now))
    return frozenset(chain[0].id for chain in chains if chain[0].state == LetterState.SENT)


def passings(db: Connection, now: datetime) -> list[Passing]:
    """What is to be passed on now, each to those who have not had it yet; what nobody is left for is not."""
    steps = to_pass_on(links(db, now), now)
    return _Heirs(db, steps, now).find() if steps else []


class _Heirs:
    """Everybody who may get a letter, looked up once."""

    def __init__(self, db: Connection, steps: list[Step], now: datetime) -> None:
        self._db, self._steps, self._now = db, steps, now
        self._sites = {site.id: site for site in sites(db)}
        self._people = colleagues(db)
        self._standing = standing_deputies(db)

    def find(self) -> list[Passing]:
        found = []
        for step in self._steps:
            site = self._sites[step.letter.site_id]
            if heirs := self._of(step, site):
                people = [self._people[link.person_id] for link in reversed(step.chain) if link.person_id]
                names = tuple(person.name for person in people)
                found.append(Passing(step, site, people[0].badge, names, heirs))
        return found

    def _of(self, step: Step, site: SiteLine) -> tuple[Heir, ...]:
        """The deputy, if there is one and this is not theirs already; else the spare address."""
        about = tuple(self._db.execute(_ABOUT, {"letter": step.letter.id}).scalars())
        had = {link.address.casefold() for link in step.chain}
        if step.why is Why.UNREAD and step.letter is step.first:
            deputy = self._deputy(step.first.person_id or 0, site)
            if deputy and deputy.reachable and (deputy.address or "").strip().casefold() not in had:
                address = (deputy.address or "").strip()
                return (Heir(deputy.id, deputy.badge, deputy.name, address, about),)
        # What was not read is the matter of one site, what was lost that of all it tells about.
        places = [site] if step.why is Why.UNREAD else [self._sites[one] for one in about]
        heirs: dict[str, Heir] = {}
        for place in places:
            box = place.spare_address.strip()
            if usable_address(box) and box.casefold() not in had:
                known = heirs.get(box.casefold(), Heir(None, SPARE, place.name, box, ()))
                heirs[box.casefold()] = Heir(None, SPARE, known.name, known.address, (*known.sites, place.id))
        return tuple(heirs.values())

    def _deputy(self, person: int, site: SiteLine) -> Colleague | None:
        """Who is told instead today; else the standing deputy, or who is told instead of that one."""
        away = instead_of(self._db, site.today(self._now))
        standing = self._standing.get(person, person)
        found = away.get(person) or away.get(standing, standing)
        return None if found == person else self._people[found]
