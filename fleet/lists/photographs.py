"""Photographs as they are kept, by their digest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.lists.rows import lines
from fleet.records import KeptFileRow
from fleet.refusals import NotFound, Unreadable

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

FEWEST_FIGURES = 8


@dataclass(frozen=True, slots=True)
class KeptPhotograph:
    """One picture."""

    sha256: str
    media_type: str
    content: bytes


_FOUND = select(KeptFileRow.sha256, KeptFileRow.media_type, KeptFileRow.content).where(
    KeptFileRow.sha256.startswith(bindparam("digest"), autoescape=False),
    KeptFileRow.media_type.in_(("image/jpeg", "image/png")),
)


def find_photograph(db: Connection, asked: str) -> KeptPhotograph:
    """One photograph by its digest, of which the first eight figures will do when only one has them."""
    digest = asked.strip().casefold()
    if len(digest) < FEWEST_FIGURES or set(digest) - set("0123456789abcdef"):
        raise Unreadable(
            f"{asked!r} is no digest: give at least its first {FEWEST_FIGURES} figures, as shown by: "
            "fleet inspection show NUMBER"
        )
    found = lines(KeptPhotograph, db.execute(_FOUND.limit(2), {"digest": digest}))
    if len(found) != 1:
        how_many = "More than one photograph has" if found else "No photograph has"
        raise NotFound(f"{how_many} a digest that begins with {digest}.")
    return found[0]
