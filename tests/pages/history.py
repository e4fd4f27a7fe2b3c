"""What the demo's sheets do not hold: an inspection with a photograph, and a certificate that waits."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from PIL import Image

from fleet.desk.calibrations import CertificateSlip, Received, take_in
from fleet.desk.inspections import InspectionSlip, Shot, record_inspection
from fleet.lists.people import find_actor
from fleet.rules.calibrations import DecisionRule
from fleet.rules.certificate_points import read_point
from fleet.rules.certificates import Certificate
from fleet.rules.evidence import Answer, Occasion
from fleet.rules.inspections import Given
from fleet.rules.photographs import clean_photograph
from tests.shop import NOON

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

# The first of each in the demo's room, both of NORTH.
INSPECTED, CERTIFIED = "201894", "201048"
POINTS = ("as found; 6,500 psi; 866 lbf·ft; 8 lbf·ft", "as found; 10,000 psi; 1,312 lbf·ft; 10 lbf·ft")


def photograph(kind: str = "JPEG", size: tuple[int, int] = (64, 48), **more: object) -> bytes:
    """A small picture as a telephone would send it."""
    written = io.BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").save(written, kind, **more)
    return written.getvalue()


def add_history(db: Connection) -> str:
    """Record both; answers the digest of the photograph."""
    keeper, _ = find_actor(db, "N11")
    shot = clean_photograph(photograph(size=(160, 120)), "IMG_1.jpg")
    record_inspection(
        db,
        InspectionSlip(
            client_id="demo-inspection",
            item=INSPECTED,
            occasion=Occasion.BEFORE_USE,
            answers=(Given(1, Answer.NOTE, "a scratch that nobody feels"),),
            inspected_on=NOON.date(),
            all_fine=True,
            shots=(Shot(shot, 1),),
        ),
        by=keeper,
        now=NOON,
    )
    certificate = Certificate(
        "K-2026-118",
        "Brook Valley Calibration",
        None,
        NOON.date(),
        None,
        2.0,
        tuple(read_point(text, "wrench") for text in POINTS),
    )
    slip = CertificateSlip(
        client_id="demo-certificate",
        item=CERTIFIED,
        typed=certificate,
        digital=None,
        reference="Torque transducer T-11",
        traceability="National standard of torque",
        rule=DecisionRule.SIMPLE,
        tolerance_percent=3.0,
        files=(Received(b"%PDF-1.7\n%%EOF\n", "application/pdf", "K-2026-118.pdf"),),
    )
    take_in(db, slip, by=keeper, now=NOON)
    return shot.sha256
