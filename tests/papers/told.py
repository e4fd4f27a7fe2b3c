"""A wrench with something on record under every subject. Invented."""

from __future__ import annotations

import io
from datetime import timedelta
from typing import TYPE_CHECKING

from PIL import Image

from fleet import records
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from tests.shop import Shop

HOSTILE = '#panic("x") *bold* <a> $x$ = Heading \\ @ref // gone'


class Told:
    """One wrench with something on record under every subject."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        site = shop.site()
        self.keeper = shop.person("K1", site, "keeper")
        self.safety = shop.person("S1", site, "safety officer")
        model = shop.model("wrench", HOSTILE)
        self.task = shop.task("calibration", "wrench", every_months=12, proved_by="calibration")
        self.item, self.tag = shop.item(model, site)
        self.gauge, _ = shop.item(shop.model("gauge"), site)
        self.job = shop.job(site, "J-9")
        self.joint = shop.put(
            records.JointRow,
            job_id=self.job,
            mark="F-12",
            bolts=12,
            torque_written="900 N·m",
            torque_nm=900.0,
        )
        self.loan_line = self._loan(site)
        self.certificate = self._certificate()
        self._upkeep()
        self._use()
        self._review(site)

    def _loan(self, site: int) -> int:
        loan = self.shop.put(
            records.LoanRow,
            client_id="loan",
            site_id=site,
            job_id=self.job,
            borrower_id=self.keeper,
            issued_at=NOON,
            issued_by_id=self.keeper,
            back_on=TODAY + timedelta(days=3),
        )
        return self.shop.put(records.LoanLineRow, loan_id=loan, item_id=self.item)

    def _certificate(self) -> int:
        certificate = self.shop.put(
            records.CalibrationRow,
            client_id="certificate",
            item_id=self.item,
            task_id=self.task,
            certificate_no="C-77",
            laboratory="Invented Laboratory",
            calibrated_on=TODAY - timedelta(days=30),
            reference="torque transducer 5 kN·m",
            traceability="national standard",
            paired_gauge_id=self.gauge,
            decision_rule="guard band U",
            tolerance_percent=3.0,
            coverage_factor=2.0,
            as_found="pass",
            as_left="pass",
            cycles_at=0,
            minutes_at=0,
            received_at=NOON,
            standing="accepted",
            decided_at=NOON,
            decided_by_id=self.safety,
            decided_by_name="Sam Safety",
        )
        self.shop.put(
            records.CalibrationPointRow,
            calibration_id=certificate,
            stage="as found",
            position=1,
            at_written="40 MPa",
            at_mpa=40.0,
            reference_si=1200.0,
            found_written="1212 N·m",
            found_si=1212.0,
            tolerance=36.0,
            expanded=6.0,
            result="pass",
        )
        self._file(b"stage,pressure,torque\n", "text/csv", calibration_id=certificate, caption="as received")
        return certificate

    def _file(self, content: bytes, sort: str, **of: object) -> None:
        file = self.shop.put(
            records.KeptFileRow, sha256=f"{len(content):064x}", media_type=sort, content=content, kept_at=NOON
        )
        self.shop.put(records.FileOfRow, file_id=file, **of)

    def _upkeep(self) -> None:
        done = {
            "item_id": self.item,
            "task_id": self.task,
            "done_on": TODAY - timedelta(days=30),
            "cycles_at": 0,
            "minutes_at": 0,
            "by_id": self.keeper,
            "recorded_at": NOON,
        }
        self.shop.put(records.UpkeepRow, client_id="done", calibration_id=self.certificate, **done)
        wrong = self.shop.put(records.UpkeepRow, client_id="wrong", note="of another wrench", **done)
        self.shop.put(
            records.UpkeepRow, client_id="undo", withdraws_id=wrong, reason="keyed to the wrong tag", **done
        )
        inspection = self.shop.put(
            records.InspectionRow,
            client_id="inspection",
            item_id=self.item,
            occasion="after event",
            checklist_version=0,
            inspected_on=TODAY,
            result="note",
            cycles_at=0,
            minutes_at=0,
            by_id=self.keeper,
            by_name="Kim Keeper",
            recorded_at=NOON,
        )
        self.shop.put(
            records.InspectionAnswerRow,
            inspection_id=inspection,
            position=1,
            wording="Reaction arm",
            answer="note",
            remark=HOSTILE,
        )
        self._file(photograph(), "image/png", inspection_id=inspection, caption="dent in the arm")
        self.shop.put(
            records.RepairRow,
            client_id="repair",
            item_id=self.item,
            work="seal kit",
            description="piston seals renewed",
            done_on=TODAY,
            cycles_at=0,
            minutes_at=0,
            by_name="Kim Keeper",
            recorded_at=NOON,
        )
        self.shop.put(
            records.HoldRow,
            item_id=self.item,
            cause="damaged",
            reason="arm bent at the counter",
            opened_at=NOON,
            opened_by_id=self.keeper,
        )
        self.shop.put(
            records.ConcessionRow,
            item_id=self.item,
            task_id=self.task,
            job_id=self.job,
            asked_by_id=self.keeper,
            granted_by_id=self.safety,
            reason_code="no other item",
            reason="The only one that reaches.",
            starts_at=NOON,
            ends_at=NOON + timedelta(hours=8),
        )

    def _use(self) -> None:
        used = {"item_id": self.item, "job_id": self.job, "used_on": TODAY, "recorded_at": NOON}
        wrong = self.shop.put(records.UsageRow, client_id="use", cycles=9000, minutes=0, **used)
        self.shop.put(
            records.UsageRow,
            client_id="back",
            cycles=-9000,
            minutes=0,
            reverses_id=wrong,
            reason="a nought too many",
            **used,
        )
        self.shop.put(records.UsageRow, client_id="right", cycles=900, minutes=0, joint_id=self.joint, **used)

    def _review(self, site: int) -> None:
        review = self.shop.put(
            records.ImpactReviewRow,
            item_id=self.item,
            site_id=site,
            cause="as found outside tolerance",
            until_on=TODAY,
            opened_at=NOON,
            due_on=TODAY + timedelta(days=14),
        )
        self.shop.put(
            records.ImpactLineRow,
            review_id=review,
            job_id=self.job,
            joint_id=self.joint,
            first_on=TODAY,
            last_on=TODAY,
            cycles=900,
            error_percent=-4.2,
            ruling="re-tighten",
            decided_at=NOON,
            decided_by_name="Sam Safety",
            reason="below the lower limit of the joint",
        )


def photograph() -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (60, 40), "grey").save(made, "PNG")
    return made.getvalue()
