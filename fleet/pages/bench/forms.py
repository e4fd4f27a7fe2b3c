"""The forms of the bench: which fields each calculation has, what they are called, and an example.

A field bears the name that the calculation knows it by. Its label stands in sentences too, so it is short.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fleet.papers.bench import bolts, certainty, charts, circuits, intervals, loosening, strokes, verdicts
from fleet.papers.bench.intervals import METHODS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fleet.papers.bench.answers import Answer
    from fleet.papers.bench.asked import Asked


@dataclass(frozen=True, slots=True)
class Field:
    """One field: its name, its label, what stands under it, and what may be chosen or put into it."""

    name: str
    label: str
    hint: str = ""
    need: bool = False
    options: Sequence[tuple[str, str]] = ()
    many: bool = False
    """Several may be given, one in a line."""
    points: bool = False
    """A table of points."""
    scan: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that belong together."""

    title: str
    fields: Sequence[Field]


@dataclass(frozen=True, slots=True)
class Calculation:
    """One page of the bench."""

    way: str
    title: str
    lead: str
    answer: Callable[[Asked], Answer]
    groups: Sequence[Group]
    example: Mapping[str, str] = field(default_factory=dict)

    @property
    def fields(self) -> list[Field]:
        """All its fields."""
        return [one for group in self.groups for one in group.fields]


