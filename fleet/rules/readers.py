"""Who is told: one letter per mailbox and week, whatever they answer for, and never none."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fleet.rules.letters import LetterState

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

SPARE = "spare"
# The shape of an address as HTML's e-mail field demands it: no spaces, brackets, commas or line ends. Also no
# dots but between other characters (RFC 5321, section 4.1.2), and nothing that reads as an encoded word.
_ADDRESS = re.compile(
    r"(?!.*=\?)(?=.{1,64}@)[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(?:\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*@"
    r"[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?(?:\.[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?)*"
)
_LONGEST_ADDRESS = 254


@dataclass(frozen=True, slots=True)
class Reader:
    """Somebody with roles at a site, and so somebody who must be told."""

    person_id: int
    badge: str
    name: str
    address: str | None
    roles: frozenset[str]


@dataclass(frozen=True, slots=True)
class Mailbox:
    """One mailbox that a letter goes to; a spare one has no person.

    ``sites`` are the ids of those it is told about, by code; the letter bears the number of the first.
    ``instead_of`` are the names of those who are away and for whom it is told.
    """

    person_id: int | None
    badge: str
    name: str
    address: str
    sites: tuple[int, ...]
    instead_of: tuple[str, ...] = ()

    @property
    def home(self) -> int:
        """The site whose letter day and number its letter has."""
        return self.sites[0]


@dataclass(frozen=True, slots=True)
class Told:
    """A weekly letter that there is already: to whom, what became of it, and the sites it tells about."""

    address: str
    person_id: int | None
    state: str
    sites: frozenset[int]


@dataclass(frozen=True, slots=True)
class Mailboxes:
    """All mailboxes, by name, and those of each site who cannot be written to."""

    all: tuple[Mailbox, ...]
    unreached: Mapping[int, tuple[Reader, ...]] = field(default_factory=dict)


def usable_address(address: str | None) -> bool:
    """Whether a letter can be sent there: an address of the plain form ``name@host``."""
    if not address or len(address) > _LONGEST_ADDRESS:
        return False
    return _ADDRESS.fullmatch(address.strip()) is not None


def mailboxes(readers: Iterable[tuple[int, Reader]], instead: Mapping[int, Reader]) -> Mailboxes:
    """One mailbox for everybody, and for all sites where they have a role.

    ``readers``: each with a site, by code of the site and name. ``instead``: who is told in the place of a
    person who is away; one who cannot be written to stands in for nobody. People who share a mailbox share
    a letter.
    """
    boxes: dict[str, Mailbox] = {}
    unreached: dict[int, tuple[Reader, ...]] = {}
    for site, reader in readers:
        deputy = instead.get(reader.person_id)
        to = deputy if deputy and usable_address(deputy.address) else reader
        if to.address is None or not usable_address(to.address):
            unreached[site] = (*unreached.get(site, ()), reader)
            continue
        address = to.address.strip()
        own = boxes.get(address.casefold(), Mailbox(to.person_id, to.badge, to.name, address, ()))
        boxes[address.casefold()] = Mailbox(
            own.person_id,
            own.badge,
            _with(own.name, to.name),
            own.address,
            own.sites if site in own.sites else (*own.sites, site),
            own.instead_of
            if to is reader or reader.name in own.instead_of
            else (*own.instead_of, reader.name),
        )
    found = sorted(boxes.values(), key=lambda box: (box.name, box.badge))
    return Mailboxes(tuple(found), unreached)


def _with(names: str, name: str) -> str:
    return names if name in names.split(" and ") else f"{names} and {name}"


def still_to_write(boxes: Sequence[Mailbox], spare: Mailbox, letters: Sequence[Told]) -> list[Mailbox]:
    """Who at the site of ``spare`` has no letter of a week yet. ``letters``: all there are of that week.

    Who has a letter of another site has theirs: it tells about both. The spare address gets one when no
    letter of the week tells about the site, and none will: silence must not be possible.
    """
    site = spare.home
    ours = [box for box in boxes if site in box.sites]
    without = [box for box in ours if not _has(box, letters)]
    told = any(site in letter.sites for letter in letters)
    if not without and not told:
        return [spare]
    return [box for box in without if box.home == site]


def _has(box: Mailbox, letters: Sequence[Told]) -> bool:
    """Whether the mailbox has a letter, or its reader one at an earlier address that was not lost."""
    return any(
        letter.address.casefold() == box.address.casefold()
        or (
            box.person_id is not None
            and letter.person_id == box.person_id
            and letter.state != LetterState.UNDELIVERABLE
        )
        for letter in letters
    )
