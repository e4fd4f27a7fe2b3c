"""How long a hose assembly lasts, and how old it may be before its first day of use.

Guide values of DGUV Regel 113-020 (formerly BGR 237) and DIN 20066, read as quotations: six years from
assembly, storage inside it, of which at most two years in store; bulk hose at most four years old when the
assembly is made up. They are guides: the model's maker, or an assessment on record, may set others. The life
itself is an upkeep task that counts from assembly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.measures.times import add_months

if TYPE_CHECKING:
    from datetime import date

STORAGE_MONTHS = 24
BULK_MONTHS = 48


def storage_ends_on(assembled_on: date, storage_months: int | None) -> date:
    """The last day on which an assembly that was never out may go out for the first time."""
    return add_months(assembled_on, storage_months or STORAGE_MONTHS)


def bulk_too_old(bulk_made_on: date, assembled_on: date, bulk_months: int | None) -> bool:
    """Whether the bulk hose was past its age, or not made yet, on the day it was made up."""
    too_old = add_months(bulk_made_on, bulk_months or BULK_MONTHS) < assembled_on
    return too_old or bulk_made_on > assembled_on
