"""Looking things up: sites, people, models, items, jobs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.printing import Json, Site, print_facts, print_json, print_line, print_table

if TYPE_CHECKING:
    from datetime import date

    from fleet.rules.loans import ItemFacts, Verdict


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    for command in (sites, people, models, model, items, item, jobs, job):
        app.command(rich_help_panel="Look up")(command)


def sites(context: typer.Context, *, as_json: Json = False) -> None:
    """The tool rooms, with their zones and units."""
    from fleet.commands.showing import day
    from fleet.lists.sites import sites as list_sites

    with door(context).look() as (db, now):
        found = list_sites(db)
    if as_json:
        return print_json(found)
    columns = ("Site", "Name", "Time zone", "Today", "Pressure", "Torque")
    rows = [(s.code, s.name, s.time_zone, day(s.today(now)), s.pressure_unit, s.torque_unit) for s in found]
    return print_table(columns, rows, empty="No site on record yet. Import a file of sites first.")


def people(context: typer.Context, *, as_json: Json = False) -> None:
    """Everybody on record, with their roles."""
    from fleet.lists.people import people as list_people

    with door(context).look() as (db, _now):
        found = list_people(db)
    if as_json:
        return print_json(found)
    rows = [
        (p.badge, p.name + ("" if p.active else " (no longer active)"), "; ".join(p.roles), p.address)
        for p in found
    ]
    return print_table(("Badge", "Name", "Roles", "E-mail"), rows, empty="Nobody is on record yet.")


def models(
    context: typer.Context,
    kind: Annotated[str | None, typer.Option("--kind", "-k", help="wrench, pump, hose …")] = None,
    *,
    as_json: Json = False,
) -> None:
    """The models: ratings as printed on their plates, and how many items there are."""
    from fleet.commands.asking import known_kind
    from fleet.lists.models import models as list_models

    with door(context).look() as (db, _now):
        found = list_models(db, kind=known_kind(kind))
    if as_json:
        return print_json(found)
    columns = ("Model", "Kind", "Max. working pressure", "Size", "Items")
    rows = [
        (
            m.model,
            m.kind,
            m.mwp_advance_written or m.range_written,
            m.drive_written or m.across_flats_written,
            m.items,
        )
        for m in found
    ]
    return print_table(columns, rows)


def model(
    context: typer.Context,
    designation: Annotated[str, typer.Argument(help="The model's designation.")],
    *,
    as_json: Json = False,
) -> None:
    """One model: its plate, its ports and its pressure-torque chart."""
    from fleet.commands.showing import tag
    from fleet.lists.models import chart_points, find_model, ports

    with door(context).look() as (db, _now):
        found = find_model(db, designation)
        its_ports, points = ports(db, found), chart_points(db, found)
    if as_json:
        return print_json({"model": found, "ports": its_ports, "chart": points})
    print_facts(
        {
            "Kind": found.kind,
            "What": found.description,
            "Head": found.head,
            "Maximum working pressure, advance": found.mwp_advance_written,
            "Maximum working pressure, retract": found.mwp_retract_written,
            "Square drive": found.drive_written,
            "Across flats": found.across_flats_written,
            "Relief setting, advance": found.relief_advance_written,
            "Relief setting, retract": found.relief_retract_written,
            "Burst ratio": f"{found.burst_ratio:g}:1" if found.burst_ratio else None,
            "One stroke": f"{found.stroke_degrees:g}°" if found.stroke_degrees else None,
            "Oil of a stroke, out": found.advance_volume_written,
            "Oil of a stroke, back": found.return_volume_written,
            "Flow at working pressure": found.flow_written,
            "Bulk hose at make-up": found.bulk_months and f"at most {found.bulk_months} months old",
            "Storage before first use": found.storage_months and f"at most {found.storage_months} months",
            "Width": found.width_written,
            "Height": found.height_written,
            "Weight": found.weight_written,
            "Reaction arm": found.arm_written,
            "Range": found.range_written,
            "Class": found.accuracy_class,
            "Items in service": found.items,
        },
        title=found.model,
    )
    if its_ports:
        print_table(
            ("Faces", "Line", "Half", "Series", "Size", "Rated"),
            [(p.faces, p.line, p.half, p.series, p.size, p.mwp_written) for p in its_ports],
            title="Ports",
        )
    if points:
        print_table(
            ("For", "Pressure", "Torque", "Source"),
            [
                (tag(p.tag) if p.tag else "all", p.pressure_written, p.torque_written, p.source)
                for p in points
            ],
            title="Pressure-torque chart",
        )
    return None


def items(
    context: typer.Context,
    site: Site = None,
    kind: Annotated[str | None, typer.Option("--kind", "-k", help="wrench, pump, hose …")] = None,
    about: Annotated[
        str | None, typer.Option("--about", "-a", help="Part of a tag, serial or model.")
    ] = None,
    *,
    retired: Annotated[bool, typer.Option("--retired", help="Also those out of service.")] = False,
    as_json: Json = False,
) -> None:
    """The items: where each one is, and who has it."""
    from fleet.commands.asking import known_kind
    from fleet.commands.showing import tag
    from fleet.lists.items import items as list_items
    from fleet.lists.sites import find_site

    with door(context).look() as (db, _now):
        code = find_site(db, site).code if site else None
        found = list_items(db, site=code, kind=known_kind(kind), about=about, retired=retired)
    if as_json:
        return print_json(found)
    columns = ("Tag", "Kind", "Model", "Serial", "Site", "Where")
    rows = [(tag(i.tag), i.kind, i.model, i.serial, i.site, whereabouts(i)) for i in found]
    return print_table(columns, rows)


def whereabouts(line: object) -> str:
    """Where an item is, in one short phrase."""
    from fleet.lists.items import ItemLine

    if not isinstance(line, ItemLine):
        raise TypeError(line)
    if line.retired_on:
        return "retired"
    if line.holder:
        return f"out: {line.holder}, {line.job}"
    return f"{line.shelf or 'in'}{', on hold' if line.on_hold else ''}"


def item(
    context: typer.Context,
    asked: Annotated[str, typer.Argument(metavar="TAG", help="Tag or serial number.")],
    *,
    as_json: Json = False,
) -> None:
    """One item: where it is, whether it may go out today, and when what is due."""
    from fleet.commands.showing import day, tag
    from fleet.lists.items import find_item, item_facts
    from fleet.lists.sites import find_site
    from fleet.rules.due import never_done
    from fleet.rules.loans import Wish, judge

    with door(context).look() as (db, now):
        found = find_item(db, asked)
        facts = item_facts(db, [found.id], now=now)[found.id]
        today = find_site(db, found.site).today(now)
    verdict = judge(facts, Wish("", found.site, today, today))
    if as_json:
        return print_json({"item": found, "facts": facts, "goes_out": verdict.goes_out, "verdict": verdict})
    print_facts(
        {
            "Kind": found.kind,
            "Model": found.model,
            "Serial": found.serial,
            "Site": found.site,
            "Where": whereabouts(found),
            "Assembled": day(facts.assembled_on),
            "Cycles": f"{found.cycles:,}",
            "Pump minutes": f"{found.minutes:,}" if found.minutes else None,
            "Today": _today(verdict, facts, today),
            "Conceded": "; ".join(
                f"{w.task} for {w.job} until {day(w.until.date())} {w.until:%H:%M %Z}" for w in facts.waived
            ),
            "Reserved": "; ".join(f"{k.job}, {day(k.first_day)} to {day(k.last_day)}" for k in facts.kept),
        },
        title=tag(found.tag),
    )
    for finding in verdict.findings:
        print_line(f"  · {finding.sentence}", hang=4)
    rows = [
        (
            due.task,
            "never" if never_done(due.last_done_on, due.counts_from) else day(due.last_done_on),
            day(due.due_on),
            _left(due.use_left),
            day(due.forecast_on),
        )
        for due in facts.dues
    ]
    return print_table(("Task", "Last done", "Due", "Use left", "Forecast"), rows, empty="No upkeep task.")


def _today(verdict: Verdict, facts: ItemFacts, today: date) -> str:
    """May go out, stays in, or may go out for the job that reserved it only."""
    if verdict.goes_out:
        return "may go out"
    stops = {finding.code for finding in verdict.findings if finding.severity != "note"}
    jobs = " or ".join(kept.job for kept in facts.kept if kept.first_day <= today <= kept.last_day)
    return f"may go out for {jobs} only" if stops == {"reserved"} else "stays in"


def _left(share: float | None) -> str:
    return "" if share is None else f"{max(share, 0):.0%}"


def jobs(
    context: typer.Context,
    site: Site = None,
    *,
    past: Annotated[bool, typer.Option("--past", help="Also jobs that have ended.")] = False,
    as_json: Json = False,
) -> None:
    """The jobs that run or are to come."""
    from datetime import UTC, datetime

    from fleet.commands.showing import window
    from fleet.lists.jobs import jobs as list_jobs
    from fleet.lists.sites import find_site

    with door(context).look() as (db, now):
        code = find_site(db, site).code if site else None
        found = list_jobs(db, site=code, since=datetime.min.replace(tzinfo=UTC) if past else now)
    if as_json:
        return print_json(found)
    rows = [(j.code, j.name, j.site, *window(j.starts_at, j.ends_at, j.time_zone), j.joints) for j in found]
    return print_table(("Job", "Name", "Site", "From", "To", "Joints"), rows)


def job(
    context: typer.Context,
    code: Annotated[str, typer.Argument(metavar="JOB", help="Code of the job.")],
    *,
    as_json: Json = False,
) -> None:
    """One job: its joints, and what is reserved for it."""
    from fleet.bolting.figures import Units
    from fleet.commands.showing import tag, window
    from fleet.lists.breakouts import measured_of
    from fleet.lists.jobs import find_job, joints
    from fleet.lists.reservations import reservations
    from fleet.lists.sites import find_site
    from fleet.rules.breakouts import say_spread

    with door(context).look() as (db, now):
        found = find_job(db, code)
        site = find_site(db, found.site)
        its_joints, kept = joints(db, found), reservations(db, since=now, job=found.code)
        before = measured_of(db, found)
    if as_json:
        said = {j.mark: before[j.mark.casefold()] for j in its_joints if j.mark.casefold() in before}
        return print_json({"job": found, "joints": its_joints, "reservations": kept, "measured_before": said})
    units = Units(site.pressure_unit, site.torque_unit)
    when = " to ".join(window(found.starts_at, found.ends_at, found.time_zone))
    print_facts({"Name": found.name, "Site": found.site, "Window": when}, title=found.code)
    rows = [
        (
            j.mark,
            j.bolts,
            j.thread,
            units.needed(j.torque_nm),
            f"{j.loosening_factor:g} × ({j.loosening_reason})" if j.loosening_factor else None,
        )
        for j in its_joints
    ]
    print_table(("Joint", "Bolts", "Thread", "Target torque", "Loosening"), rows, title="Joints")
    for j in its_joints:
        if spread := before.get(j.mark.casefold()):
            print_line(f"  {j.mark}: measured before: {say_spread(spread, units)}", hang=4)
    return print_table(
        ("Tag", "Kind", "Model", "Joint"),
        [(tag(r.tag), r.kind, r.model, r.joint) for r in kept],
        title="Reserved",
    )
