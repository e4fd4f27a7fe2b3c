"""Everything on record about one item or one job, subject by subject, corrections and all.

A section is a heading, its columns, and rows of plain values (days, instants, numbers, text): the papers and
the sheets both print it. Nothing is left out: what was withdrawn or reversed stands beside what did so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import or_, select

from fleet.lists.evidence_of_items import FILES_OF_ITEM, OF_ITEM
from fleet.lists.evidence_of_jobs import OF_JOB, PROOFS_OF_JOB
from fleet.lists.rows import lines
from fleet.records import FileOfRow, KeptFileRow

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection


@dataclass(frozen=True, slots=True)
class Section:
    """One subject of an evidence pack. ``rows`` hold as many values as there are ``columns``."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A photograph, or a certificate as it was received, and what it belongs to."""

    sha256: str
    media_type: str
    content: bytes
    caption: str | None
    inspection: int | None
    certificate: int | None
    repair: int | None
    proof_test: int | None

    @property
    def shown_as(self) -> str:
        """What it is, in a few words."""
        owners = {
            "inspection": self.inspection,
            "certificate": self.certificate,
            "repair": self.repair,
            "proof test": self.proof_test,
        }
        owner = next((f"of {name} {number}" for name, number in owners.items() if number), "of a return")
        return f"{owner}: {self.caption}" if self.caption else owner


_FILES = (
    select(
        KeptFileRow.sha256,
        KeptFileRow.media_type,
        KeptFileRow.content,
        FileOfRow.caption,
        FileOfRow.inspection_id,
        FileOfRow.calibration_id,
        FileOfRow.repair_id,
        FileOfRow.proof_test_id,
    )
    .join(FileOfRow, FileOfRow.file_id == KeptFileRow.id)
    .order_by(FileOfRow.id)
)
_ITEM_FILES = _FILES.where(FileOfRow.id.in_(FILES_OF_ITEM))
_JOB_FILES = _FILES.where(
    or_(
        FileOfRow.inspection_id.in_(select(PROOFS_OF_JOB.c.inspection_id)),
        FileOfRow.calibration_id.in_(select(PROOFS_OF_JOB.c.calibration_id)),
        FileOfRow.proof_test_id.in_(select(PROOFS_OF_JOB.c.proof_test_id)),
    )
)


def item_files(db: Connection, item_id: int) -> list[KeptFile]:
    """Every file kept of an item, the oldest first."""
    return lines(KeptFile, db.execute(_ITEM_FILES, {"item": item_id}))


def job_files(db: Connection, job_id: int) -> list[KeptFile]:
    """Every file that proves what the items of a job went out on."""
    return lines(KeptFile, db.execute(_JOB_FILES, {"job": job_id}))


def item_evidence(db: Connection, item_id: int, tag: str) -> list[Section]:
    """The whole history of an item, in the order in which an auditor asks for it."""
    return _sections(db, OF_ITEM, {"item": item_id, "about": tag})


def job_evidence(db: Connection, job_id: int, code: str) -> list[Section]:
    """Everything that was used on a job, on what evidence, and what was decided about it since."""
    return _sections(db, OF_JOB, {"job": job_id, "about": code})


def _sections(db: Connection, questions: dict[str, Any], asked: dict[str, object]) -> list[Section]:
    found = []
    for title, statement in questions.items():
        result = db.execute(statement, asked)
        columns = tuple(name.replace("_", " ").capitalize() for name in result.keys())  # noqa: SIM118  A result.
        found.append(Section(title, columns, tuple(tuple(row) for row in result)))
    return found
