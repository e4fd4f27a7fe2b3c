"""The forms of bolt and nut."""

from __future__ import annotations

from fleet.pages.bench.fields import TORQUE_FIELD, Calculation, Field, Group
from fleet.papers.bench import bolts, loosening

_THREAD = Field("thread", "Thread", "Like 1 1/2-8 UN, M36 or M36x3.", need=True)
_NUT = Field("nut", "Nut", "heavy, regular, iso, din or asme-metric; or as measured, 2 3/8 in.")
_GRADE = Field("grade", "Grade", "B7, B16, L7, 8.8, 10.9 …")
_AREA = Field(
    "on", "Stress is counted on", options=(("tensile", "tensile stress area"), ("root", "root area"))
)
_LOADS = (
    Field("stress_percent", "Share of yield, %", "Like 50; needs the grade."),
    Field("preload", "Bolt load", "Like 340 kN."),
    Field("bolt_stress", "Bolt stress", "Like 345 MPa or 50 ksi."),
    Field("torque", "Torque", "Like 1900 N·m; the bolt load is worked back from it."),
)
_FRICTION = Group(
    "Friction: a nut factor, or coefficients",
    (
        Field("nut_factor", "Nut factor", "K of the lubricant, like 0.2."),
        Field("friction", "Friction in the thread", "Like 0.12."),
        Field("head_friction", "Friction under the nut", "That of the thread when left out."),
    ),
)
_STUD = {"thread": "1 1/2-8 UN", "grade": "B7", "stress_percent": "50", "nut_factor": "0.2"}

THREAD = Calculation(
    "thread",
    "Thread",
    "Areas, pitch diameter and nut size of a thread.",
    bolts.thread,
    (Group("Thread", (_THREAD, _NUT)),),
    {"thread": "1 1/2-8 UN", "nut": "heavy"},
)
TORQUE = Calculation(
    "torque",
    "Torque and bolt load",
    "Torque from bolt load, or bolt load from torque, with the stress reached and how the load may scatter.",
    bolts.torque,
    (
        Group("Bolt", (_THREAD, _GRADE, _NUT, _AREA)),
        Group("Bolt load: one of these", _LOADS),
        _FRICTION,
    ),
    _STUD,
)
LOOSENING = Calculation(
    "loosening",
    "Loosening torque",
    "What a nut may take to come off: clean by thread mechanics, and with a factor and its reason.",
    loosening.loosen,
    (
        Group(
            "Joint",
            (
                Field(
                    "joint",
                    "Planned joint",
                    "Job and mark, like NB-142/F-1. What is given below goes before it.",
                ),
                Field("thread", "Thread", "Like 1 1/2-8 UN, M36 or M36x3."),
                _GRADE,
                _NUT,
                _AREA,
            ),
        ),
        Group(
            "Loosening",
            (
                Field(
                    "factor",
                    "Loosening factor",
                    "Loosening over tightening torque, like 1.8. Else as measured.",
                ),
                Field("reason", "Reason", "Why this factor, in a sentence."),
            ),
        ),
        Group("Tightened to: one of these", _LOADS),
        _FRICTION,
    ),
    {**_STUD, "factor": "1.8", "reason": "Rusted studs, four years in salt air"},
)
REACTION = Calculation(
    "reaction",
    "Reaction force",
    "The force with which the reaction arm bears on its point.",
    bolts.reaction,
    (
        Group(
            "Wrench",
            (
                TORQUE_FIELD,
                Field("arm", "Arm", "From the drive's axis to the point, like 150 mm.", need=True),
            ),
        ),
    ),
    {"torque": "9400 N·m", "arm": "150 mm"},
)
