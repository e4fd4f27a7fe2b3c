"""The inspections of an item, and one of them with its answers and photographs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import aliased

from fleet.lists.rows import lines
from fleet.records import (
    FileOfRow,
    InspectionAnswerRow,
    InspectionRow,
    ItemRow,
    KeptFileRow,
    SiteRow,
    TaskRow,
)
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class InspectionLine:
    """One entry. ``withdraws`` names the one that it withdraws, ``withdrawn_by`` the one that withdrew it."""

    number: int
    tag: str
    checklist_version: int
    occasion: str
    task: str | None
    inspected_on: date
    result: str
    by_name: str
    note: str | None
    cycles_at: int
    minutes_at: int
    recorded_at: datetime
    time_zone: str
    withdraws: int | None
    reason: str | None
    withdrawn_by: int | None
    photographs: int

    @property
    def counts(self) -> bool:
        """Whether it is an inspection that nobody has withdrawn."""
        return self.withdraws is None and self.withdrawn_by is None


@dataclass(frozen=True, slots=True)
class AnswerLine:
    """What was seen at one checkpoint, with its wording as it was asked."""

    position: int
    wording: str
    answer: str
    remark: str | None


@dataclass(frozen=True, slots=True)
class PhotographLine:
    """One photograph, by its digest; ``position`` is the checkpoint that it shows, if it is of one."""

    sha256: str
    media_type: str
    size: int
    position: int | None


@dataclass(frozen=True, slots=True)
class InspectionSheet:
    """One inspection with everything that was seen."""

    inspection: InspectionLine
    answers: tuple[AnswerLine, ...]
    photographs: tuple[PhotographLine, ...]


_SECOND = aliased(InspectionRow)
_SHOTS = (
    select(func.count())
    .select_from(FileOfRow)
    .where(FileOfRow.inspection_id == InspectionRow.id)
    .correlate(InspectionRow)
    .scalar_subquery()
)
_LINE = (
    select(
        InspectionRow.id,
        ItemRow.tag,
        InspectionRow.checklist_version,
        InspectionRow.occasion,
        TaskRow.name,
        InspectionRow.inspected_on,
        InspectionRow.result,
        InspectionRow.by_name,
        InspectionRow.note,
        InspectionRow.cycles_at,
        InspectionRow.minutes_at,
        InspectionRow.recorded_at,
        SiteRow.time_zone,
        InspectionRow.withdraws_id,
        InspectionRow.reason,
        _SECOND.id.label("withdrawn_by"),
        _SHOTS,
    )
    .join(ItemRow, ItemRow.id == InspectionRow.item_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .outerjoin(TaskRow, TaskRow.id == InspectionRow.task_id)
    .outerjoin(_SECOND, _SECOND.withdraws_id == InspectionRow.id)
)
_OF_ITEM = _LINE.where(InspectionRow.item_id == bindparam("item")).order_by(
    InspectionRow.inspected_on.desc(), InspectionRow.id.desc()
)
_ONE = _LINE.where(InspectionRow.id == bindparam("number"))
_ANSWERS = (
    select(
        InspectionAnswerRow.position,
        InspectionAnswerRow.wording,
        InspectionAnswerRow.answer,
        InspectionAnswerRow.remark,
    )
    .where(InspectionAnswerRow.inspection_id == bindparam("number"))
    .order_by(InspectionAnswerRow.position)
)
_PHOTOGRAPHS = (
    select(KeptFileRow.sha256, KeptFileRow.media_type, func.length(KeptFileRow.content), FileOfRow.position)
    .join(FileOfRow, FileOfRow.file_id == KeptFileRow.id)
    .where(FileOfRow.inspection_id == bindparam("number"))
    .order_by(FileOfRow.id)
)


def inspections(db: Connection, item_id: int) -> list[InspectionLine]:
    """Every inspection of an item, the newest first; withdrawn ones and what withdrew them among them."""
    return lines(InspectionLine, db.execute(_OF_ITEM, {"item": item_id}))


def find_inspection(db: Connection, number: int) -> InspectionSheet:
    """One inspection with its answers and photographs; what withdraws one shows the answers of that one."""
    found = lines(InspectionLine, db.execute(_ONE, {"number": number}))
    if not found:
        raise NotFound(f"There is no inspection {number}. See those of an item with: fleet inspections TAG")
    seen = {"number": found[0].withdraws or number}
    return InspectionSheet(
        found[0],
        tuple(lines(AnswerLine, db.execute(_ANSWERS, seen))),
        tuple(lines(PhotographLine, db.execute(_PHOTOGRAPHS, seen))),
    )
