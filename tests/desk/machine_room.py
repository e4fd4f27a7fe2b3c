"""The tool room in which anything is done in any order: what stands in it, on both sides. Invented."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from sqlalchemy import select

from fleet import records
from fleet.room import Room, open_room, upgrade_database
from fleet.settings import read_settings
from tests.desk.model import Competences, new_item
from tests.shop import NOON, TODAY, Clock, Shop

SOON, LATER = TODAY + timedelta(days=45), TODAY + timedelta(days=900)
COMPETENT: Competences = {
    ("K1", "hose", "inspection"): SOON,
    ("K1", "hose", "proof test"): SOON,
    ("K1", "wrench", "calibration"): SOON,
    ("S1", "hose", "inspection"): LATER,
    ("S1", "hose", "proof test"): LATER,
    ("S1", "wrench", "calibration"): LATER,
}
JOBS = ("J-1", "J-2")


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def open_at(address: str, clock: Clock) -> Room:
    return open_room(read_settings({"FLEET_SETTINGS": "/nowhere"}, database=address), clock=clock)


def furnish(address: str) -> None:
    """Make the room once; every run works on a copy."""
    upgrade_database(read_settings({"FLEET_SETTINGS": "/nowhere"}, database=address))
    room = open_at(address, Clock())
    shop = Shop(room)
    site = shop.site()
    people = {
        badge: shop.person(badge, site, *roles)
        for badge, *roles in (
            ("K1", "keeper"),
            ("P1", "planner"),
            ("S1", "safety officer"),
            ("S2", "safety officer"),
            ("F1",),
        )
    }
    for (badge, kind, task), until in COMPETENT.items():
        shop.put(
            records.CompetenceRow,
            person_id=people[badge],
            kind=kind,
            task=task,
            expires_on=until,
            evidence="Instructed on 3 March",
            granted_at=NOON,
        )
    for code in JOBS:
        shop.job(site, code, days=900)
    _fill(shop, site, _tasks(shop))
    room.close()


def _tasks(shop: Shop) -> dict[tuple[str, str], int]:
    tasks = {
        ("hose", "inspection"): shop.task("inspection", "hose", every_months=6, proved_by="inspection"),
        ("hose", "proof test"): shop.task("proof test", "hose", every_months=12, proved_by="proof test"),
        ("hose", "life"): shop.task("life", "hose", every_months=72, counts_from="assembly", stop="hard"),
        ("wrench", "calibration"): shop.task(
            "calibration", "wrench", every_months=12, every_cycles=60, proved_by="calibration"
        ),
        ("wrench", "service"): shop.task("service", "wrench", every_months=3, every_minutes=300),
        ("gauge", "calibration"): shop.task("calibration", "gauge", every_months=12, proved_by="calibration"),
    }
    for task, work in ((("hose", "proof test"), "coupling changed"), (("wrench", "service"), "seal kit")):
        shop.put(records.TaskAfterRepairRow, task_id=tasks[task], work=work)
    return tasks


def _fill(shop: Shop, site: int, tasks: dict[tuple[str, str], int]) -> None:
    hose = shop.model("hose", "H-6")
    wrench = shop.model("wrench", "W-2000")
    gauge = shop.model("gauge", "G-2000", range_mpa=200.0, range_written="2000 bar")
    # One hose in its prime, one a month short of its life, one that lay in store for almost two years.
    young, old, stored = (
        shop.item(hose, site, assembled_on=on, first_out_on=out)[0]
        for on, out in (
            (date(2025, 5, 31), ago(300)),
            (date(2020, 6, 13), ago(300)),
            (date(2024, 6, 13), None),
        )
    )
    good, late = (shop.item(wrench, site)[0] for _ in range(2))
    pressed, _ = shop.item(gauge, site)
    for item, kind, task, days in (
        (young, "hose", "inspection", 100),
        (young, "hose", "proof test", 300),
        (old, "hose", "inspection", 170),
        (old, "hose", "proof test", 100),
        (stored, "hose", "inspection", 20),
        (stored, "hose", "proof test", 20),
        (good, "wrench", "calibration", 300),
        (good, "wrench", "service", 60),
        (late, "wrench", "service", 100),
        (pressed, "gauge", "calibration", 200),
    ):
        shop.did(item, tasks[kind, task], ago(days))


def on_paper(room: Room) -> dict[str, dict[str, Any]]:
    """What stands in the fresh room, as the model keeps it, by tag."""
    items, models, tasks, done = (
        _all(room, entity)
        for entity in (records.ItemRow, records.ModelRow, records.TaskRow, records.UpkeepRow)
    )
    kinds, names = {m.id: m.kind for m in models}, {t.id: t.name for t in tasks}
    paper = {
        row.id: new_item(
            id=row.id,
            tag=row.tag,
            kind=kinds[row.model_id],
            serial=row.serial,
            assembled=row.assembled_on,
            received=row.received_on,
            first_out=row.first_out_on,
        )
        for row in items
    }
    for order, row in enumerate(done, start=-len(done)):
        paper[row.item_id]["done"].append(
            {
                "task": names[row.task_id],
                "done_on": row.done_on,
                "at": row.recorded_at,
                "meter": (0, 0),
                "order": order,
                "gone": False,
            }
        )
    return {item["tag"]: item for item in paper.values()}


def _all(room: Room, entity: type[records.Base]) -> list[Any]:
    with room.look() as db:
        return list(db.execute(select(*entity.__table__.columns).order_by(entity.__table__.c.id)))
