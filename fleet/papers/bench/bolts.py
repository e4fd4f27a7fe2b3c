"""Threads, tightening and the force at the reaction point."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.bolting import steels, threads, tightening
from fleet.bolting import torque as formulas
from fleet.bolting.figures import percent
from fleet.bolting.threads import across_flats_mm, read_thread, usual_nut
from fleet.bolting.tightening import NutFactor
from fleet.bolting.torque import (
    SCATTER_PERCENT_DRY,
    SCATTER_PERCENT_LUBRICATED,
    Area,
    Friction,
    bearing_diameter_mm,
    load_range_n,
    reaction_force_n,
)
from fleet.measures.quantities import Kind, read_measure
from fleet.papers.bench.answers import Answer, area, force, length, stress
from fleet.papers.bench.asked import about
from fleet.papers.bench.reading import grade_of, nut_of
from fleet.refusals import OffTheChart, Unreadable
from fleet.rules.cautions import FOR_RECORDS, FOR_TIGHTENING
from fleet.rules.words import one_of

if TYPE_CHECKING:
    from fleet.bolting.threads import Thread
    from fleet.bolting.tightening import Tightened
    from fleet.papers.bench.asked import Asked

SHORT_FORM = "short form T = K·d·F"
LONG_FORM = "long form of ISO 16047 and the torque appendix of ASME PCC-1 (from memory)"
AREAS = "areas by ASME B1.1 (inch) or ISO 898-1 (metric)"
YIELDS = "yield by ASTM A193/A320 or ISO 898-1, stepped by diameter"
LOADS = ("stress_percent", "preload", "bolt_stress", "torque")


def thread(asked: Asked) -> Answer:
    """Areas, pitch diameter and nut size of a thread."""
    designation, nut = asked.need("thread"), asked.text("nut")
    with about("thread"):
        found = read_thread(designation)
    flats: float | None = None
    try:
        flats, which = _nut(found, nut)
        usual = f"The {which} is the usual one for this thread; {asked.called('nut')} names another."
    except OffTheChart as refused:
        if nut:
            raise
        which, usual = "", str(refused)
    assumed = [] if nut else [usual]
    values = {
        "tensile_stress_area_mm2": threads.tensile_stress_area_mm2(found),
        "root_area_mm2": threads.root_area_mm2(found),
        "pitch_diameter_mm": threads.pitch_diameter_mm(found),
        "across_flats_mm": flats,
    }
    facts = {
        "Thread": found.designation,
        "Tensile stress area": area(values["tensile_stress_area_mm2"] or 0),
        "Root area": area(values["root_area_mm2"] or 0),
        "Pitch diameter": length(values["pitch_diameter_mm"]),
        "Across flats": length(flats) and f"{length(flats)}, {which}",
    }
    assumed.append("Basic dimensions: tolerances and coatings are not counted.")
    source = f"{AREAS}; pitch diameter ISO 724; nuts ASME B18.2.2, ISO 4032, DIN 934, ASME B18.2.4.6M"
    return Answer(values, facts, source, assumed, FOR_RECORDS)


def _nut(found: Thread, nut: str | None) -> tuple[float, str]:
    """The width across flats of a nut, in mm, by its series or as measured, and which nut that is."""
    with about("nut"):
        if nut and nut.strip()[:1].isdigit():
            width = read_measure(nut, Kind.LENGTH).base
            if width <= found.diameter_mm:
                raise Unreadable(f"A nut of {nut} across flats does not go over {found.designation}.")
            return width, "nut as measured"
        series = nut_of(nut) if nut else usual_nut(found)
        return across_flats_mm(found, series), f"{series} nut"


def _method(asked: Asked, found: Thread, nut: str | None) -> tuple[NutFactor | Friction, list[str], str]:
    """How load becomes torque, with what that assumes and where it is from."""
    by_factor = asked.only_one("the friction", "nut_factor", "friction") == "nut_factor"
    head = asked.number("head_friction")
    if by_factor:
        nut_factor = asked.need_number("nut_factor")
        if head is not None:
            raise asked.amiss(
                "head_friction",
                f"{asked.called('head_friction')} belongs to {asked.called('friction')}; "
                "a nut factor holds both.",
            )
        said = (
            f"K = {nut_factor:g}, as given: it belongs to one lubricant and batch (handbooks: 0.16 to 0.30)."
        )
        return NutFactor(nut_factor), [said], SHORT_FORM
    friction = asked.need_number("friction")
    under = friction if head is None else head
    if not (friction and 0 < friction < 1 and under and 0 < under < 1):
        raise asked.amiss("friction", "A coefficient of friction lies between 0 and 1, as in 0.12.")
    flats, which = _nut(found, nut)
    bearing = bearing_diameter_mm(found, flats)
    said = (
        f"Friction {friction:g} in the thread and {under:g} under the nut, which turns on a mean diameter of "
        f"{bearing:.4g} mm ({which}, {flats:.4g} mm across flats)."
    )
    return Friction(friction, under, bearing), [said], LONG_FORM


def _bolt(asked: Asked, found: Thread, by: NutFactor | Friction, area_of: Area) -> tuple[Tightened, str]:
    """The bolt under the load that was asked for in one of four ways, and that way in words."""
    grade = grade_given(asked)
    way = asked.only_one("the bolt load", *LOADS)
    if way == "stress_percent":
        share = asked.need_number(way)
        if grade is None:
            raise asked.amiss(
                "grade", f"A share of yield needs the bolt's {asked.called('grade')}, such as B7."
            )
        strength = steels.yield_strength_mpa(grade, found)
        load = formulas.load_at_yield_share_n(found, strength, share, area_of)
        said = f"The bolt load is {share:g} % of the yield strength of {grade}."
    elif way == "preload":
        load, said = asked.measure(way, "force"), f"The bolt load is {asked.text(way)}, as given."
    elif way == "bolt_stress":
        load = formulas.load_at_stress_n(found, asked.measure(way, "pressure"), area_of)
        said = f"The bolt stress is {asked.text(way)}, as given."
    else:
        load = tightening.load_for_torque_n(found, asked.measure(way, "torque"), by)
        said = f"The torque is {asked.text(way)}, as given; the bolt load is worked back from it."
    with about(way):
        bolt = tightening.tighten(found, load, by, area_of, grade)
    return bolt, f"{said} Stress is counted on the {area_of}."


def grade_given(asked: Asked) -> steels.Grade | None:
    """The grade of the bolt, where it was given."""
    text = asked.text("grade")
    if not text:
        return None
    with about("grade"):
        return grade_of(text)


def worked(asked: Asked, thread_text: str, nut: str | None) -> tuple[Tightened, list[str], str, str]:
    """The bolt, what was assumed, the source, and the thread's designation."""
    with about("thread"):
        found = read_thread(thread_text)
    by, assumed, form = _method(asked, found, nut)
    with about("on"):
        area_of = one_of(Area, asked.text("on") or "tensile", "kind of area")
    bolt, said = _bolt(asked, found, by, area_of)
    return bolt, [said, *assumed], f"{form}; {AREAS}; {YIELDS}", found.designation


