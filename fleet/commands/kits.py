"""Does this kit do for this joint."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.loans import Tags
from fleet.commands.printing import Json, print_json
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from fleet.lists.jobs import JobLine, JointLine
    from fleet.rules.breakouts import Spread
    from fleet.rules.kits import JointFacts

kit = typer.Typer(help="Check a kit for a joint.", no_args_is_help=True, cls=Grouped)


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.add_typer(kit, name="kit", rich_help_panel="Planning")


@kit.command("check")
def check(
    context: typer.Context,
    tags: Tags,
    job: Annotated[str, typer.Option("--job", "-j", help="For which job.")],
    joint: Annotated[str | None, typer.Option("--joint", help="Mark of the joint in the job's plan.")] = None,
    torque: Annotated[
        str | None, typer.Option("--torque", help='Target torque without a planned joint: "1400 lbf·ft".')
    ] = None,
    across_flats: Annotated[
        str | None, typer.Option("--across-flats", help='Nut size: "2 3/8 in", "55 mm".')
    ] = None,
    factor: Annotated[
        float | None, typer.Option("--loosening-factor", help="Loosening over tightening torque.")
    ] = None,
    reason: Annotated[
        str | None, typer.Option("--reason", "-r", help="Why this loosening factor, in a sentence.")
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Check named items as a kit: do they fit, what may the lines stand, and is the joint covered.

    Items reserved together for the joint are judged for that time, others for the whole job.
    """
    from fleet.bolting.figures import Units
    from fleet.commands.kitprints import print_check
    from fleet.lists.items import find_item
    from fleet.lists.jobs import find_job, find_joint
    from fleet.lists.kits import check_kit, window_of
    from fleet.lists.reservations import reserved_for
    from fleet.lists.sites import find_site
    from fleet.rules.cautions import FOR_A_KIT
    from fleet.rules.sources import ASSUMED, SOURCE_OF_KITS

    with door(context).look() as (db, now):
        found = find_job(db, job)
        asked = joint_facts(db, found, joint, torque, across_flats, factor, reason)
        ids = [find_item(db, tag).id for tag in tags]
        site = find_site(db, found.site)
        times = reserved_for(db, ids, find_joint(db, found, joint).id, now) if joint else None
        answer = check_kit(db, ids, asked, window_of(found, site, times), now=now)
    if as_json:
        said = {"assumptions": ASSUMED, "source": SOURCE_OF_KITS, "cautions": FOR_A_KIT}
        print_json({"usable": answer.usable, "joint": asked, "check": answer} | said)
    else:
        print_check(answer, asked, Units(site.pressure_unit, site.torque_unit))
    if not answer.usable:
        raise NotPossible(f"This kit may not be used on {asked.mark} as it stands.")


def joint_facts(
    db: Connection,
    job: JobLine,
    mark: str | None,
    torque: str | None,
    across_flats: str | None,
    factor: float | None,
    reason: str | None,
) -> JointFacts:
    """A planned joint, or figures of one's own; what is given goes before what is planned."""
    from fleet.lists.breakouts import measured_before
    from fleet.lists.jobs import find_joint
    from fleet.measures.quantities import Kind, read_measure
    from fleet.rules.kits import JointFacts

    planned = find_joint(db, job, mark) if mark else None
    if not planned and not torque:
        raise NotPossible("Say which joint with --joint, or give its torque with --torque.")
    if (factor is None) != (reason is None):
        raise NotPossible("A loosening factor and its reason belong together: --loosening-factor, --reason.")
    before = measured_before(db, job.site, planned.mark) if planned else None
    chosen, why = (factor, reason) if factor is not None else _planned_factor(planned, before)
    if chosen is None or not why:
        raise NotPossible(
            "No loosening factor is planned for this joint, and no standard fixes one. "
            "Give it with --loosening-factor and its --reason."
        )
    return JointFacts(
        mark=planned.mark if planned else "the joint",
        target_torque_nm=read_measure(torque, Kind.TORQUE).base if torque else planned.torque_nm,  # type: ignore[union-attr]
        loosening_factor=chosen,
        loosening_reason=why,
        across_flats_mm=_flats(across_flats, planned),
        tolerance_percent=planned.tolerance_percent if planned else None,
        measured=before,
    )


def _planned_factor(planned: JointLine | None, before: Spread | None) -> tuple[float | None, str | None]:
    """The planner's factor with its reason, else what was measured at the joint."""
    from fleet.rules.breakouts import MEASURED, implied_factor

    if planned and planned.loosening_factor is None and before:
        return implied_factor(before, planned.torque_nm), MEASURED
    return (planned.loosening_factor, planned.loosening_reason) if planned else (None, None)


def _flats(given: str | None, planned: JointLine | None) -> float | None:
    from fleet.measures.quantities import Kind, read_measure

    if given:
        return read_measure(given, Kind.LENGTH).base
    return planned.across_flats_mm if planned else None