_POINTS = "Pressure (bar), Torque (N·m)\n100, 1350\n200, 2700\n400, 5500\n700, 9400"
_TORQUE = Field("torque", "Torque", "Like 1400 N·m or 1033 lbf·ft.", need=True)
_CHART = Group(
    "Chart: one of these",
    (
        Field(
            "item", "Wrench", "Tag of a wrench of yours; its own chart counts before its model's.", scan=True
        ),
        Field("model", "Model", "Designation of a model in the register."),
        Field(
            "points",
            "Chart points",
            "A line of headings, then a pressure and a torque in each line, lowest first.",
            points=True,
        ),
    ),
)
_GAUGE = Group(
    "Gauge, if it is to be rounded to what one shows",
    (
        Field("gauge", "Gauge", "Tag of a gauge of yours.", scan=True),
        Field(
            "graduation", "Graduation", "What the gauge can show: 20 bar, 200 psi. Goes before the register."
        ),
    ),
)
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
    (Group("Bolt", (_THREAD, _GRADE, _NUT, _AREA)), Group("Bolt load: one of these", _LOADS), _FRICTION),
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
            (_TORQUE, Field("arm", "Arm", "From the drive's axis to the point, like 150 mm.", need=True)),
        ),
    ),
    {"torque": "9400 N·m", "arm": "150 mm"},
)
CHART = Calculation(
    "chart",
    "Set pressure",
    "Pressure for a torque, or torque at a pressure, from a pressure-torque chart.",
    charts.chart,
    (
        Group(
            "What is known: one of these",
            (Field("torque", "Torque", "Like 4100 N·m."), Field("pressure", "Pressure", "Like 420 bar.")),
        ),
        _CHART,
        _GAUGE,
    ),
    {"torque": "4100 N·m", "points": _POINTS, "graduation": "20 bar"},
)
PASSES = Calculation(
    "passes",
    "Passes",
    "Order, torque and set pressure of each pass round a flange, and the round at the end.",
    charts.passes,
    (
        Group(
            "Flange",
            (
                Field("bolts", "Bolts", "How many, 3 to 200.", need=True),
                _TORQUE,
                Field("percents", "Passes, %", "Rising to 100; 30,60,100 when left out."),
            ),
        ),
        Group("Chart, for set pressures: one of these", _CHART.fields),
        _GAUGE,
    ),
    {
        "bolts": "12",
        "torque": "5000 N·m",
        "percents": "30,60,100",
        "points": _POINTS,
        "graduation": "20 bar",
    },
)
STROKES = Calculation(
    "strokes",
    "Strokes and pumping time",
    "Strokes and pumping time per nut and for a job. What is given goes before what is on record.",
    strokes.strokes,
    (
        Group(
            "Job",
            (
                Field("bolts", "Nuts", "How many.", need=True),
                Field(
                    "turn_degrees",
                    "Turn of a nut, °",
                    "What one nut is turned in a pass, like 90.",
                    need=True,
                ),
                Field("passes", "Number of passes", "1 when left out."),
            ),
        ),
        Group(
            "Wrench",
            (
                *_CHART.fields,
                Field("torque", "Torque", "At which the oil is estimated from the chart."),
                Field("turn_per_stroke", "Turn of a stroke, °", "Like 25."),
                Field("stroke_volume", "Oil out", "Of one advance stroke: 60, in cm³, or 4 in³."),
                Field("return_volume", "Oil back", "Of one return stroke."),
            ),
        ),
        Group(
            "Pump",
            (
                Field("pump", "Pump", "Tag of a pump of yours.", scan=True),
                Field("flow", "Flow", "At working pressure: 0.9, in L/min, or 55 in³/min."),
            ),
        ),
    ),
    {
        "bolts": "8",
        "turn_degrees": "90",
        "turn_per_stroke": "25",
        "stroke_volume": "20 cm³",
        "flow": "1 L/min",
    },
)
CIRCUIT = Calculation(
    "circuit",
    "Circuit",
    "Do these items fit each other, and what may each line stand: part by part. Needs items of the register.",
    circuits.circuit,
    (
        Group(
            "Kit",
            (
                Field(
                    "items",
                    "Items",
                    "Tags of items of yours, one in a line.",
                    need=True,
                    many=True,
                    scan=True,
                ),
                Field("pressure", "Pressure", "Where the gauge will be read, like 350 bar."),
            ),
        ),
    ),
)
GAUGE = Calculation(
    "gauge",
    "Error of a gauge",
    "How far a gauge may be off at a reading, by its class or grade.",
    circuits.gauge,
    (
        Group(
            "Gauge",
            (
                Field("class", "Class or grade", "EN 837-1 class or ASME grade: 1.6, 2A, B.", need=True),
                Field("range", "End of the scale", "Like 1000 bar.", need=True),
                Field("at", "Read at", "Like 250 bar.", need=True),
            ),
        ),
    ),
    {"class": "1.6", "range": "1000 bar", "at": "250 bar"},
)
UNCERTAINTY = Calculation(
    "uncertainty",
    "Uncertainty of a torque",
    "Uncertainty of a torque set as a pressure: every share of it, against the joint's tolerance.",
    certainty.budget,
    (
        Group(
            "Joint",
            (
                Field(
                    "joint", "Planned joint", "Job and mark, like NB-142/F-1, for its torque and tolerance."
                ),
                Field("torque", "Torque", "Like 4100 N·m. Goes before that of the joint."),
                Field("tolerance", "Tolerance, ± %", "What the joint allows, like 5."),
            ),
        ),
        _CHART,
        Group(
            "Gauge: its tag, or its figures",
            (
                Field("gauge", "Gauge", "Tag of a gauge of yours.", scan=True),
                Field("class", "Class or grade", "1.6, 2A, B."),
                Field("range", "End of the scale", "Like 1000 bar."),
                Field("graduation", "Graduation", "What the gauge can show, like 20 bar."),
            ),
        ),
        Group(
            "Wrench on the test bench",
            (
                Field("wrench_accuracy", "Accuracy of the wrench, ± %", "That of its certificate."),
                Field("reference", "Uncertainty of the reference", "Expanded (k = 2), a torque like 40 N·m."),
                Field("reading", "Repeated readings", "Of one torque, one in a line.", many=True),
            ),
        ),
    ),
    {
        "torque": "4100 N·m",
        "tolerance": "5",
        "points": _POINTS,
        "class": "1.6",
        "range": "1000 bar",
        "graduation": "20 bar",
    },
)
LINE = Calculation(
    "line",
    "Straight line",
    "A straight line by least squares, with the uncertainty of its figures and of what is read off it.",
    certainty.fit,
    (
        Group(
            "Points",
            (
                Field(
                    "points",
                    "Points",
                    "A line of headings, then x and y in each line.",
                    need=True,
                    points=True,
                ),
                Field("at", "Read at", "Where the line is read, like 30."),
                Field("origin", "Intercept at", "Where the intercept stands; 0 when left out."),
            ),
        ),
    ),
    {"points": "set, found\n100, 101.2\n200, 201.9\n300, 302.8\n400, 403.1", "at": "250"},
)
VERDICT = Calculation(
    "verdict",
    "Verdict on a reading",
    "Pass or fail by a decision rule, with the acceptance limits and the probability of conformance.",
    verdicts.verdict,
    (
        Group(
            "Reading",
            (
                Field("reading", "Reading", "What was measured; with a unit if all have one.", need=True),
                Field("uncertainty", "Expanded uncertainty", "U of the reading."),
                Field("k", "Coverage factor", "Of U; 2 when left out."),
            ),
        ),
        Group(
            "Limits",
            (
                Field("nominal", "Nominal", "What it should be."),
                Field("lower", "Lower limit", "Of the tolerance."),
                Field("upper", "Upper limit", "Of the tolerance."),
                Field(
                    "guard",
                    "Guard band",
                    options=(("1", "U"), ("0.83", "0.83 U"), ("0", "none: simple acceptance")),
                ),
            ),
        ),
    ),
    {
        "reading": "2031",
        "uncertainty": "16",
        "nominal": "2000",
        "lower": "1940",
        "upper": "2060",
        "guard": "1",
    },
)
INTERVAL = Calculation(
    "interval",
    "Calibration interval",
    "Propose a calibration interval by a published method, with the evidence. Changes nothing.",
    intervals.interval,
    (
        Group(
            "Now",
            (
                Field("interval", "Interval now", "365d or 52w.", need=True),
                Field("method", "Method", options=[(name, name.replace("-", " ")) for name in METHODS]),
            ),
        ),
        Group(
            "Counts, for the test and the staircase",
            (
                Field("in_tolerance", "Found good", "How many were found within tolerance …"),
                Field("of", "Of how many", "… of how many."),
                Field("target", "Target share", "Share that is wanted, like 0.90."),
                Field("confidence", "Confidence", "At which the evidence decides; 0.95 when left out."),
            ),
        ),
        Group(
            "Results, for the staircase, the control chart and the checks",
            (
                Field("shares", "Errors as found", "In % of tolerance, oldest first: 40,65."),
                Field("checks", "In-service checks", "In % of the check limit, oldest first: 20,35."),
                Field(
                    "points", "Days and errors", "A line of headings, then days and error in %.", points=True
                ),
            ),
        ),
        Group(
            "Use, for the in-use time",
            (
                Field("most_use", "Most use", "The limit."),
                Field("used", "Counted use", "So much …"),
                Field("over", "Over how long", "… in that time: 90d."),
            ),
        ),
        Group(
            "The room's policy",
            (
                Field("lengthen", "Step up, %", "25 when left out."),
                Field("shorten", "Step down, %", "50 when left out."),
                Field("good", "Good up to, %", "Of the tolerance; 80 when left out."),
                Field("good_results", "Good results in a row", "That lengthen; 1 when left out."),
                Field("shortest", "Shortest", "30d when left out."),
                Field("longest", "Longest", "1095d when left out."),
            ),
        ),
    ),
    {"interval": "365d", "method": "test", "in_tolerance": "27", "of": "30", "target": "0.9"},
)

SECTIONS: Sequence[tuple[str, Sequence[Calculation]]] = (
    ("Bolt and nut", (THREAD, TORQUE, LOOSENING, REACTION)),
    ("Wrench and pump", (CHART, PASSES, STROKES, CIRCUIT)),
    ("How sure is it", (GAUGE, UNCERTAINTY, LINE, VERDICT, INTERVAL)),
)
CALCULATIONS: Mapping[str, Calculation] = {one.way: one for _, some in SECTIONS for one in some}
