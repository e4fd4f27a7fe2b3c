"""One kit on the shelves that fits together, and things to swap into it. Invented."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

from fleet import records
from fleet.lists.jobs import find_job
from fleet.lists.kits import KitCheck, check_kit, window_of
from fleet.lists.sites import find_site
from fleet.rules.kits import JointFacts

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop

PSI_10_000 = 68.94757293168  # NIST SP 811, B.8: 6,894.757 293 168 Pa per psi
INCH = 25.4
RUST = "Rusted studs, four years in salt air"
JOINT = JointFacts("F-1", 1000.0, 1.5, RUST, 2.375 * INCH)

# Who carries which half: no hose can be put on crossed (common practice, no source).
PORTS: dict[str, list[tuple[str, str, str]]] = {
    "pump": [("advance", "tool", "male"), ("retract", "tool", "female"), ("advance", "gauge", "female")],
    "hose": [
        *(("advance", "pump", "female"), ("advance", "tool", "male")),
        *(("retract", "pump", "male"), ("retract", "tool", "female")),
    ],
    "coupler": [("advance", "pump", "female"), ("advance", "tool", "male")],
    "wrench": [("advance", "pump", "female"), ("retract", "pump", "male")],
    "gauge": [("advance", "pump", "male")],
    "socket": [],
}


class Thing(NamedTuple):
    item: int
    tag: str


@dataclass
class Rack:
    """A tool room, and one kit that fits together."""

    room: Room
    shop: Shop
    site: int
    task: int
    couplings: dict[str, int] = field(default_factory=dict)
    kit: dict[str, Thing] = field(default_factory=dict)

    def coupling(self, series: str, mpa: float = 70.0, *, flush_face: bool = False) -> None:
        rated = {"mwp_written": f"{mpa} MPa", "mwp_mpa": mpa, "flush_face": flush_face}
        self.couplings[series] = self.shop.put(records.CouplingRow, series=series, size="3/8 in", **rated)

    def thing(self, kind: str, /, series: str = "A", **values: object) -> Thing:
        return Thing(
            *self.shop.item(self.with_ports(self.shop.model(kind, None, **values), kind, series), self.site)
        )

    def with_ports(self, model: int, kind: str, series: str = "A") -> int:
        for line, faces, half in PORTS[kind]:
            own = self.couplings["G" if "gauge" in (kind, faces) else series]
            self.shop.put(records.PortRow, model_id=model, line=line, faces=faces, half=half, coupling_id=own)
        return model

    def socket(self, drive_mm: float, flats_mm: float = 2.375 * INCH) -> Thing:
        return self.thing("socket", drive_mm=drive_mm, across_flats_mm=flats_mm)

    def wrench(self, top_nm: float, series: str = "A", drive_mm: float = INCH, done: int = 30) -> Thing:
        """A square-drive wrench, calibrated so many days ago, with a straight chart up to 70 MPa."""
        number = next(self.shop.numbers)
        rated = {"mwp_advance_mpa": 70.0, "mwp_retract_mpa": 70.0, "drive_mm": drive_mm}
        model = self.shop.put(
            records.ModelRow, kind="wrench", designation=f"W-{number}", head="square drive", **rated
        )
        self.shop.chart(self.with_ports(model, "wrench", series), [(7.0, top_nm / 10), (70.0, top_nm)])
        wrench = Thing(*self.shop.item(model, self.site))
        today = self.room.clock().date()
        self.shop.did(wrench.item, self.task, today - timedelta(days=done))
        return wrench

    def check(self, joint: JointFacts = JOINT, **swapped: Thing) -> KitCheck:
        """Check the kit with some of its things swapped for others."""
        chosen = [thing.item for thing in (self.kit | swapped).values()]
        with self.room.look() as db:
            job = find_job(db, "J-1")
            window = window_of(job, find_site(db, job.site))
            return check_kit(db, chosen, joint, window, now=self.room.now(db))


def build(room: Room, shop: Shop) -> Rack:
    site = shop.site()
    shop.person("F1", site)
    shop.person("P1", site, "planner")
    for code in ("J-1", "J-2"):
        shop.job(site, code, starts_at=room.clock())
    rack = Rack(room, shop, site, shop.task("calibration", "wrench", every_months=12))
    rack.coupling("A")
    rack.coupling("G")
    rack.kit = {
        "pump": rack.thing("pump", relief_advance_mpa=70.0, relief_retract_mpa=10.0),
        "gauge": rack.thing("gauge", mwp_advance_mpa=100.0, graduation_mpa=0.5),
        "hose": rack.thing("hose"),
        "coupler": rack.thing("coupler"),
        "wrench": rack.wrench(2000.0),
        "socket": rack.socket(INCH),
    }
    return rack


def codes(check: KitCheck) -> list[str]:
    return [finding.code for finding in check.kit.findings if finding.severity != "note"]
