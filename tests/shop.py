"""A small tool room for tests: one site, three people, one of each kind. Invented."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from itertools import count
from typing import TYPE_CHECKING

from sqlalchemy import insert

from fleet import records
from fleet.ledgers.due_lines import refresh
from fleet.ledgers.strengths import rate_items
from fleet.lists.people import find_actor
from fleet.measures.tags import make_tag
from fleet.measures.times import add_months, local_day, zone
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.rules.people import Actor

# A Wednesday; far from any change of clocks.
TODAY = date(2026, 5, 13)
NOON = datetime(2026, 5, 13, 17, 0, tzinfo=UTC)
ZONE = "America/Chicago"


@dataclass
class Clock:
    """The clock on the wall, which a test may move."""

    now: datetime = NOON

    def __call__(self) -> datetime:
        return self.now

    def pass_by(self, **span: float) -> None:
        self.now += timedelta(**span)


@dataclass
class Shop:
    """Puts things into a room directly, so that a test of one act does not lean on another."""

    room: Room
    numbers: count[int] = field(default_factory=lambda: count(1001))
    known: list[int] = field(default_factory=list)

    def put(self, entity: type[records.Base], **values: object) -> int:
        with self.room.act() as db:
            key = db.execute(insert(rows_of(entity)).values(**values)).inserted_primary_key
            return int(key[0]) if key else 0

    def site(self, code: str = "NORTH", time_zone: str = ZONE) -> int:
        return self.put(
            records.SiteRow,
            code=code,
            name=f"{code.title()} tool room",
            time_zone=time_zone,
            pressure_unit="psi",
            torque_unit="lbf·ft",
            letter_weekday=0,
            letter_hour=6,
            spare_address=f"{code.lower()}@tool-room.example",
        )

    def person(self, badge: str, site: int, *roles: str, address: str | None = None) -> int:
        names = {"K1": "Kim Keeper", "P1": "Pat Planner", "S1": "Sam Safety", "F1": "Fin Fitter"}
        person = self.put(
            records.PersonRow, badge=badge, name=names.get(badge, badge), address=address, active=True
        )
        for role in roles:
            self.put(records.RoleRow, person_id=person, site_id=site, role=role)
        return person

    def actor(self, badge: str) -> Actor:
        with self.room.look() as db:
            return find_actor(db, badge)[0]

    def model(self, kind: str, /, designation: str | None = None, **values: object) -> int:
        plates: dict[str, dict[str, object]] = {
            "wrench": {"head": "square drive", "drive_written": "1 in", "drive_mm": 25.4},
            "pump": {"relief_advance_written": "10,000 psi", "relief_advance_mpa": 68.94757293168},
            "gauge": {"range_written": "1000 bar", "range_mpa": 100.0, "accuracy_class": "1.6"},
            "hose": {"burst_ratio": 4.0},
        }
        rated: dict[str, object] = {
            "mwp_advance_written": "700 bar / 10,000 psi",
            "mwp_advance_mpa": 70.0,
            "mwp_retract_written": "700 bar / 10,000 psi",
            "mwp_retract_mpa": 70.0,
        }
        if kind in ("gauge", "socket"):
            rated = {}
        values = (
            {"kind": kind, "designation": designation or f"{kind}-{next(self.numbers)}"}
            | rated
            | (plates.get(kind, {}) | values)
        )
        model = self.put(records.ModelRow, **values)
        if kind == "wrench":
            self.chart(model, [(20.0, 600.0), (40.0, 1200.0), (70.0, 2100.0)])
        return model

    def chart(self, model: int, points: list[tuple[float, float]], item: int | None = None) -> int:
        chart = self.put(
            records.ChartRow, model_id=model, item_id=item, source="plate", entered_at=NOON, replaced_at=None
        )
        for pressure, torque in points:
            self.put(
                records.ChartPointRow,
                chart_id=chart,
                pressure_written=f"{pressure} MPa",
                pressure_mpa=pressure,
                torque_written=f"{torque} N·m",
                torque_nm=torque,
            )
        return chart

    def item(self, model: int, site: int, **values: object) -> tuple[int, str]:
        """Put an item on the shelf; answers its id and tag. Its due lines are those of the tasks."""
        number = next(self.numbers)
        tag = make_tag(number)
        values = {
            "tag": tag,
            "model_id": model,
            "serial": f"S{number}",
            "site_id": site,
            "shelf": "A1",
            "received_on": TODAY - timedelta(days=400),
            "assembled_on": add_months(TODAY, -12),
            "first_out_on": TODAY - timedelta(days=300),
            "cycles": 0,
            "minutes": 0,
        } | values
        item = self.put(records.ItemRow, **values)
        self.refresh(item)
        return item, tag

    def refresh(self, *items: int) -> None:
        with self.room.act() as db:
            today = local_day(self.room.now(db), zone(ZONE))
            refresh(db, items, lambda _site: today)
            rate_items(db, items)

    def task(self, name: str, kind: str, **values: object) -> int:
        task = {"counts_from": "last done", "lead_days": 14, "stop": "soft"} | values
        return self.put(records.TaskRow, name=name, kind=kind, **task)

    def did(self, item: int, task: int, on: date, cycles: int = 0, minutes: int = 0) -> None:
        self.put(
            records.UpkeepRow,
            client_id=f"did-{next(self.numbers)}",
            item_id=item,
            task_id=task,
            done_on=on,
            cycles_at=cycles,
            minutes_at=minutes,
            recorded_at=NOON,
        )
        self.refresh(item)

    def job(self, site: int, code: str = "J-1", days: int = 10, starts_at: datetime = NOON) -> int:
        return self.put(
            records.JobRow,
            site_id=site,
            code=code,
            name="Exchanger bundle",
            starts_at=starts_at,
            ends_at=starts_at + timedelta(days=days),
        )
