"""Photographs and other files as they are kept: by their digest, and those of an item."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, select

from fleet.lists.evidence_of_items import FILES_OF_ITEM
from fleet.lists.rows import lines
from fleet.records import (
    CalibrationRow,
    FileOfRow,
    InspectionRow,
    ItemRow,
    KeptFileRow,
    LoanLineRow,
    ProofTestRow,
    RepairRow,
)
from fleet.refusals import NotFound, Unreadable

if TYPE_CHECKING:
    from collections.abc import Collection

    from sqlalchemy.engine import Connection

FEWEST_FIGURES = 8
_PICTURES = ("image/jpeg", "image/png")


@dataclass(frozen=True, slots=True)
class KeptPhotograph:
    """One picture."""

    sha256: str
    media_type: str
    content: bytes


@dataclass(frozen=True, slots=True)
class PhotographOf:
    """One picture of an item, and what it was taken for."""

    sha256: str
    caption: str | None
    position: int | None
    inspection: int | None
    repair: int | None

    @property
    def shows(self) -> str:
        """What it shows, in a few words."""
        if self.inspection:
            return f"Inspection {self.inspection}" + (
                f", checkpoint {self.position}" if self.position else ""
            )
        return f"Repair {self.repair}" if self.repair else self.caption or "Return"


_KEPT = select(KeptFileRow.sha256, KeptFileRow.media_type, KeptFileRow.content)
_FOUND = _KEPT.where(
    KeptFileRow.sha256.startswith(bindparam("digest"), autoescape=False),
    KeptFileRow.media_type.in_(_PICTURES),
)
_ITEM = func.coalesce(
    InspectionRow.item_id,
    CalibrationRow.item_id,
    RepairRow.item_id,
    ProofTestRow.item_id,
    LoanLineRow.item_id,
)
_AT_SITES = (
    _KEPT.join(FileOfRow, FileOfRow.file_id == KeptFileRow.id)
    .outerjoin(InspectionRow, InspectionRow.id == FileOfRow.inspection_id)
    .outerjoin(CalibrationRow, CalibrationRow.id == FileOfRow.calibration_id)
    .outerjoin(RepairRow, RepairRow.id == FileOfRow.repair_id)
    .outerjoin(ProofTestRow, ProofTestRow.id == FileOfRow.proof_test_id)
    .outerjoin(LoanLineRow, LoanLineRow.id == FileOfRow.loan_line_id)
    .join(ItemRow, ItemRow.id == _ITEM)
    .where(KeptFileRow.sha256 == bindparam("digest"), ItemRow.site_id.in_(bindparam("sites", expanding=True)))
    .limit(1)
)
_OF_ITEM = (
    select(
        KeptFileRow.sha256,
        FileOfRow.caption,
        FileOfRow.position,
        FileOfRow.inspection_id,
        FileOfRow.repair_id,
    )
    .join(FileOfRow, FileOfRow.file_id == KeptFileRow.id)
    .where(
        FileOfRow.id.in_(FILES_OF_ITEM),
        FileOfRow.calibration_id.is_(None),
        KeptFileRow.media_type.in_(_PICTURES),
    )
    .order_by(FileOfRow.id.desc())
    .limit(bindparam("most"))
)


def find_photograph(db: Connection, asked: str) -> KeptPhotograph:
    """One photograph by its digest, of which the first eight figures will do when only one has them."""
    digest = asked.strip().casefold()
    if len(digest) < FEWEST_FIGURES or set(digest) - set("0123456789abcdef"):
        raise Unreadable(
            f"{asked!r} is no digest: give at least its first {FEWEST_FIGURES} figures, as shown by: "
            "fleet inspection show NUMBER"
        )
    found = lines(KeptPhotograph, db.execute(_FOUND.limit(2), {"digest": digest}))
    if len(found) != 1:
        how_many = "More than one photograph has" if found else "No photograph has"
        raise NotFound(f"{how_many} a digest that begins with {digest}.")
    return found[0]


def kept_file(db: Connection, digest: str, sites: Collection[int]) -> KeptPhotograph | None:
    """A kept file by its whole digest, if it belongs to an item of one of these sites."""
    asked = {"digest": digest, "sites": list(sites)}
    return next(iter(lines(KeptPhotograph, db.execute(_AT_SITES, asked))), None)


def photographs_of(db: Connection, item_id: int, *, most: int) -> list[PhotographOf]:
    """The newest photographs of an item; scans of its certificates stand with those."""
    return lines(PhotographOf, db.execute(_OF_ITEM, {"item": item_id, "most": most}))
