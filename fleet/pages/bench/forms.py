"""Every calculation of the bench, in the order in which they are shown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.pages.bench.bolts import LOOSENING, REACTION, THREAD, TORQUE
from fleet.pages.bench.certainty import GAUGE, INTERVAL, LINE, UNCERTAINTY, VERDICT
from fleet.pages.bench.gear import CHART, CIRCUIT, PASSES, STROKES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.pages.bench.fields import Calculation

SECTIONS: Sequence[tuple[str, Sequence[Calculation]]] = (
    ("Bolt and nut", (THREAD, TORQUE, LOOSENING, REACTION)),
    ("Wrench and pump", (CHART, PASSES, STROKES, CIRCUIT)),
    ("How sure is it", (GAUGE, UNCERTAINTY, LINE, VERDICT, INTERVAL)),
)
CALCULATIONS: Mapping[str, Calculation] = {one.way: one for _, some in SECTIONS for one in some}
