"""Threads, tightening and the force at the reaction point."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.calc.answers import Answer, area, force, give, length, stress, torque
from fleet.commands.calc.reading import Torque, grade_of, measure, nut_of, only_one
from fleet.commands.printing import Json
from fleet.refusals import OffTheChart, Unreadable

if TYPE_CHECKING:
    from fleet.bolting.steels import Grade
    from fleet.bolting.threads import Thread
    from fleet.bolting.tightening import NutFactor, Tightened
    from fleet.bolting.torque import Area, Friction

ThreadText = Annotated[str, typer.Option("--thread", help='"1 1/2-8 UN", "M36", "M36x3".')]
GradeText = Annotated[str | None, typer.Option("--grade", help="B7, B16, L7, 8.8, 10.9 …")]
Percent = Annotated[float | None, typer.Option("--stress-percent", help="Bolt stress as a share of yield.")]
Preload = Annotated[str | None, typer.Option("--preload", help='Bolt load: "340 kN".')]
BoltStress = Annotated[str | None, typer.Option("--bolt-stress", help='"345 MPa", "50 ksi".')]
On = Annotated[str, typer.Option("--on", help="Stress is counted on: tensile or root area.")]
K = Annotated[float | None, typer.Option("--nut-factor", "-k", help="Nut factor K of the lubricant.")]
Mu = Annotated[float | None, typer.Option("--friction", help="Coefficient of friction in the thread.")]
HeadMu = Annotated[
    float | None, typer.Option("--head-friction", help="Under the nut; the thread's when left out.")
]
Nut = Annotated[
    str | None,
    typer.Option("--nut", help='heavy, regular, iso, din or asme-metric; or as measured: "2 3/8 in".'),
]

SHORT_FORM = "short form T = K·d·F"
LONG_FORM = "long form of ISO 16047 and the torque appendix of ASME PCC-1 (from memory)"
AREAS = "areas by ASME B1.1 (inch) or ISO 898-1 (metric)"
YIELDS = "yield by ASTM A193/A320 or ISO 898-1, stepped by diameter"


def register(calc: typer.Typer) -> None:
    """Put the commands of this module on the group."""
    for command in (thread, torque_command, reaction):
        calc.command(command.__name__.removesuffix("_command"))(command)


def thread(
    designation: Annotated[str, typer.Argument(metavar="THREAD", help='"1 1/2-8 UN", "M36x3".')],
    nut: Nut = None,
    *,
    as_json: Json = False,
) -> None:
    """Areas, pitch diameter and nut size of a thread."""
    from fleet.bolting import threads
    from fleet.rules.cautions import FOR_RECORDS

    found = threads.read_thread(designation)
    flats: float | None = None
    try:
        flats, which = _nut(found, nut)
        usual = f"The {which} is the usual one for this thread; --nut names another."
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
    give(Answer(values, facts, source, assumed, FOR_RECORDS), as_json=as_json)


def _nut(found: Thread, nut: str | None) -> tuple[float, str]:
    """The width across flats of a nut, in mm, by its series or as measured, and which nut that is."""
    from fleet.bolting.threads import across_flats_mm, usual_nut

    if nut and nut.strip()[:1].isdigit():
        width = measure(nut, "length")
        if width <= found.diameter_mm:
            raise Unreadable(f"A nut of {nut} across flats does not go over {found.designation}.")
        return width, "nut as measured"
    series = nut_of(nut) if nut else usual_nut(found)
    return across_flats_mm(found, series), f"{series} nut"


def _method(
    found: Thread, nut_factor: float | None, friction: float | None, head: float | None, nut: str | None
) -> tuple[NutFactor | Friction, list[str], str]:
    """How load becomes torque, with what that assumes and where it is from."""
    from fleet.bolting.tightening import NutFactor
    from fleet.bolting.torque import Friction, bearing_diameter_mm

    if only_one("the friction", nut_factor=nut_factor, friction=friction) == "nut_factor":
        if head is not None:
            raise Unreadable("--head-friction belongs to --friction; a nut factor holds both.")
        said = (
            f"K = {nut_factor:g}, as given: it belongs to one lubricant and batch (handbooks: 0.16 to 0.30)."
        )
        return NutFactor(nut_factor or 0.0), [said], SHORT_FORM
    under = friction if head is None else head
    if not (friction and 0 < friction < 1 and under and 0 < under < 1):
        raise Unreadable("A coefficient of friction lies between 0 and 1, as in 0.12.")
    flats, which = _nut(found, nut)
    bearing = bearing_diameter_mm(found, flats)
    said = (
        f"Friction {friction:g} in the thread and {under:g} under the nut, which turns on a mean diameter of "
        f"{bearing:.4g} mm ({which}, {flats:.4g} mm across flats)."
    )
    return Friction(friction, under, bearing), [said], LONG_FORM


def _bolt(
    found: Thread,
    by: NutFactor | Friction,
    area_of: Area,
    grade: Grade | None,
    asked: dict[str, str | float | None],
) -> tuple[Tightened, str]:
    """The bolt under the load that was asked for in one of four ways, and that way in words."""
    from fleet.bolting import steels, tightening
    from fleet.bolting import torque as formulas

    way = only_one("the bolt load", **asked)
    value = asked[way]
    if way == "stress_percent":
        if grade is None:
            raise Unreadable("A share of yield needs the bolt's --grade, such as B7.")
        strength = steels.yield_strength_mpa(grade, found)
        load = formulas.load_at_yield_share_n(found, strength, float(value or 0), area_of)
        said = f"The bolt load is {value:g} % of the yield strength of {grade}."
    elif way == "preload":
        load, said = measure(str(value), "force"), f"The bolt load is {value}, as given."
    elif way == "bolt_stress":
        load = formulas.load_at_stress_n(found, measure(str(value), "pressure"), area_of)
        said = f"The bolt stress is {value}, as given."
    else:
        load = tightening.load_for_torque_n(found, measure(str(value), "torque"), by)
        said = f"The torque is {value}, as given; the bolt load is worked back from it."
    return tightening.tighten(found, load, by, area_of, grade), f"{said} Stress is counted on the {area_of}."


def worked(
    thread_text: str,
    grade: str | None,
    on: str,
    friction: tuple[float | None, float | None, float | None, str | None],
    asked: dict[str, str | float | None],
) -> tuple[Tightened, list[str], str, str]:
    """The bolt, what was assumed, the source, and the thread's designation."""
    from fleet.bolting.threads import read_thread
    from fleet.bolting.torque import Area
    from fleet.commands.asking import one_of

    found = read_thread(thread_text)
    by, assumed, form = _method(found, *friction)
    area_of = one_of(Area, on, "kind of area")
    bolt, said = _bolt(found, by, area_of, grade_of(grade) if grade else None, asked)
    return bolt, [said, *assumed], f"{form}; {AREAS}; {YIELDS}", found.designation


