"""The single serial-numbered pieces."""

from __future__ import annotations

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from fleet.records.base import Base, Key, table


class ItemRow(Base):
    """One piece of equipment. ``cycles`` and ``minutes`` always equal the sums of its usage ledger."""

    __tablename__ = "item"
    __table_args__ = table(
        UniqueConstraint("model_id", "serial"),
        CheckConstraint("cycles >= 0", name="cycles_not_negative"),
        CheckConstraint("minutes >= 0", name="minutes_not_negative"),
        CheckConstraint("(retired_on IS NULL) = (retired_reason IS NULL)", name="retired_for_a_reason"),
        Index("ix_item_site_model", "site_id", "model_id"),
        Index("ix_item_serial", "serial"),
        # A kit search streams what fits from the least strength that does, and stops when it has enough.
        Index(
            "ix_item_fit_strength",
            "site_id",
            "fit",
            "strength",
            "id",
            sqlite_where=text("retired_on IS NULL"),
            postgresql_where=text("retired_on IS NULL"),
        ),
    )

    id: Mapped[Key]
    tag: Mapped[str] = mapped_column(unique=True)
    model_id: Mapped[int] = mapped_column(ForeignKey("model.id"))
    serial: Mapped[str]
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id"))
    shelf: Mapped[str | None]
    assembled_on: Mapped[date | None]
    received_on: Mapped[date]
    # Pumps: the relief valve as set on this very pump.
    relief_advance_written: Mapped[str | None]
    relief_advance_mpa: Mapped[float | None]
    relief_retract_written: Mapped[str | None]
    relief_retract_mpa: Mapped[float | None]
    retired_on: Mapped[date | None]
    retired_reason: Mapped[str | None]
    # Hoses: when the bulk hose was made; and, of anything, when it first went out.
    bulk_made_on: Mapped[date | None]
    first_out_on: Mapped[date | None]
    # A projection for the kit search: what it fits, and how strong it is (N·m of a wrench, else MPa).
    fit: Mapped[str | None]
    strength: Mapped[float | None]
    cycles: Mapped[int]
    minutes: Mapped[int]