def _scatter(bolt: Tightened) -> str:
    lubricated, dry = (
        " to ".join(force(one) for one in load_range_n(bolt.preload_n, share))
        for share in (SCATTER_PERCENT_LUBRICATED, SCATTER_PERCENT_DRY)
    )
    return f"{lubricated} lubricated; {dry} dry"


def torque(asked: Asked) -> Answer:
    """Torque from bolt load, or bolt load from torque, with the stress reached."""
    bolt, assumed, source, name = worked(asked, asked.need("thread"), asked.text("nut"))
    values = {
        "preload_n": bolt.preload_n,
        "torque_nm": bolt.torque_nm,
        "stress_mpa": bolt.stress_mpa,
        "yield_mpa": bolt.yield_mpa,
        "percent_of_yield": bolt.percent_of_yield,
    }
    share = bolt.percent_of_yield
    facts = {
        "Thread": name,
        "Bolt load": force(bolt.preload_n),
        "Torque": asked.units.target(bolt.torque_nm),
        "Bolt stress": stress(bolt.stress_mpa),
        "Least yield": stress(bolt.yield_mpa),
        "Share of yield": None if share is None else percent(share),
        "Load with scatter": _scatter(bolt),
    }
    return Answer(values, facts, source, assumed, FOR_TIGHTENING)


def reaction(asked: Asked) -> Answer:
    """The force with which the reaction arm bears on its point."""
    torque_nm, arm_mm = asked.measure("torque", "torque"), asked.measure("arm", "length")
    with about("arm"):
        newtons = reaction_force_n(torque_nm, arm_mm)
    assumed = ["The arm is measured square to the force, from the axis of the drive to where it bears."]
    source = "Statics: force = torque / arm"
    facts = {"Force at the point": force(newtons)}
    return Answer({"force_n": newtons}, facts, source, assumed, FOR_TIGHTENING[1:])
