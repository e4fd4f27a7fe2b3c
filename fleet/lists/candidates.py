"""Which items of a class there are at a site, and which of them is free and passes the gate for a window."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, select

from fleet.bolting.parts import Kind
from fleet.lists.items import item_facts
from fleet.records import CouplingRow, ItemRow, ModelRow, PortRow
from fleet.refusals import NotFound
from fleet.rules.item_classes import Member, Wanted, belongs, smallest_first
from fleet.rules.loans import Wish, judge
from fleet.rules.nearest import hint
from fleet.rules.reservations import judge_window

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.loans import ItemFacts
    from fleet.rules.reservations import Window

# So many are judged at a time: mostly one of the first will do.
CHUNK = 50

_PORTS = (
    select(PortRow.model_id, CouplingRow.series, CouplingRow.size)
    .join(CouplingRow, CouplingRow.id == PortRow.coupling_id)
    .join(ModelRow, ModelRow.id == PortRow.model_id)
    .where(ModelRow.kind == bindparam("kind"))
)
_MEMBERS = (
    select(
        ItemRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.strength,
        func.coalesce(ModelRow.mwp_advance_mpa, ModelRow.range_mpa).label("rating_mpa"),
        ModelRow.range_mpa,
        ModelRow.drive_mm,
        ModelRow.across_flats_mm,
        ItemRow.model_id,
    )
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .where(
        ItemRow.site_id == bindparam("site"), ModelRow.kind == bindparam("kind"), ItemRow.retired_on.is_(None)
    )
)
_COUPLINGS = select(CouplingRow.series, CouplingRow.size).order_by(CouplingRow.series, CouplingRow.size)
_DESIGNATIONS = select(ModelRow.designation).where(ModelRow.kind == bindparam("kind"))


def known_class(db: Connection, wanted: Wanted) -> Wanted:
    """The class with its model and coupling as they stand on record; raises NotFound for unknown ones."""
    model, coupling = wanted.model, wanted.coupling
    if model:
        models = list(db.execute(_DESIGNATIONS, {"kind": wanted.kind.value}).scalars())
        model = _known(model, models, f"There is no {wanted.kind} model {model!r}.")
    if coupling:
        couplings = [f"{series} {size}" for series, size in db.execute(_COUPLINGS)]
        some = ", ".join(couplings[:12]) or "none"
        coupling = _known(coupling, couplings, f"There is no coupling {coupling!r}. Known: {some}.")
    return replace(wanted, model=model, coupling=coupling)


def _known(asked: str, names: Sequence[str], missing: str) -> str:
    for name in names:
        if name.casefold() == asked.casefold():
            return name
    raise NotFound(f"{missing}{hint(asked, names)}")


def members(db: Connection, site_id: int, wanted: Wanted) -> list[Member]:
    """Every item of the class at the site that is not retired, the least oversize first."""
    ports: defaultdict[int, list[str]] = defaultdict(list)
    for model, series, size in db.execute(_PORTS, {"kind": wanted.kind.value}):
        ports[model].append(f"{series} {size}")
    found = []
    for row in db.execute(_MEMBERS, {"site": site_id, "kind": wanted.kind.value}):
        rating = row.range_mpa if wanted.kind is Kind.GAUGE else row.rating_mpa
        plate = rating, row.drive_mm, row.across_flats_mm, tuple(ports[row.model_id])
        found.append(Member(row.id, row.tag, row.kind, row.designation, row.strength, *plate))
    return sorted((one for one in found if belongs(one, wanted)), key=smallest_first)


def passes(item: ItemFacts, window: Window) -> bool:
    """Whether nothing at all stands against keeping the item for the window, and handing it out in it."""
    if not judge_window(item, window).goes_out:
        return False
    first = max(window.first_day, window.today)
    wish = Wish(window.job, window.site, first, window.last_day, asked_on=window.today)
    # Windows were compared by the instant already, and a concession of today says nothing about that day.
    return judge(replace(item, kept=(), waived=()), wish).goes_out


def first_free(
    db: Connection,
    some: Sequence[Member],
    window: Window,
    *,
    now: datetime,
    lock: bool = False,
    without: Collection[int] = (),
) -> tuple[Member, ItemFacts] | None:
    """The first of these that passes; ``lock`` when it will be reserved, and then it is judged once more.

    Each is locked by itself and in one order, so that many who ask at once each take another.
    """
    asked = [one for one in some if one.id not in without]
    for start in range(0, len(asked), CHUNK):
        chunk = asked[start : start + CHUNK]
        facts = item_facts(db, [one.id for one in chunk], now=now)
        for one in chunk:
            if not passes(facts[one.id], window):
                continue
            if not lock:
                return one, facts[one.id]
            again = item_facts(db, [one.id], now=now, lock=True)[one.id]
            if passes(again, window):
                return one, again
    return None
