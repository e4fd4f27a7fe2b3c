"""The bench: every calculation empty, filled in, and refused; what it looks up is the visitor's own."""

from urllib.parse import urlencode

from fleet.pages.bench.asking import link
from fleet.pages.bench.forms import CALCULATIONS
from tests.pages.ways import page

KIT = "20106-4\n20153-8\n20179-8\n20220-7"
JOINT = "NB-144/12 in flanges, class 300"
# What the demo's register has at NORTH.
ON_RECORD = {
    "circuit": {"items": KIT, "pressure": "300 bar"},
    "chart": {"torque": "1000 N·m", "item": "20106-4", "gauge": "20220-7"},
    "strokes": {"bolts": "8", "turn_degrees": "90", "item": "20106-4", "pump": "20153-8"},
    "loosening": {"joint": JOINT, "nut_factor": "0.2"},
    "uncertainty": {"torque": "1000 N·m", "tolerance": "9", "item": "20106-4", "gauge": "20220-7"},
}
REFUSED = {
    "thread": {"thread": "<b>{{7*7}}</b>"},
    "reaction": {"torque": "9400 bar", "arm": "150 mm"},
    "chart": {"torque": "99000 N·m", "points": CALCULATIONS["chart"].example["points"]},
    "interval": {"interval": "365d", "method": "staircase"},
    "uncertainty": {"torque": "much " * 30},
}


def _own(way: str) -> str:
    return f"/bench/{way}?{urlencode(ON_RECORD[way])}"


WAYS = (
    page("/bench"),
    page("/bench/nothing", 404),
    *(page(link(one, {})) for one in CALCULATIONS.values()),
    *(page(link(one, one.example)) for one in CALCULATIONS.values() if one.example),
    *(page(_own(way), elsewhere=422, roleless=422) for way in ON_RECORD),
    *(page(f"/bench/{way}?{urlencode(fields)}", 422) for way, fields in REFUSED.items()),
)
