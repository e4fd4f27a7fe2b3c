"""Photographs and certificates, kept as they were checked in and named by their digest."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, table

_OF_ONE = (
    " + ".join(
        f"CASE WHEN {name}_id IS NULL THEN 0 ELSE 1 END"
        for name in ("inspection", "calibration", "repair", "proof_test", "loan_line")
    )
    + " = 1"
)


class KeptFileRow(Base):
    """One file, once, whatever it belongs to. Append-only."""

    __tablename__ = "kept_file"
    __table_args__ = table(
        CheckConstraint(
            "media_type IN ('image/jpeg', 'image/png', 'application/pdf', 'application/xml', 'text/csv')",
            name="media_type_known",
        ),
    )

    id: Mapped[Key]
    sha256: Mapped[str] = mapped_column(unique=True)
    media_type: Mapped[str]
    content: Mapped[bytes]
    kept_at: Mapped[datetime]
    kept_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))


class FileOfRow(Base):
    """What a kept file shows or proves. Append-only."""

    __tablename__ = "file_of"
    __table_args__ = table(
        CheckConstraint(_OF_ONE, name="of_one_thing"),
        Index("ix_file_of_inspection", "inspection_id"),
        Index("ix_file_of_calibration", "calibration_id"),
    )

    id: Mapped[Key]
    file_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"))
    caption: Mapped[str | None]
    position: Mapped[int | None]
    inspection_id: Mapped[int | None] = mapped_column(ForeignKey("inspection.id"))
    calibration_id: Mapped[int | None] = mapped_column(ForeignKey("calibration.id"))
    repair_id: Mapped[int | None] = mapped_column(ForeignKey("repair.id"))
    proof_test_id: Mapped[int | None] = mapped_column(ForeignKey("proof_test.id"))
    loan_line_id: Mapped[int | None] = mapped_column(ForeignKey("loan_line.id"))
