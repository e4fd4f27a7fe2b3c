"""What a calculation may look up, as whoever asks may see it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.figures import Units
from fleet.lists.breakouts import measured_before
from fleet.lists.jobs import find_joint
from fleet.lists.models import chart_points
from fleet.lists.parts import pieces
from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from contextlib import AbstractContextManager

    from sqlalchemy.engine import Connection

    from fleet.bolting.charts import Chart
    from fleet.lists.items import ItemLine
    from fleet.lists.jobs import JobLine, JointLine
    from fleet.lists.models import ModelLine
    from fleet.lists.parts import Piece
    from fleet.lists.sites import SiteLine
    from fleet.rules.breakouts import Spread


@dataclass(frozen=True, slots=True)
class Register:
    """What is on record, as whoever asks may see it."""

    look: Callable[[], AbstractContextManager[Connection]]
    find_item: Callable[[Connection, str], tuple[ItemLine, SiteLine]]
    find_job: Callable[[Connection, str], JobLine]
    find_model: Callable[[Connection, str], ModelLine]
    writes: type[Units] = Units
    """How figures of a kit are written, in the units of its site."""

    def piece(self, tag: str) -> Piece:
        """An item as a piece of a kit."""
        with self.look() as db:
            return pieces(db, [self.find_item(db, tag)[0].id])[0]

    def kit(self, tags: Sequence[str]) -> tuple[list[Piece], Units]:
        """Items as pieces of a kit, and the units of the site of the first."""
        with self.look() as db:
            found = [self.find_item(db, tag) for tag in tags]
            site = found[0][1]
            return pieces(db, [item.id for item, _ in found]), self.writes(
                site.pressure_unit, site.torque_unit
            )

    def model(self, designation: str) -> ModelLine:
        """A model."""
        with self.look() as db:
            return self.find_model(db, designation)

    def chart_of_model(self, designation: str) -> Chart | None:
        """The chart of a model, where it has one."""
        with self.look() as db:
            found = [one for one in chart_points(db, self.find_model(db, designation)) if one.tag is None]
        if not found:
            return None
        return make_chart([ChartPoint(p.pressure_mpa, p.torque_nm) for p in found], found[0].source)

    def joint(self, text: str) -> JointLine:
        """A planned joint, written as JOB/MARK."""
        with self.look() as db:
            return self._joint(db, text)

    def joint_with_breakouts(self, text: str) -> tuple[JointLine, Spread | None]:
        """A planned joint, and what was measured at it in any job."""
        with self.look() as db:
            planned = self._joint(db, text)
            return planned, measured_before(db, self.find_job(db, planned.job).site, planned.mark)

    def _joint(self, db: Connection, text: str) -> JointLine:
        job, slash, mark = text.partition("/")
        if not (slash and job.strip() and mark.strip()):
            raise Unreadable(
                f"{text!r} names no joint: write the job and the joint's mark, as in NB-142/F-1."
            )
        return find_joint(db, self.find_job(db, job.strip()), mark)
