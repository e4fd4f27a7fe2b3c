"""Open holds on whose items something was done since that serves to release them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, exists, func, literal, or_, select, union_all
from sqlalchemy.orm import aliased

from fleet.lists.soundness import soundness
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, zone
from fleet.records import CalibrationRow, HoldRow, InspectionRow, ItemRow, ProofTestRow, RepairRow
from fleet.refusals import Refusal
from fleet.rules.calibrations import Result
from fleet.rules.evidence import Answer, Standing
from fleet.rules.holds import Evidence, HeldFacts, Shown, judge_release

if TYPE_CHECKING:
    from datetime import date

    from sqlalchemy import ColumnElement, Select
    from sqlalchemy.engine import Connection
    from sqlalchemy.orm import InstrumentedAttribute

    from fleet.lists.rows import AnyRow
    from fleet.lists.sites import SiteLine


@dataclass(frozen=True, slots=True)
class ReadyHold:
    """One hold that may be released now, and by what: ``inspection 12``."""

    hold: int
    tag: str
    cause: str
    opened_on: date
    evidence: str


_LATER = aliased(InspectionRow)
_LEFT = func.coalesce(CalibrationRow.as_left, CalibrationRow.as_found)


def _since(
    what: Shown,
    row: type[InspectionRow | RepairRow | ProofTestRow | CalibrationRow],
    done_on: InstrumentedAttribute[date],
    at: InstrumentedAttribute[Any],
    *only: ColumnElement[bool],
    came: InstrumentedAttribute[Any] | None = None,
) -> Select[*tuple[Any, ...]]:
    """What was recorded on held items after the hold was opened."""
    return (
        select(
            HoldRow.id.label("hold"),
            HoldRow.item_id,
            ItemRow.tag,
            HoldRow.cause,
            HoldRow.opened_at,
            literal(what.value).label("what"),
            row.id.label("number"),
            done_on.label("done_on"),
            at.label("recorded_at"),
            (at if came is None else came).label("came_at"),
        )
        .join(ItemRow, ItemRow.id == HoldRow.item_id)
        .join(row, row.item_id == HoldRow.item_id)
        .where(
            HoldRow.released_at.is_(None),
            ItemRow.site_id == bindparam("site"),
            at > HoldRow.opened_at,
            *only,
        )
    )


_CANDIDATES = union_all(
    _since(
        Shown.INSPECTION,
        InspectionRow,
        InspectionRow.inspected_on,
        InspectionRow.recorded_at,
        InspectionRow.result != Answer.REJECT,
        # Not as "is empty": nearly every one is, and the index of that would be taken before the item's.
        func.coalesce(InspectionRow.withdraws_id, 0) == 0,
        ~exists().where(_LATER.withdraws_id == InspectionRow.id),
    ),
    _since(Shown.REPAIR, RepairRow, RepairRow.done_on, RepairRow.recorded_at),
    _since(
        Shown.PROOF_TEST,
        ProofTestRow,
        ProofTestRow.tested_on,
        ProofTestRow.recorded_at,
        ProofTestRow.passed == bindparam("passed", value=True),
    ),
    _since(
        Shown.CERTIFICATE,
        CalibrationRow,
        CalibrationRow.calibrated_on,
        CalibrationRow.decided_at,
        CalibrationRow.standing == Standing.ACCEPTED,
        or_(_LEFT == Result.PASS, _LEFT == Result.CONDITIONAL_PASS),
        came=CalibrationRow.received_at,
    ),
).order_by("opened_at", "hold", "recorded_at")


def ready_holds(db: Connection, site: SiteLine, *, safety: bool) -> list[ReadyHold]:
    """Open holds of the site that something done since releases, the oldest first, each once.

    ``safety``: for a safety officer, who alone lifts a recall for one item.
    """
    found: dict[int, ReadyHold] = {}
    state: dict[int, tuple[bool, bool]] = {}
    for row in db.execute(_CANDIDATES, {"site": site.id}):
        if row.hold not in found:
            if row.item_id not in state:
                state[row.item_id] = soundness(db, row.item_id)
            if line := _judged(row, state[row.item_id], site, safety=safety):
                found[row.hold] = line
    return list(found.values())


def _judged(row: AnyRow, state: tuple[bool, bool], site: SiteLine, *, safety: bool) -> ReadyHold | None:
    opened_on = local_day(row.opened_at, zone(site.time_zone))
    came_at = row.came_at if row.what == Shown.CERTIFICATE else None
    shown = Evidence(Shown(row.what), row.number, row.done_on, row.recorded_at, came_at=came_at)
    facts = HeldFacts(row.hold, row.cause, opened_on, row.opened_at, *state)
    try:
        judge_release(facts, shown, show_tag(row.tag), safety=safety)
    except Refusal:
        return None
    return ReadyHold(row.hold, row.tag, row.cause, opened_on, str(shown))
