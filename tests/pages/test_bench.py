"""The bench as pages: what the commands print, for whoever may see the gear, in their own units."""

from __future__ import annotations

import re
from html import unescape
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import pytest

from fleet.pages.bench.forms import CALCULATIONS
from tests.commands.bench import answered, calc
from tests.pages.ways.bench import JOINT, KIT, ON_RECORD

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from tests.pages.browsing import Browser, Page, Pages

COMMANDS = {"loosening": "loosen", "uncertainty": "budget", "line": "fit"}
POINTS = CALCULATIONS["chart"].example["points"]
STUD = {"thread": "1 1/2-8 UN", "grade": "B7"}
ASKED: list[tuple[str, dict[str, str]]] = [
    *((way, dict(one.example)) for way, one in CALCULATIONS.items() if one.example),
    *ON_RECORD.items(),
    ("thread", {"thread": "M100x6"}),
    ("torque", {**STUD, "preload": "340 kN", "friction": "0.12", "head_friction": "0.1", "on": "root"}),
    ("torque", {"thread": "M36", "torque": "1900 N·m", "nut_factor": "0.2"}),
    ("loosening", {"joint": JOINT, "nut_factor": "0.18", "factor": "2", "reason": "Painted over"}),
    ("chart", {"pressure": "6000 psi", "points": "Pressure,Torque\n700 bar,9400 N·m"}),
    ("passes", {"bolts": "8", "torque": "1000 N·m"}),
    (
        "strokes",
        {"bolts": "8", "turn_degrees": "90", "item": "20106-4", "flow": "2", "return_volume": "3 in³"},
    ),
    ("gauge", {"class": "B", "range": "15000 psi", "at": "1500 psi"}),
    (
        "uncertainty",
        {**CALCULATIONS["uncertainty"].example, "reading": "4090 N·m\n4110 N·m", "reference": "40 N·m"},
    ),
    (
        "verdict",
        {"reading": "-2.5 N·m", "lower": "-3 N·m", "uncertainty": "1 N·m", "k": "2", "guard": "0.83"},
    ),
    ("interval", {"interval": "52w", "method": "staircase", "shares": "40, -130"}),
    ("interval", {"interval": "365d", "method": "in-service-checking", "checks": "130"}),
    (
        "interval",
        {"interval": "365d", "method": "control-chart", "points": "day,error\n0,20\n365,20\n730,20"},
    ),
    (
        "interval",
        {"interval": "365d", "method": "in-use-time", "most_use": "1000", "used": "300", "over": "90d"},
    ),
]


def look(browser: Browser, way: str, fields: Mapping[str, str]) -> Page:
    return browser.get(f"/bench/{way}?{urlencode(fields)}")


def words(way: str, fields: Mapping[str, str], folder: Path) -> list[str]:
    """The same as it is typed."""
    found = [COMMANDS.get(way, way)]
    for name, text in fields.items():
        if name == "thread" and way == "thread":
            found.append(text)
        elif name == "points":
            path = folder / "points.csv"
            path.write_text(text, encoding="utf-8")
            found += ["--points", str(path)]
        elif name in ("items", "reading") and "\n" in text:
            found += [word for one in text.split("\n") for word in (f"--{name}", one)]
        else:
            found += [f"--{name.replace('_', '-')}={text}"]
    return found


def facts(page: Page) -> str:
    """What the page answers, as its first list of facts says it."""
    result = page.body.partition("<h2>Result</h2>")[2].partition("</dl>")[0]
    pairs = re.findall(r"<dt>(.*?)</dt><dd>(.*?)</dd>", result)
    assert pairs, page.text
    return " ".join(unescape(" ".join(pair)) for pair in pairs)


def tidy(text: str) -> str:
    return " ".join(text.split())


def named(way: str, sentence: str) -> str:
    """A sentence of a command as the page has it: a field is called by its label, a file by its field's."""
    labels = {f"--{one.name.replace('_', '-')}": f"“{one.label}”" for one in CALCULATIONS[way].fields}
    labels["points.csv"] = labels.get("--points", "")
    return re.sub(r"--[a-z-]+|points\.csv", lambda found: labels[found[0]], sentence)


