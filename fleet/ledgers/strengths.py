"""What each item fits and how strong it is, kept on write, so that a kit search is a range seek.

A projection of plates and charts: written anew for an item when it comes on record, and for all items of a
model when its plate or chart changes. The search only narrows by it; what it finds is judged by the gate.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import BigInteger, BindParameter, Text, bindparam, case, cast, func, select, update

from fleet.bolting.parts import Kind
from fleet.records import ChartPointRow, ChartRow, ItemRow, ModelRow
from fleet.records.base import rows_of
from fleet.rules.register import Head

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlalchemy import ColumnElement, SQLColumnExpression
    from sqlalchemy.engine import Connection

# How many are written at a time: one statement's worth of parameters.
CHUNK = 500
# A chart whose last point is the rating itself, in rounded figures, is not above it.
ROUNDING = 1.0001

_ITEMS = rows_of(ItemRow)
_IDS: BindParameter[int] = bindparam("ids", expanding=True)


def nanometres(size_mm: SQLColumnExpression[float | None]) -> ColumnElement[str]:
    """A size as it stands in ``fit``: whole nanometres of a millimetre."""
    return cast(func.coalesce(cast(func.round(1_000_000 * size_mm), BigInteger), 0), Text)


_FIT = case(
    (
        ModelRow.kind == Kind.WRENCH,
        "wrench "
        + ModelRow.head
        + " "
        + nanometres(
            case((ModelRow.head == Head.SQUARE_DRIVE, ModelRow.drive_mm), else_=ModelRow.across_flats_mm)
        ),
    ),
    (
        ModelRow.kind == Kind.SOCKET,
        "socket " + nanometres(ModelRow.drive_mm) + " " + nanometres(ModelRow.across_flats_mm),
    ),
    else_=ModelRow.kind + " " + cast(ModelRow.id, Text),
)
_RELIEF = func.coalesce(_ITEMS.c.relief_advance_mpa, ModelRow.relief_advance_mpa)


def _top(whose: ColumnElement[bool]) -> ColumnElement[float | None]:
    """The highest torque of a chart within the working pressure."""
    return (
        select(func.max(ChartPointRow.torque_nm))
        .join(ChartRow, ChartRow.id == ChartPointRow.chart_id)
        .where(
            ChartRow.replaced_at.is_(None),
            ChartRow.model_id == ModelRow.id,
            ChartPointRow.pressure_mpa <= ROUNDING * ModelRow.mwp_advance_mpa,
            whose,
        )
        .correlate(ModelRow, _ITEMS)
        .scalar_subquery()
    )


_STRENGTH = case(
    (
        ModelRow.kind == Kind.WRENCH,
        func.coalesce(_top(ChartRow.item_id == _ITEMS.c.id), _top(ChartRow.item_id.is_(None))),
    ),
    (
        ModelRow.kind == Kind.PUMP,
        case((ModelRow.mwp_advance_mpa > _RELIEF, _RELIEF), else_=ModelRow.mwp_advance_mpa),
    ),
    (ModelRow.kind == Kind.GAUGE, ModelRow.range_mpa),
    else_=ModelRow.mwp_advance_mpa,
)


def _of_model(value: ColumnElement[object]) -> ColumnElement[object]:
    return select(value).where(ModelRow.id == _ITEMS.c.model_id).correlate(_ITEMS).scalar_subquery()


_WRITE = update(_ITEMS).values(fit=_of_model(_FIT), strength=_of_model(_STRENGTH))
_WRITE_ITEMS = _WRITE.where(_ITEMS.c.id.in_(_IDS))
_WRITE_MODELS = _WRITE.where(_ITEMS.c.model_id.in_(_IDS))


def rate_items(db: Connection, items: Iterable[int]) -> None:
    """Write fit and strength of these items."""
    _each(db, _WRITE_ITEMS, items)


def rate_models(db: Connection, models: Iterable[int]) -> None:
    """Write fit and strength of every item of these models."""
    _each(db, _WRITE_MODELS, models)


def _each(db: Connection, statement: object, ids: Iterable[int]) -> None:
    wanted = sorted(set(ids))
    for start in range(0, len(wanted), CHUNK):
        db.execute(statement, {"ids": wanted[start : start + CHUNK]})  # type: ignore[call-overload]