def _scatter(bolt: Tightened) -> str:
    from fleet.bolting.torque import SCATTER_PERCENT_DRY, SCATTER_PERCENT_LUBRICATED, load_range_n

    lubricated, dry = (
        " to ".join(force(one) for one in load_range_n(bolt.preload_n, percent))
        for percent in (SCATTER_PERCENT_LUBRICATED, SCATTER_PERCENT_DRY)
    )
    return f"{lubricated} lubricated; {dry} dry"


def torque_command(
    *,
    thread: ThreadText,
    grade: GradeText = None,
    stress_percent: Percent = None,
    preload: Preload = None,
    bolt_stress: BoltStress = None,
    torque_given: Torque = None,
    on: On = "tensile",
    nut_factor: K = None,
    friction: Mu = None,
    head_friction: HeadMu = None,
    nut: Nut = None,
    as_json: Json = False,
) -> None:
    """Torque from bolt load, or bolt load from torque, with the stress reached."""
    from fleet.bolting.figures import percent
    from fleet.rules.cautions import FOR_TIGHTENING

    asked = {
        "stress_percent": stress_percent,
        "preload": preload,
        "bolt_stress": bolt_stress,
        "torque": torque_given,
    }
    bolt, assumed, source, name = worked(thread, grade, on, (nut_factor, friction, head_friction, nut), asked)
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
        "Torque": torque(bolt.torque_nm),
        "Bolt stress": stress(bolt.stress_mpa),
        "Least yield": stress(bolt.yield_mpa),
        "Share of yield": None if share is None else percent(share),
        "Load with scatter": _scatter(bolt),
    }
    give(Answer(values, facts, source, assumed, FOR_TIGHTENING), as_json=as_json)


def reaction(
    torque_given: Annotated[str, typer.Option("--torque", "-t", help='"9400 N·m".')],
    arm: Annotated[str, typer.Option("--arm", help='From the drive\'s axis to the point: "150 mm".')],
    *,
    as_json: Json = False,
) -> None:
    """The force with which the reaction arm bears on its point."""
    from fleet.bolting.torque import reaction_force_n
    from fleet.rules.cautions import FOR_TIGHTENING

    newtons = reaction_force_n(measure(torque_given, "torque"), measure(arm, "length"))
    assumed = ["The arm is measured square to the force, from the axis of the drive to where it bears."]
    source = "Statics: force = torque / arm"
    facts = {"Force at the point": force(newtons)}
    give(Answer({"force_n": newtons}, facts, source, assumed, FOR_TIGHTENING[1:]), as_json=as_json)
