"""Who is told: one letter per mailbox, and never none."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.rules.letters import LetterState

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

# The shape of an address as HTML's e-mail field demands it: no spaces, brackets, commas or line ends.
_ADDRESS = re.compile(
    r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@"
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
class Addressee:
    """One mailbox that a letter goes to, and what its readers answer for. The spare one has no person."""

    person_id: int | None
    badge: str
    name: str
    address: str
    roles: frozenset[str]


def usable_address(address: str | None) -> bool:
    """Whether a letter can be sent there: an address of the plain form ``name@host``."""
    if not address or len(address) > _LONGEST_ADDRESS:
        return False
    return _ADDRESS.fullmatch(address.strip()) is not None


def addressees(readers: Iterable[Reader]) -> tuple[list[Addressee], list[Reader]]:
    """One addressee per mailbox, and those who cannot be written to.

    People who share a mailbox share a letter.
    """
    boxes: dict[str, Addressee] = {}
    unreached = []
    for reader in readers:
        if reader.address is None or not usable_address(reader.address):
            unreached.append(reader)
            continue
        address = reader.address.strip()
        box = address.casefold()
        if box in boxes:
            first = boxes[box]
            name, roles = f"{first.name} and {reader.name}", first.roles | reader.roles
            boxes[box] = Addressee(first.person_id, first.badge, name, first.address, roles)
        else:
            boxes[box] = Addressee(reader.person_id, reader.badge, reader.name, address, reader.roles)
    return list(boxes.values()), unreached


def still_to_write(
    wanted: Sequence[Addressee], spare: Addressee, written: Mapping[str, str]
) -> list[Addressee]:
    """Who has no letter yet. ``written``: the state of each letter there is, by its address.

    The spare address gets one when nobody else does, also when every other letter proved undeliverable:
    silence must not be possible.
    """
    states = {address.casefold(): state for address, state in written.items()}
    missing = [to for to in wanted if to.address.casefold() not in states]
    lost = all(state == LetterState.UNDELIVERABLE for state in states.values())
    if not missing and lost and spare.address.strip().casefold() not in states:
        return [spare]
    return missing
