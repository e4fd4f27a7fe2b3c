"""The forms of how sure a figure is, and for how long."""

from __future__ import annotations

from fleet.pages.bench.fields import CHART_GROUP, POINTS, Calculation, Field, Group
from fleet.papers.bench import certainty, circuits, intervals, verdicts
from fleet.papers.bench.intervals import METHODS

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
        CHART_GROUP,
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
        "points": POINTS,
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
