"""What is free in a tool room for a job and a window: range seeks over what an item fits and its strength.

An item is free as the counter's gate has it, and stays in date by every clock: nothing falls due before the
window's last day, by calendar or by forecast. Statements are built once and run straight on the driver.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from sqlalchemy import (
    Integer,
    Text,
    and_,
    bindparam,
    case,
    cast,
    func,
    literal,
    literal_column,
    not_,
    or_,
    select,
    type_coerce,
)

from fleet.bolting.parts import Kind
from fleet.records import (
    AwayRow,
    CouplingRow,
    DueLineRow,
    HoldRow,
    ItemRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PortRow,
    ReservationRow,
)
from fleet.records.base import Flag
from fleet.records.prepared import Prepared

if TYPE_CHECKING:
    from sqlalchemy import ColumnElement

_DAY = DueLineRow.first_on.type
_INSTANT = ReservationRow.starts_at.type
_JOB: Any = bindparam("job")

_HELD = select(HoldRow.id).where(HoldRow.item_id == ItemRow.id, HoldRow.released_at.is_(None)).exists()
_GONE = select(AwayRow.id).where(AwayRow.item_id == ItemRow.id, AwayRow.back_at.is_(None)).exists()
# What is out for this very job, or back before the window begins, is no obstacle.
_OUT = (
    select(LoanLineRow.id)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .where(
        LoanLineRow.item_id == ItemRow.id,
        LoanLineRow.returned_at.is_(None),
        LoanRow.job_id != _JOB,
        not_(
            and_(
                LoanRow.back_on >= bindparam("today", type_=_DAY),
                LoanRow.back_on < bindparam("first_day", type_=_DAY),
            )
        ),
    )
    .exists()
)
_LIVE = (
    ReservationRow.item_id == ItemRow.id,
    ReservationRow.ended_at.is_(None),
    ReservationRow.starts_at < bindparam("until", type_=_INSTANT),
    ReservationRow.ends_at > bindparam("since", type_=_INSTANT),
)
_COVERS = and_(
    ReservationRow.job_id == _JOB,
    ReservationRow.starts_at <= bindparam("starts_at", type_=_INSTANT),
    ReservationRow.ends_at >= bindparam("ends_at", type_=_INSTANT),
)
# Kept for this job through the whole window is kept for us; for a part of it, it could not be kept again.
_TAKEN = select(ReservationRow.id).where(*_LIVE, not_(_COVERS)).exists()
_KEPT = select(ReservationRow.id).where(*_LIVE, _COVERS).exists()
_WITH_JOB = (
    select(LoanLineRow.id)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .where(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None), LoanRow.job_id == _JOB)
    .exists()
)
_NEXT_DUE = (
    select(func.min(DueLineRow.first_on, type_=_DAY))
    .where(DueLineRow.item_id == ItemRow.id)
    .scalar_subquery()
)
_DUE = (
    select(DueLineRow.task_id)
    .where(DueLineRow.item_id == ItemRow.id, DueLineRow.first_on < bindparam("last_day", type_=_DAY))
    .exists()
)
FREE = (ItemRow.retired_on.is_(None), *(not_(one) for one in (_HELD, _GONE, _OUT, _TAKEN, _DUE)))

_PIECE = (
    ItemRow.id,
    ItemRow.tag,
    ItemRow.model_id,
    ItemRow.strength,
    ItemRow.shelf,
    ItemRow.relief_advance_mpa,
    ItemRow.relief_retract_mpa,
    _NEXT_DUE.label("due_on"),
    type_coerce(_KEPT, Flag()).label("kept"),
    type_coerce(_WITH_JOB, Flag()).label("with_job"),
)
_HERE = (ItemRow.site_id == bindparam("site"), ItemRow.fit == bindparam("fit"))
_LEAST: Any = bindparam("least", type_=ItemRow.strength.type)


def _wrenches(count: int) -> Prepared:
    """Free wrenches of one fit, after (least, after), by strength and id; ``models`` between commas."""
    return Prepared(
        select(*_PIECE)
        .where(
            *_HERE,
            ItemRow.strength >= _LEAST,
            or_(ItemRow.strength > _LEAST, ItemRow.id > bindparam("after")),
            bindparam("models", type_=Text()).like("%," + cast(ItemRow.model_id, Text) + ",%"),
            *FREE,
        )
        .order_by(ItemRow.strength, ItemRow.id)
        .limit(_rows(count))
    )


def _pieces(count: int) -> Prepared:
    """Free pieces of one fit, the strongest below a bound."""
    below = bindparam("below", type_=ItemRow.strength.type)
    return Prepared(
        select(*_PIECE)
        .where(*_HERE, or_(ItemRow.strength.is_(None), ItemRow.strength < below), *FREE)
        .order_by(ItemRow.strength.desc(), ItemRow.id.desc())
        .limit(_rows(count))
    )


def _rows(count: int) -> ColumnElement[int]:
    """The number itself: with a parameter there, SQLite plans the statement anew at every run."""
    return literal_column(str(count), Integer)


FEW, MANY = 8, 32
WRENCHES = {count: _wrenches(count) for count in (FEW, MANY)}
PIECES = {count: _pieces(count) for count in (FEW, MANY)}
OF_JOB = Prepared(
    select(ItemRow.fit, *_PIECE).where(
        ItemRow.site_id == bindparam("site"),
        ItemRow.id.in_(
            select(ReservationRow.item_id)
            .where(ReservationRow.job_id == _JOB, ReservationRow.ended_at.is_(None))
            .union(
                select(LoanLineRow.item_id)
                .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
                .where(LoanRow.job_id == _JOB, LoanLineRow.returned_at.is_(None))
            )
        ),
        *FREE,
    )
)
"""What is kept for, or out on, the job itself, with what it fits."""

MODELS = Prepared(
    select(
        ModelRow.id,
        ModelRow.kind,
        ModelRow.designation,
        ModelRow.head,
        ModelRow.mwp_advance_mpa,
        ModelRow.mwp_retract_mpa,
        ModelRow.relief_advance_mpa,
        ModelRow.relief_retract_mpa,
        ModelRow.range_mpa,
        ModelRow.burst_ratio,
        ModelRow.drive_mm,
        ModelRow.across_flats_mm,
        ModelRow.graduation_mpa,
        ModelRow.accuracy_class,
        ModelRow.width_mm,
        ModelRow.height_mm,
        ModelRow.weight_kg,
    ).where(
        select(ItemRow.id)
        .where(
            ItemRow.site_id == bindparam("site"),
            ItemRow.model_id == ModelRow.id,
            ItemRow.retired_on.is_(None),
        )
        .exists()
    )
)
PORTS = Prepared(
    select(
        PortRow.model_id,
        PortRow.line,
        PortRow.faces,
        CouplingRow.series,
        CouplingRow.size,
        PortRow.half,
        CouplingRow.mwp_mpa,
        CouplingRow.flush_face,
    )
    .join(CouplingRow, CouplingRow.id == PortRow.coupling_id)
    .order_by(PortRow.id)
)

_WHY = case(
    (_HELD, "on hold"),
    (_GONE, "away"),
    (_OUT, "out"),
    (_TAKEN, "reserved"),
    (_DUE, "due"),
    else_="free",
)
_STANDING = (
    select(
        ItemRow.model_id,
        ItemRow.fit,
        type_coerce(func.coalesce(ItemRow.strength < _LEAST, literal(value=True)), Flag()).label("weak"),
        _WHY.label("why"),
        case((_WHY == "due", _NEXT_DUE), else_=None).label("due_on"),
    )
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        ItemRow.site_id == bindparam("site"),
        ItemRow.retired_on.is_(None),
        ModelRow.kind.in_([kind.value for kind in Kind]),
    )
    .subquery()
)
STANDING = (
    select(
        _STANDING.c.model_id,
        _STANDING.c.fit,
        _STANDING.c.weak,
        _STANDING.c.why,
        type_coerce(_STANDING.c.due_on, _DAY).label("due_on"),
        func.count(),
    )
    .group_by(_STANDING.c.model_id, _STANDING.c.fit, _STANDING.c.weak, _STANDING.c.why, _STANDING.c.due_on)
    .order_by(_STANDING.c.due_on)
)
"""How many items of each model stand how. It reads the whole room: only asked when nothing was found."""
