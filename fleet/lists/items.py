"""Finding items by what is on their label, and everything the counter judges them by."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, Text, and_, bindparam, exists, func, or_, select

from fleet.lists.recalls import matching
from fleet.lists.rows import lines
from fleet.measures.tags import read_tag, show_tag
from fleet.measures.times import last_day, local_day, zone
from fleet.records import (
    AwayRow,
    ChartRow,
    ConcessionRow,
    DueLineRow,
    HoldRow,
    ItemRow,
    JobRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    ProofTestRow,
    ReservationRow,
    SiteRow,
    TaskRow,
)
from fleet.refusals import NotFound, Unreadable
from fleet.rules.loans import Away, DueStand, ItemFacts, Kept, OpenHold, Out, Waived

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow


@dataclass(frozen=True, slots=True)
class ItemLine:
    """One item with its model and whereabouts. ``holder`` and ``job`` are empty while it is in."""

    id: int
    tag: str
    kind: str
    model: str
    serial: str
    site: str
    shelf: str | None
    cycles: int
    minutes: int
    holder: str | None
    job: str | None
    on_hold: bool
    retired_on: date | None


_OUT = and_(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None))
_LINE = (
    select(
        ItemRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        SiteRow.code,
        ItemRow.shelf,
        ItemRow.cycles,
        ItemRow.minutes,
        PersonRow.name,
        JobRow.code.label("job"),
        exists().where(HoldRow.item_id == ItemRow.id, HoldRow.released_at.is_(None)).label("on_hold"),
        ItemRow.retired_on,
    )
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .outerjoin(LoanLineRow, _OUT)
    .outerjoin(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .outerjoin(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .outerjoin(JobRow, JobRow.id == LoanRow.job_id)
)
_BY_SITE = _LINE.where(
    or_(bindparam("site", type_=Text()).is_(None), SiteRow.code == bindparam("site")),
    or_(bindparam("kind", type_=Text()).is_(None), ModelRow.kind == bindparam("kind")),
    or_(
        bindparam("about", type_=Text()).is_(None),
        ItemRow.tag.contains(bindparam("figures"), escape="/"),
        func.lower(ItemRow.serial).contains(func.lower(bindparam("about")), escape="/"),
        func.lower(ModelRow.designation).contains(func.lower(bindparam("about")), escape="/"),
    ),
    or_(bindparam("retired"), ItemRow.retired_on.is_(None)),
).order_by(ModelRow.kind, ModelRow.designation, ItemRow.tag)
_NEXT = _BY_SITE.where(ItemRow.tag > bindparam("after")).order_by(None)
_PAGE = _NEXT.order_by(ItemRow.tag).limit(bindparam("most"))
_BY_TAG = _LINE.where(ItemRow.tag == bindparam("tag"))
_BY_SERIAL = _LINE.where(ItemRow.serial == bindparam("serial")).limit(5)
# Whatever its case; this reads every serial number, so it is asked last.
_BY_ANY_SERIAL = _LINE.where(func.lower(ItemRow.serial) == func.lower(bindparam("serial"))).limit(5)


def items(
    db: Connection,
    *,
    site: str | None = None,
    kind: str | None = None,
    about: str | None = None,
    retired: bool = False,
) -> list[ItemLine]:
    """Items by kind, model and tag; ``about`` looks in tags, serials and designations."""
    asked = {"site": site, "kind": kind, "retired": retired, **_parts(about)}
    return lines(ItemLine, db.execute(_BY_SITE, asked))


def items_page(
    db: Connection, site: str, *, kind: str | None = None, about: str | None = None, after: str, most: int
) -> list[ItemLine]:
    """As ``items``, the ``most`` next ones of a site by tag, of those in service."""
    asked = {"site": site, "kind": kind, "retired": False, "after": after, "most": most, **_parts(about)}
    return lines(ItemLine, db.execute(_PAGE, asked))


def _parts(about: str | None) -> dict[str, str | None]:
    part = re.sub("[/%_]", r"/\g<0>", about.strip()) if about else None
    # The dash before a tag's check digit is for people only; without it what was typed may be part of a tag.
    return {"about": part, "figures": part and (part.replace("-", "") or part)}


def find_item(db: Connection, asked: str) -> ItemLine:
    """One item by its tag as scanned or typed, or by a serial number that only it bears."""
    serial = asked.strip()
    try:
        tag = read_tag(asked)
    except Unreadable as unread:
        missing = f"{unread} Nor does any item have the serial number {serial!r}."
    else:
        found = lines(ItemLine, db.execute(_BY_TAG, {"tag": tag}))
        if found:
            return found[0]
        missing = f"No item has the tag {show_tag(tag)}."
    found = lines(ItemLine, db.execute(_BY_SERIAL, {"serial": serial}))
    found = found or lines(ItemLine, db.execute(_BY_ANY_SERIAL, {"serial": serial}))
    if not found:
        raise NotFound(missing)
    if len(found) > 1:
        tags = ", ".join(f"{show_tag(item.tag)} ({item.model})" for item in found)
        raise NotFound(f"Several items have the serial number {serial!r}. Give the tag: {tags}.")
    return found[0]


_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_CHARTED = exists().where(
    or_(
        ChartRow.item_id == ItemRow.id,
        and_(ChartRow.model_id == ItemRow.model_id, ChartRow.item_id.is_(None)),
    ),
    ChartRow.replaced_at.is_(None),
)
_PLATES = (
    select(
        ItemRow.id,
        ItemRow.tag,
        ModelRow.kind,
        SiteRow.code.label("site"),
        SiteRow.time_zone,
        ItemRow.retired_on,
        ItemRow.assembled_on,
        ModelRow.mwp_advance_mpa,
        ModelRow.mwp_retract_mpa,
        ModelRow.range_mpa,
        func.coalesce(ItemRow.relief_advance_mpa, ModelRow.relief_advance_mpa).label("relief_advance_mpa"),
        _CHARTED.label("charted"),
        ItemRow.first_out_on,
        ItemRow.bulk_made_on,
        ModelRow.storage_months,
        ModelRow.bulk_months,
    )
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(ItemRow.id.in_(_IDS))
)
# On PostgreSQL nobody may change an item between its verdict and what is written; SQLite has its write lock.
_PLATES_LOCKED = _PLATES.order_by(ItemRow.id).with_for_update(of=ItemRow)
_HOLDS = select(HoldRow.item_id, HoldRow.cause, HoldRow.reason, HoldRow.opened_at).where(
    HoldRow.item_id.in_(_IDS), HoldRow.released_at.is_(None)
)
_OUTS = (
    select(LoanLineRow.item_id, PersonRow.name, JobRow.code, LoanRow.back_on)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .where(LoanLineRow.item_id.in_(_IDS), LoanLineRow.returned_at.is_(None))
)
_DUES = (
    select(
        DueLineRow.item_id,
        TaskRow.id,
        TaskRow.name,
        TaskRow.stop,
        DueLineRow.last_done_on,
        DueLineRow.due_on,
        DueLineRow.use_left,
        DueLineRow.forecast_on,
        TaskRow.counts_from,
    )
    .join(TaskRow, TaskRow.id == DueLineRow.task_id)
    .where(DueLineRow.item_id.in_(_IDS))
    .order_by(TaskRow.name)
)
_KEPT = (
    select(
        ReservationRow.item_id, JobRow.code, PersonRow.name, ReservationRow.starts_at, ReservationRow.ends_at
    )
    .join(JobRow, JobRow.id == ReservationRow.job_id)
    .join(PersonRow, PersonRow.id == ReservationRow.reserved_by_id)
    .where(ReservationRow.item_id.in_(_IDS), ReservationRow.ended_at.is_(None))
    .order_by(ReservationRow.starts_at)
)
_WAIVED = (
    select(ConcessionRow.item_id, TaskRow.name, JobRow.code, ConcessionRow.ends_at)
    .join(TaskRow, TaskRow.id == ConcessionRow.task_id)
    .join(JobRow, JobRow.id == ConcessionRow.job_id)
    .where(
        ConcessionRow.item_id.in_(_IDS),
        ConcessionRow.starts_at <= bindparam("now", type_=ConcessionRow.starts_at.type),
        ConcessionRow.ends_at > bindparam("now", type_=ConcessionRow.ends_at.type),
    )
)
_AWAY = select(AwayRow.item_id, AwayRow.errand, AwayRow.sent_to, AwayRow.sent_at).where(
    AwayRow.item_id.in_(_IDS), AwayRow.back_at.is_(None)
)
_PROVED = (
    select(ProofTestRow.item_id, ProofTestRow.tested_on, ProofTestRow.passed)
    .where(ProofTestRow.item_id.in_(_IDS))
    .order_by(ProofTestRow.tested_on, ProofTestRow.id)
)


def item_facts(
    db: Connection, ids: Iterable[int], *, now: datetime, lock: bool = False
) -> dict[int, ItemFacts]:
    """Everything the counter judges these items by, by their ids; ``lock`` when something will be written."""
    chosen = {"ids": list(ids)}
    plates = list(db.execute(_PLATES_LOCKED if lock else _PLATES, chosen))
    holds, outs, dues, kept, waived, away, proved = (
        _by_item(db.execute(statement, chosen | ({"now": now} if statement is _WAIVED else {})))
        for statement in (_HOLDS, _OUTS, _DUES, _KEPT, _WAIVED, _AWAY, _PROVED)
    )
    recalled = matching(db, chosen["ids"])
    facts = {}
    for row in plates:
        site_zone = zone(row.time_zone)
        facts[row.id] = ItemFacts(
            tag=row.tag,
            kind=row.kind,
            site=row.site,
            retired_on=row.retired_on,
            assembled_on=row.assembled_on,
            mwp_advance_mpa=row.mwp_advance_mpa,
            mwp_retract_mpa=row.mwp_retract_mpa,
            range_mpa=row.range_mpa,
            relief_advance_mpa=row.relief_advance_mpa,
            charted=bool(row.charted),
            holds=tuple(
                OpenHold(h.cause, h.reason, local_day(h.opened_at, site_zone)) for h in holds[row.id]
            ),
            out=next((Out(o.name, o.code, o.back_on) for o in outs[row.id]), None),
            dues=tuple(lines(DueStand, (due[1:] for due in dues[row.id]))),
            kept=tuple(_kept(k, row.time_zone) for k in kept[row.id]),
            waived=tuple(Waived(w.name, w.code, w.ends_at.astimezone(site_zone)) for w in waived[row.id]),
            away=next(
                (Away(a.errand, a.sent_to, local_day(a.sent_at, site_zone)) for a in away[row.id]), None
            ),
            recalls=tuple(one.notice for one in recalled.get(row.id, ())),
            proof_failed_on=next((p.tested_on for p in proved[row.id][-1:] if not p.passed), None),
            first_out_on=row.first_out_on,
            bulk_made_on=row.bulk_made_on,
            storage_months=row.storage_months,
            bulk_months=row.bulk_months,
        )
    return facts


def _by_item(rows: Iterable[AnyRow]) -> defaultdict[int, list[AnyRow]]:
    found: defaultdict[int, list[AnyRow]] = defaultdict(list)
    for row in rows:
        found[row.item_id].append(row)
    return found


def _kept(row: AnyRow, time_zone: str) -> Kept:
    """A reservation in whole days: its window is half open, so the last instant is just before its end."""
    there = zone(time_zone)
    first_day, end_day = local_day(row.starts_at, there), last_day(row.ends_at.astimezone(there))
    return Kept(row.code, row.name, row.starts_at, row.ends_at, first_day, end_day)