@pytest.mark.parametrize(("way", "fields"), ASKED)
def test_a_page_answers_what_the_command_prints(
    demo: Pages, tmp_path: Path, way: str, fields: dict[str, str]
) -> None:
    typed = words(way, fields, tmp_path)
    database = demo.room.settings.database
    printed = calc(*typed, database=database)
    assert printed.exit_code == 0, printed.exception or printed.output
    page = look(demo.as_("keeper"), way, fields)
    assert page.status == 200, page.text
    found = facts(page)
    assert named(way, tidy(printed.stdout)).startswith(named(way, tidy(found)))
    figures = answered(*typed, database=database)
    for sentence in (*figures["assumptions"], figures["source"], *figures["cautions"]):
        assert tidy(named(way, sentence)) in page.text
    if way != "circuit":  # Its figures are in the units of the site there, and in both here.
        drawn = page.body.partition("Figures: ")[0]
        cells = " ".join(re.findall(r'<t[dh] (?:data-of|scope="row").*?>(.*?)</t[dh]>', drawn))
        assert set(re.findall(r"[0-9][0-9,.]*[0-9]", cells)) <= set(
            re.findall(r"[0-9][0-9,.]*[0-9]", printed.stdout)
        )
    assert "--" not in page.text


def test_the_circuit_shows_each_pressure_in_both_units(demo: Pages) -> None:
    page = look(demo.as_("keeper"), "circuit", {"items": KIT})
    assert "MAY NOT be put under pressure as it stands" in page.text
    # 10,000 psi is 689.5 bar rounded down, 700 bar 10,153 psi rounded up (NIST SP 811).
    assert "10,000 psi (689.4 bar)" in page.text
    assert "10,153 psi (700 bar)" in page.text
    assert "STOP: pump 20153-8 can put" in page.text


def test_figures_come_in_the_units_that_a_visitor_chose_with_the_others_beside(demo: Pages) -> None:
    kim = demo.as_("keeper")
    fields = {"torque": "4100 N·m", "points": POINTS}
    assert "300 bar (4,352 psi)" in look(kim, "chart", fields).text
    kim.get("/own")
    kim.post("/own/units", pressure="psi", torque="lbf·ft")
    page = look(kim, "chart", fields)
    assert "4,352 psi (300 bar)" in page.text
    assert "3,024 lbf·ft (4,100 N·m)" in page.text
    assert "Torque, lbf·ft over Pressure, psi." in page.text


# ASME B1.1 and B18.2.2; EN 837-1; ILAC-G8:09/2019, 4.2; JCGM 100 (GUM), H.3.
@pytest.mark.parametrize(
    ("way", "fields", "figure"),
    [
        ("thread", {"thread": "1½-8 UN", "nut": "heavy"}, "(1.492 in²)"),
        ("thread", {"thread": "1½-8 UN", "nut": "heavy"}, "(2.375 in), heavy nut"),
        ("gauge", {"class": "1.6", "range": "1000 bar", "at": "250 bar"}, "± 16 bar"),
        (
            "verdict",
            {"reading": "2050", "nominal": "2000", "lower": "1940", "upper": "2060", "uncertainty": "16"},
            "conditional pass",
        ),
        (
            "line",
            {
                "points": "reading,correction\n21.521,-0.171\n22.012,-0.169\n22.512,-0.166\n23.003,-0.159\n"
                "23.507,-0.164\n23.999,-0.165\n24.513,-0.156\n25.002,-0.157\n25.503,-0.159\n26.010,-0.161\n"
                "26.511,-0.160",
                "origin": "20",
                "at": "30",
            },
            "At 30 -0.149377, u 0.00414",
        ),
    ],
)
def test_published_values_come_out(demo: Pages, way: str, fields: dict[str, str], figure: str) -> None:
    assert figure in look(demo.as_("planner"), way, fields).text


