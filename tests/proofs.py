"""Inspections, repairs, proof tests and certificates put into a room directly, for other tests."""

from __future__ import annotations

from datetime import timedelta
from itertools import count
from typing import TYPE_CHECKING

from fleet.records import CalibrationRow, InspectionRow, ProofTestRow, RepairRow

if TYPE_CHECKING:
    from datetime import datetime

    from tests.shop import Shop

_numbers = count(1)


def inspected(shop: Shop, item: int, at: datetime, result: str = "fine", **other: object) -> int:
    """An inspection recorded at that instant; answers its number."""
    values = {
        "client_id": f"inspection-{next(_numbers)}",
        "item_id": item,
        "occasion": "after event",
        "checklist_version": 0,
        "inspected_on": at.date(),
        "result": result,
        "cycles_at": 0,
        "minutes_at": 0,
        "by_name": "Kim Keeper",
        "recorded_at": at,
    }
    return shop.put(InspectionRow, **(values | other))


def repaired(shop: Shop, item: int, at: datetime, work: str = "seal kit", **other: object) -> int:
    """A repair recorded at that instant; answers its number."""
    values = {
        "client_id": f"repair-{next(_numbers)}",
        "item_id": item,
        "work": work,
        "description": "Seals changed",
        "done_on": at.date(),
        "cycles_at": 0,
        "minutes_at": 0,
        "by_name": "Kim Keeper",
        "recorded_at": at,
    }
    return shop.put(RepairRow, **(values | other))


def proof_tested(shop: Shop, item: int, at: datetime, *, passed: bool = True, **other: object) -> int:
    """A proof test recorded at that instant; answers its number."""
    values = {
        "client_id": f"proof-{next(_numbers)}",
        "item_id": item,
        "tested_on": at.date(),
        "pressure_written": "140 MPa",
        "pressure_mpa": 140.0,
        "required_mpa": 140.0,
        "held_seconds": 300,
        "tight": passed,
        "passed": passed,
        "by_name": "Kim Keeper",
        "recorded_at": at,
    }
    return shop.put(ProofTestRow, **(values | other))


def certified(
    shop: Shop,
    item: int,
    task: int,
    at: datetime,
    *,
    standing: str = "accepted",
    as_left: str = "pass",
    **other: object,
) -> int:
    """A certificate decided at that instant; answers its number."""
    number = next(_numbers)
    values = {
        "client_id": f"certificate-{number}",
        "item_id": item,
        "task_id": task,
        "certificate_no": f"C-{number}",
        "laboratory": "Bench 4",
        "calibrated_on": at.date(),
        "reference": "Torque cell 7",
        "traceability": "National standard",
        "decision_rule": "simple acceptance",
        "tolerance_percent": 3.0,
        "coverage_factor": 2.0,
        "as_found": "pass",
        "as_left": as_left,
        "cycles_at": 0,
        "minutes_at": 0,
        "received_at": at - timedelta(minutes=1),
        "standing": standing,
        "decided_at": None if standing == "received" else at,
    }
    return shop.put(CalibrationRow, **(values | other))
