"""How many strokes a nut takes, and how long: from the angle it is turned and the oil a stroke swallows.

A hydraulic wrench turns its drive by a fixed angle per advance stroke, then runs back empty. Both ways it
takes the oil that its piston sweeps, so a stroke lasts (advance volume + return volume) / pump flow. The
swept volume follows from the chart: the piston's work p·V is the work at the nut T·θ, so V = T·θ/p, and T/p
is what the chart gives (losses in the tool left out, which makes the volume and the time a little short).
Statics and continuity, no other source.
"""

import math
from dataclasses import dataclass

from fleet.bolting.figures import FLOAT_NOISE, known
from fleet.refusals import Unreadable

MOST_DEGREES = 3600.0
"""Ten turns of a nut: beyond this a slip of the pen is likelier. The program's own, no source."""

MOST_STROKE_DEGREES = 360.0


@dataclass(frozen=True, slots=True)
class Strokes:
    """What a job asks of a wrench and its pump."""

    per_nut: int
    seconds_per_nut: float
    cycles: int
    """Strokes of the whole job: each nut, each pass."""
    seconds: float

    @property
    def minutes(self) -> int:
        """The pump's minutes, begun ones counted whole."""
        return math.ceil(self.seconds / 60)


def strokes_for_angle(turn_degrees: float, degrees_per_stroke: float) -> int:
    """Give the whole strokes that turn a nut by an angle; raises ``Unreadable`` for angles that cannot be."""
    if not (known(turn_degrees) and turn_degrees <= MOST_DEGREES):
        raise Unreadable(
            f"A nut turned by {turn_degrees:g}°: write the angle one nut is turned, up to {MOST_DEGREES:g}°."
        )
    if not (known(degrees_per_stroke) and degrees_per_stroke <= MOST_STROKE_DEGREES):
        raise Unreadable(
            f"A stroke of {degrees_per_stroke:g}° cannot be: write the angle of one stroke, such as 30."
        )
    return math.ceil(turn_degrees / degrees_per_stroke * (1 - FLOAT_NOISE))


def swept_volume_cm3(torque_nm: float, pressure_mpa: float, degrees_per_stroke: float) -> float:
    """Give the oil of one advance stroke from a charted pair: T·θ/p; N·m over MPa is cm³."""
    if not (known(torque_nm) and known(pressure_mpa) and known(degrees_per_stroke)):
        raise Unreadable("The torque, the pressure and the angle of a stroke must be above zero.")
    return torque_nm * math.radians(degrees_per_stroke) / pressure_mpa


def plan_strokes(
    bolts: int,
    per_nut: int,
    advance_cm3: float,
    return_cm3: float,
    flow_l_min: float,
    passes: int = 1,
) -> Strokes:
    """Give the strokes and the pumping time of a job; moving the wrench from nut to nut is not in it."""
    if bolts < 1 or passes < 1 or per_nut < 1:
        raise Unreadable("Bolts, passes and strokes are counted from one.")
    if not (known(advance_cm3) and known(return_cm3) and known(flow_l_min)):
        raise Unreadable("The oil of a stroke (cm³) and the pump's flow (L/min) must be above zero.")
    cm3_per_second = flow_l_min * 1000 / 60
    seconds_per_nut = per_nut * (advance_cm3 + return_cm3) / cm3_per_second
    turns = bolts * passes
    return Strokes(per_nut, seconds_per_nut, per_nut * turns, seconds_per_nut * turns)
