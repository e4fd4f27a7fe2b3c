"""What is typed into a form, read; and the figures of a page in the visitor's units and the other ones."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Annotated, TypeVar
from uuid import uuid4

from fastapi import Path

from fleet.bolting.figures import Units
from fleet.measures.times import read_day
from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from datetime import date
    from enum import StrEnum

    from fleet.lists.sites import SiteLine
    from fleet.pages.guard import Form

Word = TypeVar("Word", bound="StrEnum")

LARGEST = 2**31 - 1
# A number in an address; what no column can hold is no number of ours.
Number = Annotated[int, Path(ge=1, le=LARGEST)]
_ID = re.compile(r"[0-9a-f]{32}")


def request_id(form: Form) -> str:
    """The id that the form was given when it was drawn, so that sent twice it acts once."""
    given = form.get("id")
    return given if _ID.fullmatch(given) else uuid4().hex


def word(words: type[Word], asked: str, what: str) -> Word:
    """One of a closed list of words."""
    for one in words:
        if one.value == asked:
            return one
    raise Unreadable(f"Choose {what} from the list.")


def day(asked: str, otherwise: date) -> date:
    """A day as typed, or the other one when none was."""
    return read_day(asked) if asked else otherwise


def whole(asked: str, what: str) -> int:
    """A whole number from 0; blanks and commas between thousands do not count."""
    plain = asked.replace(",", "").replace(" ", "")
    if not (
        plain.isascii() and plain.isdigit() and len(plain) <= len(str(LARGEST)) and int(plain) <= LARGEST
    ):
        raise Unreadable(f"Write {what} as a whole number, such as 12.")
    return int(plain)


def figure(asked: str, what: str) -> float | None:
    """A number as typed, with or without a per cent sign; nothing when none was."""
    if not asked:
        return None
    try:
        found = float(asked.replace("%", "").strip())
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise Unreadable(f"Write {what} as a number, such as 3 or 2.5.")
    return found


def units_of(site: SiteLine) -> Units:
    """The units that the visitor reads."""
    return Units(site.pressure_unit, site.torque_unit)


def rating_both(written: str | None, mpa: float | None, units: Units) -> str:
    """A rating as it stands on the plate, and beside it in the units that it does not stand in there."""
    if written is None or mpa is None:
        return written or ""
    return _both(written, *(Units(pressure=unit).rating(mpa) for unit in (units.pressure, "bar", "psi")))


def setting_both(written: str | None, mpa: float | None, units: Units) -> str:
    """As ``rating_both``, for a pressure that is put on the parts."""
    if written is None or mpa is None:
        return written or ""
    return _both(written, *(Units(pressure=unit).setting(mpa) for unit in (units.pressure, "bar", "psi")))


def pressure_beside(written: str, mpa: float, units: Units) -> str:
    """A pressure on a chart in the units that it is not written in."""
    return _beside(written, *(Units(pressure=unit).reading(mpa) for unit in (units.pressure, "bar", "psi")))


def torque_beside(written: str, nm: float, units: Units) -> str:
    """A torque on a chart in the units that it is not written in."""
    return _beside(written, *(Units(torque=unit).target(nm) for unit in (units.torque, "N·m", "lbf·ft")))


def _both(written: str, *others: str) -> str:
    beside = _beside(written, *others)
    return f"{written} ({beside})" if beside else written


def _beside(written: str, *others: str) -> str:
    """Each other way of what was written, a unit once."""
    units, beside = set(written.split()), []
    for other in others:
        one = other.partition(" (")[0]
        unit = one.rpartition(" ")[2]
        if unit not in units:
            units.add(unit)
            beside.append(one)
    return ", ".join(beside)
