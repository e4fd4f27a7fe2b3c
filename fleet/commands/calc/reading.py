"""Options that several calculations share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Points = Annotated[
    Path | None, typer.Option("--points", help="CSV or XLSX file with a column of pressures and of torques.")
]
Model = Annotated[str | None, typer.Option("--model", "-m", help="A model in the register.")]
Item = Annotated[str | None, typer.Option("--item", "-i", help="Tag of a wrench in the register.")]
Torque = Annotated[str | None, typer.Option("--torque", "-t", help='"1400 lbf·ft", "1900 N·m".')]
GaugeTag = Annotated[str | None, typer.Option("--gauge", "-g", help="Tag of a gauge in the register.")]
Graduation = Annotated[
    str | None, typer.Option("--graduation", help='What the gauge can show: "20 bar", "200 psi".')
]
