"""Writing down at which torque a nut broke loose: judged and kept in one place, whoever reports it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

from sqlalchemy import insert

from fleet.bolting.figures import Units
from fleet.bolting.parts import Kind, Line
from fleet.ledgers import daybook
from fleet.lists.items import find_item
from fleet.lists.jobs import find_joint
from fleet.lists.parts import pieces
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.records import BreakoutRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.breakouts import WrenchFacts, judge_breakout, read_breakout

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.breakouts import BreakoutLine
    from fleet.lists.jobs import JobLine
    from fleet.lists.parts import Piece
    from fleet.rules.people import Actor

_ADD = insert(rows_of(BreakoutRow))


@dataclass(frozen=True, slots=True)
class Told:
    """What somebody reports: a torque or pump pressure at a joint, the wrench, and the day; else today."""

    client_id: str
    joint: str
    reading: str
    item: str | None = None
    measured_on: date | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Breakout:
    """What is kept of it. ``factor`` is the torque over the joint's target."""

    entry: int
    job: str
    joint: str
    tag: str | None
    measured_on: date
    torque_written: str
    torque_nm: float
    pressure_written: str | None
    factor: float
    again: bool = False

    @property
    def body(self) -> dict[str, object]:
        """What the day book says of it."""
        return {
            "entry": self.entry,
            "job": self.job,
            "joint": self.joint,
            "wrench": self.tag,
            "measured_on": str(self.measured_on),
            "torque": self.torque_written,
            "pressure": self.pressure_written,
        }


def write_breakout(db: Connection, job: JobLine, told: Told, *, by: Actor, now: datetime) -> Breakout:
    """Judge one breakout and keep it. Who may report it is asked by the act."""
    joint, site = find_joint(db, job, told.joint), find_site(db, job.site)
    item, wrench = _wrench(db, told.item) if told.item is not None else (None, None)
    today = site.today(now)
    measured_on = told.measured_on or today
    if measured_on > today:
        raise NotPossible(f"{show_day(measured_on)} is still to come.")
    units = Units(site.pressure_unit, site.torque_unit)
    read = read_breakout(told.reading)
    kept = judge_breakout(read, wrench, joint.torque_nm, site.torque_unit, units)
    row = {
        "client_id": told.client_id,
        "joint_id": joint.id,
        "item_id": item[0] if item else None,
        "measured_on": measured_on,
        "note": told.note,
        "by_id": by.id,
        "recorded_at": now,
        "withdraws_id": None,
        "reason": None,
    }
    (entry,) = db.execute(_ADD, row | asdict(kept)).inserted_primary_key or (0,)
    return Breakout(
        entry=entry,
        job=job.code,
        joint=joint.mark,
        tag=item[1] if item else None,
        measured_on=measured_on,
        torque_written=kept.torque_written,
        torque_nm=kept.torque_nm,
        pressure_written=kept.pressure_written,
        factor=kept.torque_nm / joint.torque_nm,
    )


def _wrench(db: Connection, asked: str) -> tuple[tuple[int, str], WrenchFacts]:
    """The wrench's id and tag, and what it can do; refused when the tag is something else's."""
    (piece,) = pieces(db, [find_item(db, asked).id])
    if piece.kind != Kind.WRENCH:
        raise NotPossible(f"{show_tag(piece.tag)} is a {piece.kind}; a nut is broken loose by a wrench.")
    return (piece.id, piece.tag), wrench_facts(piece)


def wrench_facts(piece: Piece) -> WrenchFacts:
    """What a wrench can give, by its chart and its plate."""
    return WrenchFacts(piece.part.label, piece.chart, piece.part.mwp_mpa[Line.ADVANCE])


def write_withdrawal(
    db: Connection, found: BreakoutLine, why: str, *, client_id: str, by: Actor, now: datetime
) -> int:
    """Take one back by a second entry, and say so in the day book; answers the number of the second."""
    site = find_site(db, found.site)
    row = {
        "client_id": client_id,
        "joint_id": found.joint_id,
        "item_id": found.item_id,
        "pressure_written": found.pressure_written,
        "pressure_mpa": found.pressure_mpa,
        "torque_written": found.torque_written,
        "torque_nm": found.torque_nm,
        "measured_on": found.measured_on,
        "note": None,
        "by_id": by.id,
        "recorded_at": now,
        "withdraws_id": found.entry,
        "reason": why,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    kept = answer_of(replace(found, entry=number))
    body = kept.body | {"withdraws": found.entry, "reason": why}
    daybook.enter(db, site.id, by=by, now=now, act="breakout withdrawn", about=kept.joint, body=body)
    return int(number)


def answer_of(line: BreakoutLine, *, again: bool = False) -> Breakout:
    """An entry as it was answered when it was written."""
    return Breakout(
        entry=line.entry,
        job=line.job,
        joint=line.joint,
        tag=line.tag,
        measured_on=line.measured_on,
        torque_written=line.torque_written,
        torque_nm=line.torque_nm,
        pressure_written=line.pressure_written,
        factor=line.torque_nm / line.target_nm,
        again=again,
    )
