"""What stands on the label of an item, and which items had none printed yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, Text, bindparam, exists, or_, select

from fleet.bolting.parts import Kind
from fleet.records import EntryRow, ItemRow, ModelRow, SiteRow

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow

# What the day book calls it.
PRINTED = "label printed"


@dataclass(frozen=True, slots=True)
class LabelLine:
    """One label: nothing on it ages. ``ratings`` are as written on the plate."""

    tag: str
    kind: str
    model: str
    ratings: tuple[str, ...]
    site: str
    site_id: int


_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_LABELS = (
    select(
        ItemRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ModelRow.mwp_advance_written,
        ModelRow.mwp_retract_written,
        ModelRow.range_written,
        ModelRow.accuracy_class,
        SiteRow.name.label("site"),
        ItemRow.site_id,
    )
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(ItemRow.id.in_(_IDS))
)
_TO_PRINT = (
    select(ItemRow.id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        ItemRow.site_id == bindparam("site"),
        ItemRow.retired_on.is_(None),
        or_(bindparam("kind", type_=Text()).is_(None), ModelRow.kind == bindparam("kind")),
    )
    .order_by(ModelRow.kind, ModelRow.designation, ItemRow.tag)
    .limit(bindparam("most"))
)
_WITHOUT = _TO_PRINT.where(~exists().where(EntryRow.about == ItemRow.tag, EntryRow.act == PRINTED))


def labels(db: Connection, ids: Sequence[int]) -> list[LabelLine]:
    """The labels of these items, in their order."""
    found = {row.id: _label(row) for row in db.execute(_LABELS, {"ids": list(ids)})}
    return [found[number] for number in ids if number in found]


def to_print(db: Connection, site_id: int, *, kind: str | None, new_only: bool, most: int) -> list[int]:
    """The items of a site in service, by kind and model; with ``new_only`` those without a printed label."""
    asked = {"site": site_id, "kind": kind, "most": most}
    return list(db.scalars(_WITHOUT if new_only else _TO_PRINT, asked))


def _label(row: AnyRow) -> LabelLine:
    return LabelLine(row.tag, row.kind, row.designation, tuple(_ratings(row)), row.site, row.site_id)


def _ratings(row: AnyRow) -> list[str]:
    if row.kind == Kind.GAUGE:
        accuracy = f", class {row.accuracy_class}" if row.accuracy_class else ""
        return [f"{row.range_written}{accuracy}"] if row.range_written else []
    advance, retract = row.mwp_advance_written, row.mwp_retract_written
    if advance == retract:
        return [f"MWP {advance}"] if advance else []
    lines = (("advance", advance), ("retract", retract))
    return [f"MWP {line} {written}" for line, written in lines if written]