def test_an_empty_page_says_what_it_is_for_and_leads_to_an_example(demo: Pages) -> None:
    kim = demo.as_("keeper")
    for way, one in CALCULATIONS.items():
        page = kim.get(f"/bench/{way}")
        assert page.status == 200
        assert one.lead in page.text
        assert "<h2>Result</h2>" not in page.body
        if not one.example:
            continue
        found = re.search(r'<a href="([^"]*)">An example, filled in', page.body)
        assert found
        example = kim.get(unescape(found[1]))
        assert example.status == 200
        shared = re.search(r'<a href="([^"]*)">The address of this result', example.body)
        assert shared
        assert unescape(shared[1]) == unescape(found[1])


@pytest.mark.parametrize(
    ("way", "fields", "about", "sentence"),
    [
        (
            "torque",
            {"thread": "M36"},
            "nut_factor",
            "Give the friction by one of “Nut factor” or “Friction in",
        ),
        ("torque", {"nut_factor": "0.2"}, "thread", "“Thread” is missing."),
        ("torque", {**STUD, "nut_factor": "nan"}, "nut_factor", "one plain number"),
        ("torque", {**STUD, "nut_factor": "0,2"}, "nut_factor", "write 0.2"),
        ("reaction", {"torque": "9400 bar", "arm": "1 m"}, "torque", "a torque was expected"),
        ("reaction", {"torque": "-5 N·m", "arm": "1 m"}, "torque", "below zero"),
        ("passes", {"bolts": "12.5", "torque": "5 N·m"}, "bolts", "write a whole number"),
        ("loosening", {**STUD, "factor": "2"}, "reason", "why this factor"),
        (
            "chart",
            {"torque": "5 N·m", "points": "a,b\n1,2"},
            "points",
            "“Chart points” has no column Pressure",
        ),
        ("chart", {"torque": "5 N·m", "item": "99999"}, "item", "99999"),
        ("chart", {"torque": "5 N·m", "model": "X-9"}, "model", "There is no model 'X-9'"),
        ("loosening", {"joint": "XX-1/F-1"}, "joint", "There is no job 'XX-1' at a site of yours."),
        ("thread", {"thread": "M36", "nut": "x" * 300}, "nut", "is too long"),
        ("thread", {"thread": "M36\x01"}, "thread", "holds signs that cannot be read"),
        ("circuit", {"items": "20106-4 " * 41}, "items", "at most 40"),
    ],
)
def test_what_cannot_be_worked_out_is_one_sentence_above_the_form_and_at_its_field(
    demo: Pages, way: str, fields: dict[str, str], about: str, sentence: str
) -> None:
    page = look(demo.as_("keeper"), way, fields)
    assert page.status == 422
    assert sentence in page.text
    assert "<title>Error: " in page.body
    marked = re.findall(r'<(?:input|textarea) id="([a-z_]+)"[^>]*aria-invalid="true"', page.body)
    assert marked == [about]
    for text in fields.values():
        if text.isprintable():
            assert text.strip() in unescape(page.body)


def test_hostile_text_is_shown_as_text(demo: Pages) -> None:
    kim = demo.as_("keeper")
    hostile = "<b>{{7*7}}</b>'\"><script>alert(1)</script>"
    for way, fields in (
        ("thread", {"thread": hostile}),
        ("loosening", {**CALCULATIONS["loosening"].example, "reason": hostile}),
        ("line", {"points": f"{hostile},y\n1,2\n2,3\n3,5"}),
    ):
        page = look(kim, way, fields)
        assert "<b>{{" not in page.body
        assert "<script>alert" not in page.body
        assert "49" not in page.text
        assert "{{7*7}}" in unescape(page.body)


def test_gear_of_another_site_is_not_there(demo: Pages) -> None:
    for way, fields in ON_RECORD.items():
        page = look(demo.as_("elsewhere"), way, fields)
        assert page.status == 422
        assert re.search("yours", page.text), page.text
        assert "<h2>Result</h2>" not in page.body
