"""Sending items to a laboratory or workshop, and taking them back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, update

from fleet.bolting.parts import Kind
from fleet.ledgers import daybook
from fleet.lists.away import awaited_trip, open_trip
from fleet.lists.calibrations import agreed_before, subject_of
from fleet.lists.items import ItemLine, find_item, item_facts
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day, zone
from fleet.records import AwayRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.certificates import Agreed, default_tolerance
from fleet.rules.evidence import Errand
from fleet.rules.people import Actor, require
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.rules.calibrations import DecisionRule

_AWAY = rows_of(AwayRow)
_SEND = insert(_AWAY)
_SAME = select(
    AwayRow.item_id, AwayRow.errand, AwayRow.sent_to, AwayRow.decision_rule, AwayRow.tolerance_percent
).where(AwayRow.client_id == bindparam("client"))
_BACK = (
    update(_AWAY)
    .where(_AWAY.c.id == bindparam("trip"), _AWAY.c.back_at.is_(None))
    .values(back_at=bindparam("now"), back_by_id=bindparam("by"))
)


@dataclass(frozen=True, slots=True)
class SendSlip:
    """What goes where and why. For a calibration: how it will be judged, else as the last time."""

    client_id: str
    item: str
    sent_to: str
    errand: Errand
    rule: DecisionRule | None = None
    tolerance_percent: float | None = None
    gauge: str | None = None
    wanted_on: date | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Sent:
    """What is away now, and by which rule and tolerance its certificate will be judged."""

    tag: str
    errand: str
    sent_to: str
    decision_rule: str | None
    tolerance_percent: float | None
    paired_gauge: str | None
    wanted_on: date | None
    again: bool = False


@dataclass(frozen=True, slots=True)
class Back:
    """What is back, after how many days, and whether its certificate has been taken in."""

    tag: str
    errand: str
    sent_to: str
    days_away: int
    certificate_missing: bool


def send_away(db: Connection, slip: SendSlip, *, by: Actor, now: datetime) -> Sent:
    """Send one item to a laboratory or workshop; it may not go out until it is back."""
    item = find_item(db, slip.item)
    sent_to = " ".join(slip.sent_to.split())
    same = db.execute(_SAME, {"client": slip.client_id}).first()
    if same is not None:
        if tuple(same[:3]) != (item.id, slip.errand, sent_to):
            raise used_otherwise(slip.client_id)
        return Sent(item.tag, same.errand, sent_to, *same[3:], slip.gauge, slip.wanted_on, again=True)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    _check_here(db, item, now)
    _check_slip(slip, sent_to, site.today(now))
    gauge = _gauge(db, item, slip)
    agreed = _agreed(db, item, slip)
    row = {
        "client_id": slip.client_id,
        "item_id": item.id,
        "errand": slip.errand,
        "sent_to": sent_to,
        "decision_rule": agreed.rule if agreed else None,
        "tolerance_percent": agreed.tolerance_percent if agreed else None,
        "paired_gauge_id": gauge.id if gauge else None,
        "sent_at": now,
        "sent_by_id": by.id,
        "wanted_on": slip.wanted_on,
        "note": slip.note,
    }
    db.execute(_SEND, row)
    answer = Sent(
        item.tag,
        slip.errand,
        sent_to,
        agreed.rule if agreed else None,
        agreed.tolerance_percent if agreed else None,
        gauge.tag if gauge else None,
        slip.wanted_on,
    )
    body = {
        "for": slip.errand,
        "to": sent_to,
        "decision_rule": answer.decision_rule,
        "tolerance_percent": answer.tolerance_percent,
        "paired_gauge": answer.paired_gauge,
        "wanted": str(slip.wanted_on) if slip.wanted_on else None,
        "note": slip.note,
    }
    daybook.enter(db, site.id, by=by, now=now, act="sent away", about=item.tag, body=body)
    return answer


def _check_here(db: Connection, item: ItemLine, now: datetime) -> None:
    """Refuse what is retired, on loan or away already; nobody may hand it out meanwhile."""
    facts = item_facts(db, [item.id], now=now, lock=True)[item.id]
    if facts.retired_on:
        raise NotPossible(f"{show_tag(item.tag)} was retired on {show_day(facts.retired_on)}.")
    if facts.out:
        raise NotPossible(f"{show_tag(item.tag)} is out with {facts.out.borrower}. Take it back first.")
    trip = open_trip(db, item.id)
    if trip:
        raise NotPossible(f"{show_tag(item.tag)} is already away, at {trip.sent_to}, for {trip.errand}.")


def _check_slip(slip: SendSlip, sent_to: str, today: date) -> None:
    if not sent_to:
        raise NotPossible("Say where it goes with --to: the name of the laboratory or workshop.")
    if slip.wanted_on and slip.wanted_on < today:
        raise NotPossible(f"{show_day(slip.wanted_on)}, when it is wanted back, has already passed.")
    judged = slip.rule is not None or slip.tolerance_percent is not None or slip.gauge is not None
    if slip.errand is not Errand.CALIBRATION and judged:
        raise NotPossible("A decision rule, a tolerance and a gauge are chosen for a calibration only.")


def _gauge(db: Connection, item: ItemLine, slip: SendSlip) -> ItemLine | None:
    if slip.gauge is None:
        return None
    if item.kind != Kind.WRENCH:
        raise NotPossible(f"A gauge is paired with a wrench, and {show_tag(item.tag)} is a {item.kind}.")
    gauge = find_item(db, slip.gauge)
    if gauge.kind != Kind.GAUGE or gauge.retired_on:
        state = "retired" if gauge.retired_on else f"a {gauge.kind}"
        raise NotPossible(f"{show_tag(gauge.tag)} is {state}; name the gauge that goes with the wrench.")
    return gauge


def _agreed(db: Connection, item: ItemLine, slip: SendSlip) -> Agreed | None:
    """How the certificate will be judged: as asked, else as the last one, or by a gauge's class."""
    if slip.errand is not Errand.CALIBRATION:
        return None
    before = agreed_before(db, item)
    rule = slip.rule or (before.rule if before else None)
    tolerance = slip.tolerance_percent or (before.tolerance_percent if before else None)
    tolerance = tolerance or default_tolerance(subject_of(db, item))
    if rule is None or tolerance is None:
        raise NotPossible(
            f"Choose now how the certificate of {show_tag(item.tag)} will be judged: --rule (simple "
            "acceptance, guard band 0.83 U or guard band U) and --tolerance in percent."
        )
    return Agreed(rule, tolerance)


def take_from_away(db: Connection, asked: str, *, by: Actor, now: datetime) -> Back:
    """Take an item back from a laboratory or workshop."""
    item = find_item(db, asked)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    trip = open_trip(db, item.id)
    if trip is None or not db.execute(_BACK, {"trip": trip.id, "now": now, "by": by.id}).rowcount:
        raise NotPossible(f"{show_tag(item.tag)} is not away.")
    awaited = awaited_trip(db, item.id)
    missing = awaited is not None and awaited.id == trip.id
    days = _days(trip.sent_at, site, now)
    body = {"for": trip.errand, "from": trip.sent_to, "days": days, "certificate_missing": missing}
    daybook.enter(db, site.id, by=by, now=now, act="back from away", about=item.tag, body=body)
    return Back(item.tag, trip.errand, trip.sent_to, days, missing)


def _days(sent_at: datetime, site: SiteLine, now: datetime) -> int:
    return (site.today(now) - local_day(sent_at, zone(site.time_zone))).days
