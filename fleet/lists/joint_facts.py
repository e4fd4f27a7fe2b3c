"""A planned joint as the rules judge it: its own figures, and what was measured at it before."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.refusals import NotPossible
from fleet.rules.breakouts import MEASURED, implied_factor
from fleet.rules.kit_search import Limits
from fleet.rules.kits import JointFacts

if TYPE_CHECKING:
    from fleet.lists.jobs import JointLine
    from fleet.rules.breakouts import Spread


def joint_facts(joint: JointLine, before: Spread | None) -> JointFacts:
    """The joint with its planned loosening factor, else with what its measured breakouts imply.

    Refused where neither is on record: no standard fixes a factor.
    """
    factor, reason = joint.loosening_factor, joint.loosening_reason
    if factor is None and before:
        factor, reason = implied_factor(before, joint.torque_nm), MEASURED
    if factor is None or not reason:
        raise NotPossible(
            f"No loosening factor is planned for {joint.mark}, and no standard fixes one: plan one with its "
            "reason, in the sheet of joints."
        )
    return JointFacts(
        mark=joint.mark,
        target_torque_nm=joint.torque_nm,
        loosening_factor=factor,
        loosening_reason=reason,
        across_flats_mm=joint.across_flats_mm,
        tolerance_percent=joint.tolerance_percent,
        measured=before,
    )


def limits_of(joint: JointLine) -> Limits:
    """What gets at the joint, and how many kits work on it together."""
    return Limits(
        head=joint.head,
        drive_mm=joint.drive_mm,
        widest_mm=joint.widest_mm,
        highest_mm=joint.highest_mm,
        heaviest_kg=joint.heaviest_kg,
        at_once=joint.wrenches_at_once or 1,
    )
