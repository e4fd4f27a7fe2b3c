"""All that speaks against taking a certificate in, and what its points come to."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, select

from fleet.bolting.figures import Units
from fleet.bolting.parts import Kind
from fleet.lists.away import awaited_trip, open_trip
from fleet.lists.calibrations import agreed_before, subject_of, with_file
from fleet.lists.items import find_item
from fleet.lists.sites import find_site
from fleet.lists.tasks import tasks_of
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day, zone
from fleet.records import CalibrationRow, ItemRow
from fleet.refusals import NotPossible
from fleet.rules.calibrations import DecisionRule
from fleet.rules.certificates import FAILED, Agreed, default_tolerance, judge_certificate
from fleet.rules.certified import Days, calibration_task, chart_of, check_day, check_serial
from fleet.rules.evidence import Standing
from fleet.rules.people import require
from fleet.rules.register import Role

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.calibrations.slips import CertificateSlip
    from fleet.lists.away import Trip
    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.certificates import Judged, Subject
    from fleet.rules.certified import Whole
    from fleet.rules.inspections import TaskFacts
    from fleet.rules.people import Actor

_OF_POINTS = ("text/csv", "application/xml")
# On PostgreSQL nobody else may take a certificate of the item in meanwhile; SQLite has its write lock.
_LOCK = select(ItemRow.received_on).where(ItemRow.id == bindparam("item")).with_for_update()
_OF_ITEM = select(
    CalibrationRow.id, CalibrationRow.laboratory, CalibrationRow.certificate_no, CalibrationRow.standing
).where(CalibrationRow.item_id == bindparam("item"))
_ACCEPTED = select(func.max(CalibrationRow.calibrated_on)).where(
    CalibrationRow.item_id == bindparam("item"), CalibrationRow.standing == Standing.ACCEPTED
)


@dataclass(frozen=True, slots=True)
class Case:
    """A certificate that may be written, with everything it was judged by."""

    item: ItemLine
    site: SiteLine
    certificate: Whole
    subject: Subject
    task: TaskFacts
    trip: Trip | None
    gauge_id: int | None
    gauge: str | None
    agreed: Agreed
    judged: Judged


def judge(
    db: Connection, slip: CertificateSlip, item: ItemLine, certificate: Whole, *, by: Actor, now: datetime
) -> Case:
    """Judge one certificate of an item; raises a refusal for all that speaks against taking it in."""
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    if item.retired_on:
        raise NotPossible(f"{show_tag(item.tag)} was retired on {show_day(item.retired_on)}.")
    received_on = db.execute(_LOCK, {"item": item.id}).scalar_one()
    check_serial(item.tag, item.serial, certificate.serial)
    _check_once(db, slip, item, certificate)
    away = open_trip(db, item.id)
    sent_on = local_day(away.sent_at, zone(site.time_zone)) if away else None
    accepted_on = db.execute(_ACCEPTED, {"item": item.id}).scalar()
    days = Days(site.today(now), received_on, sent_on, accepted_on)
    check_day(item.tag, certificate.calibrated_on, days)
    for name, said in (("--reference", slip.reference), ("--traceability", slip.traceability)):
        if not said.strip():
            raise NotPossible(f"{name} must say what the certificate says about it.")
    trip = _trip(db, item, site, certificate)
    subject = subject_of(db, item, Units(site.pressure_unit, site.torque_unit))
    agreed = _agreed(db, slip, item, subject, trip)
    judged = judge_certificate(subject, certificate.readings, agreed, certificate.coverage_factor)
    if item.kind == Kind.WRENCH and judged.result not in FAILED:
        chart_of((point.reading for point in judged.at(judged.deciding)), "the certificate")
    gauge = _gauge(db, slip, item, trip)
    task = calibration_task(item.tag, tasks_of(db, item.id), slip.task)
    return Case(item, site, certificate, subject, task, trip, gauge[0], gauge[1], agreed, judged)


def _check_once(db: Connection, slip: CertificateSlip, item: ItemLine, certificate: Whole) -> None:
    """Refuse a certificate that is on record, by its number or by its file."""
    ours = (certificate.laboratory.casefold(), certificate.number.casefold())
    for row in db.execute(_OF_ITEM, {"item": item.id}):
        if (row.laboratory.casefold(), row.certificate_no.casefold()) == ours:
            raise NotPossible(
                f"Certificate {row.certificate_no} of {row.laboratory} for {show_tag(item.tag)} was taken in "
                f"before, as number {row.id} ({row.standing}); a corrected one bears a number of its own."
            )
    # One scan may show a wrench and its gauge; points belong to one item.
    for file in (one for one in slip.files if one.media_type in _OF_POINTS):
        known = with_file(db, hashlib.sha256(file.content).hexdigest())
        if known:
            raise NotPossible(f"This very file ({file.caption}) belongs to {known} already.")


def _trip(db: Connection, item: ItemLine, site: SiteLine, certificate: Whole) -> Trip | None:
    """The trip to the laboratory that this certificate came of, if it came of one."""
    trip = awaited_trip(db, item.id)
    if trip is None:
        return None
    there = zone(site.time_zone)
    back_on = local_day(trip.back_at, there) if trip.back_at else date.max
    return trip if local_day(trip.sent_at, there) <= certificate.calibrated_on <= back_on else None


def _agreed(
    db: Connection, slip: CertificateSlip, item: ItemLine, subject: Subject, trip: Trip | None
) -> Agreed:
    """What was chosen when it was sent away; without a trip as asked, or as the last time."""
    if trip and trip.decision_rule and trip.tolerance_percent:
        chosen = Agreed(DecisionRule(trip.decision_rule), trip.tolerance_percent)
        if slip.rule not in (None, chosen.rule) or slip.tolerance_percent not in (
            None,
            chosen.tolerance_percent,
        ):
            raise NotPossible(
                f"{chosen.rule.capitalize()} and {chosen.tolerance_percent:g} % were chosen when "
                f"{show_tag(item.tag)} was sent away; that cannot be changed once the certificate is seen."
            )
        return chosen
    before = agreed_before(db, item)
    rule = slip.rule or (before.rule if before else None)
    tolerance = slip.tolerance_percent or (before.tolerance_percent if before else None)
    tolerance = tolerance or default_tolerance(subject)
    if rule is None or tolerance is None:
        raise NotPossible(
            f"{show_tag(item.tag)} was not sent away and has no earlier certificate, so say how this one is "
            "to be judged: --rule and --tolerance."
        )
    return Agreed(rule, tolerance)


def _gauge(
    db: Connection, slip: CertificateSlip, item: ItemLine, trip: Trip | None
) -> tuple[int | None, str | None]:
    if slip.gauge is None:
        return (trip.paired_gauge_id, None) if trip else (None, None)
    gauge = find_item(db, slip.gauge)
    if item.kind != Kind.WRENCH or gauge.kind != Kind.GAUGE:
        raise NotPossible(
            f"A wrench is paired with a gauge; {show_tag(item.tag)} is a {item.kind} and "
            f"{show_tag(gauge.tag)} is a {gauge.kind}."
        )
    return gauge.id, gauge.tag
