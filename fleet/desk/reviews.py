"""Deciding what a failed calibration means for each joint that it may have touched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select, update

from fleet.ledgers import daybook
from fleet.lists.reviews import ReviewLine, TouchedLine, find_review
from fleet.lists.sites import find_site
from fleet.records import ImpactLineRow, ImpactReviewRow
from fleet.records.base import rows_of
from fleet.refusals import NotFound, NotPossible
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.evidence import Ruling

_REVIEWS, _LINES = rows_of(ImpactReviewRow), rows_of(ImpactLineRow)
# Whoever decides or closes at another desk waits here.
_LOCK = select(_REVIEWS.c.id).where(_REVIEWS.c.id == bindparam("review")).with_for_update()
_DECIDE = (
    update(_LINES)
    .where(_LINES.c.id == bindparam("line"), _LINES.c.ruling.is_(None))
    .values(
        ruling=bindparam("what"),
        reason=bindparam("why"),
        decided_at=bindparam("at"),
        decided_by_id=bindparam("by"),
        decided_by_name=bindparam("name"),
    )
)
_CLOSE = (
    update(_REVIEWS)
    .where(_REVIEWS.c.id == bindparam("review"), _REVIEWS.c.closed_at.is_(None))
    .values(closed_at=bindparam("at"), closed_by_id=bindparam("by"), summary=bindparam("words"))
)


@dataclass(frozen=True, slots=True)
class Decided:
    """What was decided, and how many lines of the review are still to be."""

    review: int
    tag: str
    lines: tuple[int, ...]
    ruling: str
    undecided: int


def decide(
    db: Connection,
    review: int,
    numbers: Sequence[int],
    ruling: Ruling,
    reason: str,
    *,
    by: Actor,
    now: datetime,
) -> Decided:
    """Decide lines of an open review, each once; only a safety officer of its site may, by name."""
    found, known = _open(db, review, by)
    why = written_reason(reason, "why, for each of these joints alike")
    chosen = [_line(found, known, number) for number in dict.fromkeys(numbers)]
    for line in chosen:
        given = {"line": line.id, "what": ruling, "why": why, "at": now, "by": by.id, "name": by.name}
        db.execute(_DECIDE, given)
    body = {
        "review": review,
        "ruling": ruling,
        "reason": why,
        "lines": [
            {"line": line.number, "loan": line.loan, "job": line.job, "joint": line.joint} for line in chosen
        ],
    }
    site = find_site(db, found.site)
    daybook.enter(db, site.id, by=by, now=now, act="review line decided", about=found.tag, body=body)
    left = found.undecided - len(chosen)
    return Decided(review, found.tag, tuple(line.number for line in chosen), ruling, left)


def close(db: Connection, review: int, summary: str, *, by: Actor, now: datetime) -> ReviewLine:
    """Close a review of which every line is decided, with a summary."""
    found, known = _open(db, review, by)
    words = written_reason(summary, "what the review came to")
    undecided = ", ".join(str(line.number) for line in known if line.ruling is None)
    if undecided:
        raise NotPossible(f"Review {review} is not closed: nobody has decided line {undecided} yet.")
    db.execute(_CLOSE, {"review": review, "at": now, "by": by.id, "words": words})
    site = find_site(db, found.site)
    body = {"review": review, "summary": words, "lines": found.lines}
    daybook.enter(db, site.id, by=by, now=now, act="review closed", about=found.tag, body=body)
    return find_review(db, review)[0]


def _open(db: Connection, review: int, by: Actor) -> tuple[ReviewLine, list[TouchedLine]]:
    db.execute(_LOCK, {"review": review})
    found, known = find_review(db, review)
    site = find_site(db, found.site)
    require(by, site.id, site.name, Role.SAFETY)
    if found.closed_at is not None:
        raise NotPossible(f"Review {review} was closed by {found.closed_by or 'the set-up'}: {found.summary}")
    return found, known


def _line(review: ReviewLine, known: Sequence[TouchedLine], number: int) -> TouchedLine:
    line = next((line for line in known if line.number == number), None)
    if line is None:
        raise NotFound(f"Review {review.id} has no line {number}; it has {review.lines}.")
    if line.ruling is not None:
        raise NotPossible(f"Line {number} was decided by {line.decided_by} ({line.ruling}): {line.reason}")
    return line
