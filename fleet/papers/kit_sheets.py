"""The kit sheet: what a crew takes along to one joint. One that may not be used says only that, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleet.bolting.figures import off, percent
from fleet.bolting.findings import Severity
from fleet.bolting.parts import Kind
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.papers.cells import cell
from fleet.papers.pressing import press
from fleet.rules.cautions import FOR_A_KIT
from fleet.rules.kit_figures import kit_figures, say_force
from fleet.rules.sockets import in_both

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fleet.bolting.circuits import Connection
    from fleet.bolting.parts import Line, Part
    from fleet.lists.kit_sheets import KitSheet, SetPass, SheetItem
    from fleet.papers.evidence import Printed

# What somebody could set a pump by, or take for leave to: not on the sheet of a kit that may not be used.
_LEFT_OUT = ("Set pressure", "Set on the gauge", "The kit can give", "Cover")
_PASSES = ("Pass", "Share", "Torque", "Set pressure", "On the gauge", "It really gives", "Order")


def kit_paper(sheet: KitSheet, printed: Printed, sources: Sequence[str]) -> bytes:
    """The PDF of a kit sheet."""
    return press("kit.typ", kit_content(sheet, printed, sources))


def kit_content(sheet: KitSheet, printed: Printed, sources: Sequence[str]) -> dict[str, Any]:
    """What stands on a kit sheet, as words: for the paper and for the page."""
    usable = sheet.check.usable
    return {
        "title": f"Kit sheet: {sheet.job.code}, {sheet.joint.mark}",
        "lead": _lead(sheet),
        "usable": usable,
        "stops": [] if usable else _stops(sheet),
        "sections": [_items(sheet, printed)],
        "chains": [_chain(sheet, line) for line in sheet.check.kit.circuit.ratings],
        "chained": "Connections, from the pump",
        "facts": [{"title": "Torque", "rows": _figures(sheet)}],
        "passes": _pass_table(sheet),
        "notes": _notes(sheet),
        "sources": list(sources),
        "cautions": list(FOR_A_KIT),
        "foot": printed.foot,
    }


def _lead(sheet: KitSheet) -> str:
    joint = sheet.joint
    bolts = f"{joint.bolts} bolts" + (f" {joint.thread}" if joint.thread else "")
    flats = f", {in_both(joint.across_flats_mm)} across flats" if joint.across_flats_mm else ""
    days = f"{show_day(sheet.first_day)} to {show_day(sheet.last_day)}"
    return (
        f"{sheet.job.name}, {sheet.site_name}, {days}. Joint {joint.mark}: {bolts}{flats}. "
        "As it stands on record when printed; ask the register before use."
    )


def _stops(sheet: KitSheet) -> list[str]:
    """Every reason why the kit may not be used as it stands."""
    kit = [one.sentence for one in sheet.check.kit.findings if one.severity is not Severity.NOTE]
    items = [
        f"{show_tag(verdict.tag)}: {finding.sentence}"
        for verdict in sheet.check.items
        for finding in verdict.findings
        if finding.severity is not Severity.NOTE
    ]
    return [*kit, *items]


def _notes(sheet: KitSheet) -> list[str]:
    """What speaks against nothing and is good to know; that an item is out for this job is no news."""
    kit = [one.sentence for one in sheet.check.kit.findings if one.severity is Severity.NOTE]
    items = [
        f"{show_tag(verdict.tag)}: {finding.sentence}"
        for verdict in sheet.check.items
        for finding in verdict.findings
        if finding.severity is Severity.NOTE and finding.code != "out"
    ]
    return [*kit, *items]


def _items(sheet: KitSheet, printed: Printed) -> dict[str, Any]:
    rows = [
        [
            cell(word, printed.there)
            for word in (one.kind, show_tag(one.tag), one.model, one.serial, _due(one))
        ]
        for one in sheet.items
    ]
    columns = ["What", "Tag", "Model", "Serial", "Next due"]
    return {"title": "Items", "columns": columns, "shares": [9, 10, 22, 16, 32], "rows": rows}


def _due(item: SheetItem) -> str:
    due = item.due
    if due is None:
        return "nothing"
    if due.never:
        return f"{due.task}: never done"
    about = "about " if due.use else ""
    inside = ", INSIDE THE JOB" if due.inside else ""
    return f"{due.task} {about}{show_day(due.on)}{inside}"


def _figures(sheet: KitSheet) -> list[list[str]]:
    """The figures of the kit check, and what a sheet shows besides."""
    usable = sheet.check.usable
    figures = dict(kit_figures(sheet.check.kit, sheet.asked, sheet.units))
    if not usable:
        figures = {name: value for name, value in figures.items() if name not in _LEFT_OUT}
    if sheet.asked.tolerance_percent is not None:
        figures["The joint allows"] = f"± {sheet.asked.tolerance_percent:g} %"
    if usable:
        figures["Uncertainty of the torque"] = _uncertainty(sheet)
    figures["Wrench calibrated with"] = _paired(sheet)
    figures["Force at the reaction point"] = _reaction(sheet)
    return [[name, value] for name, value in figures.items() if value]


def _uncertainty(sheet: KitSheet) -> str:
    found = sheet.uncertainty
    if found is None:
        return "not known: the class, range or graduation of the gauge is not on record"
    held = {True: ", within what the joint allows", False: ", OVER what the joint allows", None: ""}
    return (
        f"± {sheet.units.needed(found.budget.expanded)}, {percent(found.expanded_percent)} (95 %)"
        f"{held[found.within_tolerance]}; the wrench taken as within ±{sheet.wrench_percent:g} %"
    )


def _paired(sheet: KitSheet) -> str:
    if sheet.paired is None:
        return "no gauge on record"
    gauges = [piece.part.label for piece in sheet.pieces if piece.kind == Kind.GAUGE]
    return f"{sheet.paired}, {'which is in this kit' if sheet.paired in gauges else 'NOT in this kit'}"


def _reaction(sheet: KitSheet) -> str:
    found = sheet.reaction
    if found is None:
        return "not known: the reaction arm of the wrench is not on record"
    # The point has to bear what the kit can give, not only what it is meant to.
    at_most = found.at_most_n if sheet.check.usable else None
    most = f", {say_force(at_most)} at the most the kit can give" if at_most else ""
    return f"{say_force(found.at_target_n)} at the target torque{most}; arm {found.arm_mm:.4g} mm"


def _chain(sheet: KitSheet, line: Line) -> dict[str, Any]:
    """One line as boxes and links: the gauge on the pump first, then from the pump to the wrench."""
    circuit, rating = sheet.check.kit.circuit, sheet.check.kit.circuit.ratings[line]
    by_label = {piece.part.label: piece for piece in sheet.pieces}
    on_line = [by_label[label] for label in circuit.order if by_label[label].part.on(line)]
    # The gauges hang on the pump: they stand above it, the chain below.
    ordered = [one for one in on_line if one.kind == Kind.GAUGE]
    ordered += [one for one in on_line if one.kind != Kind.GAUGE]
    links = {
        frozenset((one.from_label, one.to_label)): one for one in circuit.connections if one.line is line
    }
    boxes = []
    for at, piece in enumerate(ordered):
        label = piece.part.label
        following = ordered[at + 1].part.label if at + 1 < len(ordered) else None
        link = links.get(frozenset((label, following))) if following else None
        boxes.append(
            {
                "label": label[:1].upper() + label[1:],
                "model": piece.model,
                "rated": _rated(sheet, piece.part, line),
                "limits": label == rating.limited_by,
                "link": _coupled(link, label) if link else "",
                "fits": link.fits if link else True,
                "followed": following is not None,
            }
        )
    working = sheet.units.rating(rating.working_mpa) or "unknown"
    relief = sheet.units.setting(rating.relief_mpa) or "unknown"
    return {
        "title": f"{line.capitalize()} line",
        "said": f"Rated {working}, limited by {rating.limited_by}. Relief valve: {relief}.",
        "boxes": boxes,
    }


def _coupled(link: Connection, above: str) -> str:
    """The two halves, that of the upper box first."""
    ports = (link.from_port, link.to_port)
    upper, lower = ports if link.from_label == above else reversed(ports)
    return f"{upper or 'none'} to {lower or 'none'}"


def _rated(sheet: KitSheet, part: Part, line: Line) -> str:
    if part.kind is Kind.GAUGE:
        return f"range {sheet.units.rating(part.gauge_range_mpa) or 'not on record'}"
    return f"stands {sheet.units.rating(part.mwp_mpa.get(line)) or 'what is not on record'}"


def _pass_table(sheet: KitSheet) -> dict[str, Any]:
    """Every pass; for a kit that may not be used there are none."""
    rows = [_pass_row(sheet, one) for one in sheet.passes]
    return {
        "columns": list(_PASSES),
        "rows": rows,
        "refused": sheet.no_passes or "",
        "orders": list(_orders(sheet)),
    }


def _pass_row(sheet: KitSheet, one: SetPass) -> list[str]:
    units, plan, setting = sheet.units, one.plan, one.setting
    return [
        str(plan.number),
        f"{plan.percent:g} %",
        units.target(plan.torque_nm),
        units.setting(plan.reading.pressure_mpa) if plan.reading else "below the chart",
        units.reading(setting.pressure_mpa) if setting else "none near it",
        f"{units.target(setting.torque_nm)} ({off(setting.torque_nm, plan.torque_nm)})" if setting else "",
        "round" if plan.circular else "cross",
    ]


def _orders(sheet: KitSheet) -> Iterator[str]:
    if not sheet.passes:
        return
    first = sheet.passes[0].plan
    yield f"Cross order, bolts numbered round the flange: {', '.join(map(str, first.order))}."
    for one in sheet.passes:
        if one.plan.note:
            yield f"Pass {one.plan.number}: {one.plan.note}"
