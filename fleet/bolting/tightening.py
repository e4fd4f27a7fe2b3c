"""One bolt tightened and turned back again: load, torque, stress and share of yield together.

The torque comes from a nut factor (short form) or from friction and geometry (long form); see ``torque``.
"""

from dataclasses import dataclass

from fleet.bolting.figures import known
from fleet.bolting.steels import Grade, yield_strength_mpa
from fleet.bolting.threads import Thread
from fleet.bolting.torque import (
    Area,
    Friction,
    short_form_load_n,
    short_form_torque_nm,
    stress_mpa,
    tightening_load_n,
    tightening_torque_nm,
    turned_back_nm,
    yield_share_percent,
)
from fleet.refusals import Unreadable


@dataclass(frozen=True, slots=True)
class NutFactor:
    """The nut factor K of the short form, as the lubricant's maker or a test gives it."""

    value: float


@dataclass(frozen=True, slots=True)
class Tightened:
    """One bolt under load; yield strength and its share are None without a grade."""

    preload_n: float
    torque_nm: float
    loosening_clean_nm: float
    """What turns a clean nut back, by thread mechanics."""
    stress_mpa: float
    yield_mpa: float | None
    percent_of_yield: float | None

    @property
    def clean_ratio(self) -> float:
        """Loosening over tightening torque of a clean nut."""
        return self.loosening_clean_nm / self.torque_nm


def tighten(
    thread: Thread, preload_n: float, by: NutFactor | Friction, area: Area, grade: Grade | None = None
) -> Tightened:
    """Give the torque and the stress of a bolt load; raises ``Unreadable`` beyond the grade's yield."""
    if not known(preload_n):
        raise Unreadable("The bolt load must be above zero.")
    torque_nm = (
        short_form_torque_nm(by.value, thread, preload_n)
        if isinstance(by, NutFactor)
        else tightening_torque_nm(thread, preload_n, by)
    )
    yield_mpa = yield_strength_mpa(grade, thread) if grade else None
    return Tightened(
        preload_n=preload_n,
        torque_nm=torque_nm,
        loosening_clean_nm=turned_back_nm(thread, preload_n, torque_nm),
        stress_mpa=stress_mpa(thread, preload_n, area),
        yield_mpa=yield_mpa,
        percent_of_yield=yield_share_percent(thread, yield_mpa, preload_n, area) if yield_mpa else None,
    )


def load_for_torque_n(thread: Thread, torque_nm: float, by: NutFactor | Friction) -> float:
    """Give the bolt load that a torque brings; raises ``Unreadable`` for a torque that is not above zero."""
    if not known(torque_nm):
        raise Unreadable("The torque must be above zero.")
    if isinstance(by, NutFactor):
        return short_form_load_n(by.value, thread, torque_nm)
    return tightening_load_n(thread, torque_nm, by)
