"""The forms of wrench, pump and kit."""

from __future__ import annotations

from fleet.pages.bench.fields import CHART_GROUP, GAUGE_GROUP, POINTS, TORQUE_FIELD, Calculation, Field, Group
from fleet.papers.bench import charts, circuits, strokes

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
        CHART_GROUP,
        GAUGE_GROUP,
    ),
    {"torque": "4100 N·m", "points": POINTS, "graduation": "20 bar"},
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
                TORQUE_FIELD,
                Field("percents", "Passes, %", "Rising to 100; 30,60,100 when left out."),
            ),
        ),
        Group("Chart, for set pressures: one of these", CHART_GROUP.fields),
        GAUGE_GROUP,
    ),
    {
        "bolts": "12",
        "torque": "5000 N·m",
        "percents": "30,60,100",
        "points": POINTS,
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
                *CHART_GROUP.fields,
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
