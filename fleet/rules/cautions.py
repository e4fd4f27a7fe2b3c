"""The usual cautions, printed with every figure that a person could act on.

They are the common cautions of the trade in our own words (common practice, no source), and always end by
deferring to those who decide: the program approves no joint, no tool and no torque.
"""

from __future__ import annotations

from fleet.bolting.torque import SCATTER_WARNING

PLANNING_AID = (
    "This is a planning aid only: the maker's manual, the joint procedure, site rules, local codes and a "
    "competent person prevail."
)
ZERO_PRESSURE = (
    "Bring both lines to zero pressure before connecting, disconnecting or moving anything, and screw every "
    "coupler fully home."
)
LOWEST_PART = "Never go above the rating of the lowest-rated part of the circuit."
LOOK_OVER = "Look over hoses and couplers before each use; keep out of the whip line of a hose."
OIL_JET = (
    "Never feel for a leak: oil under the skin is a surgical emergency, even when it does not hurt; say at "
    "the hospital that it is hydraulic oil under pressure."
)
REACTION = (
    "Keep hands clear of the reaction arm and the socket, set the arm against a sound, square point, and let "
    "nobody hold the tool while it is under pressure."
)
BOLT_AXIS = "Stay out of the axis of the bolt: a stud that breaks leaves like a shot."
BEHIND_A_GUARD = (
    "Test only with oil and without air, both ends held and behind a guard, with nobody in reach; never "
    "tighten a fitting under pressure."
)
PROTECTION = "Wear eye, face, hand, foot and hearing protection, and secure tools at height against falling."
DRAINED = "Before a nut is loosened, the joint is isolated, drained and vented, and that has been proved."
LARGER_WRENCH = "A nut that does not move needs a larger wrench, never more pressure."

FOR_PRESSURE = (LOWEST_PART, ZERO_PRESSURE, LOOK_OVER, OIL_JET, PLANNING_AID)
FOR_TIGHTENING = (
    SCATTER_WARNING,
    LOWEST_PART,
    ZERO_PRESSURE,
    REACTION,
    BOLT_AXIS,
    LOOK_OVER,
    OIL_JET,
    PROTECTION,
    PLANNING_AID,
)
FOR_LOOSENING = (DRAINED, LARGER_WRENCH, *FOR_TIGHTENING[1:])
FOR_A_KIT = (SCATTER_WARNING, *FOR_LOOSENING)
FOR_A_PROOF_TEST = (BEHIND_A_GUARD, ZERO_PRESSURE, OIL_JET, PROTECTION, PLANNING_AID)
FOR_RECORDS = (PLANNING_AID,)
"""Under a result that is judged at a desk: an uncertainty, a verdict, an interval."""
