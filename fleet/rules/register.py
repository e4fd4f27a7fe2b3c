"""What the register knows kinds of: heads of wrenches, roles of people, units of a site."""

from __future__ import annotations

from enum import StrEnum


class Head(StrEnum):
    """How a hydraulic wrench meets the nut."""

    SQUARE_DRIVE = "square drive"
    RATCHET_LINK = "ratchet link"


class Role(StrEnum):
    """What a person answers for at a site."""

    KEEPER = "keeper"
    PLANNER = "planner"
    SAFETY = "safety officer"


class PressureUnit(StrEnum):
    """Units in which a site reads its pump gauges."""

    PSI = "psi"
    BAR = "bar"
    MPA = "MPa"


class TorqueUnit(StrEnum):
    """Units in which a site reads its charts."""

    LBF_FT = "lbf·ft"
    NM = "N·m"
    KNM = "kN·m"
    KGF_M = "kgf·m"
