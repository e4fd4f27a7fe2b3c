"""The workshop of the machine: inspections, tests, services, repairs, and what goes to a laboratory."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from fleet.desk.acceptance import accept, refuse
from fleet.desk.away import SendSlip, send_away, take_from_away
from fleet.desk.calibrations import CertificateSlip, take_in
from fleet.desk.inspections import InspectionSlip, record_inspection
from fleet.desk.proof_tests import ProofTestSlip, record_proof_test
from fleet.desk.repairs import RepairSlip, record_repair
from fleet.desk.upkeep import DoneSlip, record_done, withdraw
from fleet.desk.withdrawals import withdraw_inspection
from fleet.rules.calibrations import DecisionRule
from fleet.rules.certificate_points import read_point
from fleet.rules.certificates import Certificate
from fleet.rules.evidence import Answer, Errand, Occasion, Work
from fleet.rules.inspections import Given
from tests.desk import model
from tests.desk.machine import GAUGE, HOSES, WHY, WRENCHES, mostly, people, pick, which
from tests.desk.machine_room import COMPETENT
from tests.desk.machine_undoing import Undoing
from tests.laboratory import BAD, GOOD, LEFT

CUT = Given(1, Answer.REJECT, "Cut down to the braid near the pump end")
PASSED = ("pass", "conditional pass")
hoses, wrenches = st.sampled_from(HOSES), st.sampled_from(WRENCHES)


class Workshop(Undoing):
    """What keeps the kit sound, and what shows that it is."""

    def __init__(self, *where: Any) -> None:  # noqa: ANN401  The databases and the engine.
        """Begin with nothing inspected or certified by this machine."""
        super().__init__(*where)
        self.inspections: list[dict[str, Any]] = []
        self.entries: list[dict[str, Any]] = []
        self.certificates: list[dict[str, Any]] = []

    def shown(self, item: dict[str, Any], what: str, number: int, *, good: bool, **more: object) -> None:
        found = {"what": what, "number": number, "good": good, "done_on": model.day_at(self.newest)}
        item["evidence"].append(found | {"at": self.newest, "gone": False} | more)

    def did(self, item: dict[str, Any], task: str, **more: object) -> dict[str, Any]:
        day = model.day_at(self.newest)
        done = {"task": task, "done_on": day, "at": self.newest, "order": self.order, "gone": False}
        item["done"].append(done | {"meter": model.meter(item, until=day)} | more)
        self.touched = item["id"]
        return item["done"][-1]  # type: ignore[no-any-return]

    def competent(self, by: str, kind: str, task: str) -> bool:
        return model.competent(COMPETENT, by, kind, task, model.day_at(self.now))

    # --- Inspections and tests ------------------------------------------------------------------------------

    @rule(at=hoses, by=people, fine=mostly)
    def inspect(self, at: int, by: str, *, fine: bool) -> None:
        item, client = self.item(at), self.client()
        slip = InspectionSlip(
            client,
            item["tag"],
            Occasion.PERIODIC,
            () if fine else (CUT,),
            model.day_at(self.now),
            all_fine=True,
        )
        answer = self.attempt(
            lambda db, actor, now: record_inspection(db, slip, by=actor, now=now),
            by,
            allowed=by in ("K1", "S1") and self.competent(by, "hose", "inspection") and not item["retired"],
            table="inspection",
            client=client,
        )
        if answer:
            self.shown(item, "inspection", answer.number, good=fine)
            seen = {"item": item, "number": answer.number, "evidence": item["evidence"][-1], "done": None}
            if fine:
                seen["done"] = self.did(item, "inspection")
                self.acknowledged.append(("upkeep_done", f"{client}/done"))
            else:
                self.hold(item, "inspection")
            self.inspections.append(seen)

    @precondition(lambda self: self.inspections)
    @rule(at=pick, by=people)
    def withdraw_inspection(self, at: int, by: str) -> None:
        self.withdraw_one(self.inspections[at % len(self.inspections)], by)

    def withdraw_one(self, seen: dict[str, Any], by: str) -> None:
        client = self.client()
        answer = self.attempt(
            lambda db, actor, now: withdraw_inspection(
                db, seen["number"], WHY, client_id=client, by=actor, now=now
            ),
            by,
            allowed=by != "P1" and seen["evidence"] is not None and not seen["evidence"]["gone"],
            table="inspection",
            client=client,
        )
        if answer:
            item = seen["item"]
            seen["evidence"]["gone"] = True
            if seen["done"]:
                seen["done"]["gone"] = True
                self.touched = item["id"]
            released = [h for h in item["holds"] if h["by"] == ("inspection", seen["number"])]
            assert answer.held == bool(released)
            if released:
                self.hold(item, "inspection")
            self.inspections.append({"item": item, "number": answer.number, "evidence": None, "done": None})

    @rule(at=hoses, by=people, tight=mostly)
    def proof_test(self, at: int, by: str, *, tight: bool) -> None:
        item, gauge, client, today = self.item(at), self.item(GAUGE), self.client(), model.day_at(self.now)
        slip = ProofTestSlip(client, item["tag"], "140 MPa", 45, tight, gauge["tag"], today)
        sound = not gauge["retired"] and not any(h["open"] for h in gauge["holds"])
        answer = self.attempt(
            lambda db, actor, now: record_proof_test(db, slip, by=actor, now=now),
            by,
            allowed=by in ("K1", "S1")
            and self.competent(by, "hose", "proof test")
            and not item["retired"]
            and sound
            and not model.overdue(gauge, "calibration", today),
            table="proof_test",
            client=client,
        )
        if answer:
            assert answer.passed == tight
            self.shown(item, "proof test", answer.number, good=tight)
            if tight:
                self.did(item, "proof test")
            else:
                self.hold(item, "inspection")

    @rule(at=wrenches, by=people)
    def service(self, at: int, by: str) -> None:
        item, client = self.item(at), self.client()
        slip = DoneSlip(client, item["tag"], "service", model.day_at(self.now))
        answer = self.attempt(
            lambda db, actor, now: record_done(db, slip, by=actor, now=now),
            by,
            allowed=by == "K1" and not item["retired"],
            table="upkeep_done",
            client=client,
        )
        if answer:
            self.entries.append({"item": item, "number": answer.entry, "done": self.did(item, "service")})

    @precondition(lambda self: self.entries)
    @rule(at=pick)
    def withdraw_entry(self, at: int) -> None:
        entry, client = self.entries[at % len(self.entries)], self.client()
        answer = self.attempt(
            lambda db, actor, now: withdraw(db, entry["number"], WHY, client_id=client, by=actor, now=now),
            "K1",
            allowed=entry["done"] is not None and not entry["done"]["gone"],
            table="upkeep_done",
            client=client,
        )
        if answer:
            entry["done"]["gone"] = True
            self.entries.append({"item": entry["item"], "number": answer.entry, "done": None})
            self.touched = entry["item"]["id"]

    @rule(at=which, work=st.sampled_from((Work.COUPLING_CHANGED, Work.SEAL_KIT, Work.OTHER)))
    def repair(self, at: int, work: Work) -> None:
        item, client = self.item(at), self.client()
        slip = RepairSlip(client, item["tag"], work, WHY, model.day_at(self.now))
        answer = self.attempt(
            lambda db, actor, now: record_repair(db, slip, by=actor, now=now),
            "K1",
            allowed=not (item["retired"] or item["out"] or item["away"]),
            table="repair",
            client=client,
        )
        if answer:
            item["repairs"].append(
                {"work": work.value, "done_on": model.day_at(self.newest), "at": self.newest}
            )
            self.shown(item, "repair", answer.number, good=True)
            self.touched = item["id"]

    # --- To the laboratory and back -------------------------------------------------------------------------

    @rule(at=which, calibration=st.booleans())
    def send_away(self, at: int, *, calibration: bool) -> None:
        item, client = self.item(at), self.client()
        slip = SendSlip(client, item["tag"], "Bench Lab", Errand.REPAIR)
        if calibration and item["kind"] == "wrench":
            judged_by = (DecisionRule.GUARD_FULL, 3.0)
            slip = SendSlip(client, item["tag"], "Bench Lab", Errand.CALIBRATION, *judged_by)
        answer = self.attempt(
            lambda db, actor, now: send_away(db, slip, by=actor, now=now),
            "K1",
            allowed=not (item["retired"] or item["out"] or item["away"]),
            table="away",
            client=client,
        )
        if answer:
            item["away"] = slip.errand

    @rule(at=pick)
    def take_from_away(self, at: int) -> None:
        item = self.one_of(at, lambda item: item["away"])
        answer = self.attempt(
            lambda db, actor, now: take_from_away(db, item["tag"], by=actor, now=now),
            "K1",
            allowed=item["away"] is not None,
        )
        if answer:
            item["away"] = None

    @rule(at=wrenches, points=st.sampled_from((GOOD, GOOD, BAD, BAD + LEFT)), at_once=mostly)
    def certificate_comes(self, at: int, points: tuple[str, ...], *, at_once: bool) -> None:
        item, client, today = self.item(at), self.client(), model.day_at(self.now)
        readings = tuple(read_point(point, "wrench") for point in points)
        said = Certificate(client, "Bench Lab", None, today, None, None, readings)
        how = {"rule": DecisionRule.GUARD_FULL, "tolerance_percent": 3.0}
        slip = CertificateSlip(client, item["tag"], said, None, "Transducer", "National standard", **how)  # type: ignore[arg-type]
        answer = self.attempt(
            lambda db, actor, now: take_in(db, slip, by=actor, now=now),
            "K1",
            allowed=False if item["retired"] else None,
            table="calibration",
            client=client,
        )
        if answer:
            failed = answer.as_found not in PASSED
            assert (answer.hold is not None) == failed
            if failed:
                self.hold(item, "calibration", answer.hold)
            self.certificates.append(
                {
                    "item": item,
                    "number": answer.number,
                    "good": (answer.as_left or answer.as_found) in PASSED,
                    "on": today,
                    "came_at": self.newest,
                    "meter": model.meter(item, until=today),
                    "standing": "received",
                }
            )
            if at_once:
                self.accept_one(self.certificates[-1], "S1")

    @precondition(lambda self: self.certificates)
    @rule(at=pick, by=people)
    def accept(self, at: int, by: str) -> None:
        self.accept_one(self.certificates[at % len(self.certificates)], by)

    def accept_one(self, paper: dict[str, Any], by: str) -> None:
        item = paper["item"]
        newer = [c for c in self.certificates if c["item"] is item and c["standing"] == "accepted"]
        answer = self.attempt(
            lambda db, actor, now: accept(db, paper["number"], "Seen and compared", by=actor, now=now),
            by,
            allowed=by in ("K1", "S1")
            and self.competent(by, "wrench", "calibration")
            and not (item["retired"] or item["away"])
            and paper["standing"] == "received"
            and paper["good"]
            and not [c for c in newer if c["on"] > paper["on"]],
        )
        if answer:
            paper["standing"] = "accepted"
            self.acknowledged.append(("upkeep_done", f"certificate/{paper['number']}"))
            self.did(item, "calibration", done_on=paper["on"], meter=paper["meter"])
            came = {"done_on": paper["on"], "came_at": paper["came_at"]}
            self.shown(item, "certificate", paper["number"], good=True, **came)

    @precondition(lambda self: self.certificates)
    @rule(at=pick, by=people)
    def refuse(self, at: int, by: str) -> None:
        paper = self.certificates[at % len(self.certificates)]
        answer = self.attempt(
            lambda db, actor, now: refuse(db, paper["number"], WHY, by=actor, now=now),
            by,
            allowed=by in ("K1", "S1")
            and self.competent(by, "wrench", "calibration")
            and not paper["item"]["retired"]
            and paper["standing"] == "received",
        )
        if answer:
            paper["standing"] = "refused"
