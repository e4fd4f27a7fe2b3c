"""What is told: each shape names the fields of a line that programs are told, and no others."""

from __future__ import annotations

import sys
from datetime import date, datetime
from typing import Any, Generic, TypeVar, get_type_hints

from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, create_model

from fleet.lists.away import AwayLine
from fleet.lists.calibrations import CertificateLine
from fleet.lists.concessions import ConcessionLine
from fleet.lists.daybook import Entry
from fleet.lists.due import DueLine
from fleet.lists.duty import DutyLine
from fleet.lists.holds import HoldLine
from fleet.lists.items import ItemLine
from fleet.lists.jobs import JobLine, JointLine
from fleet.lists.letters import LetterLine
from fleet.lists.models import ModelLine, PointLine, PortLine
from fleet.lists.out import OutLine
from fleet.lists.reservations import ReservationLine
from fleet.lists.sites import SiteLine
from fleet.lists.usage import UsageLine
from fleet.rules.weeks import Shortage, Stretch


class Shape(BaseModel):
    """What is told holds what is described, and nothing else."""

    model_config = ConfigDict(extra="forbid", from_attributes=True)


Told = TypeVar("Told", bound=Shape)


class Lines(Shape, Generic[Told]):
    """A list."""

    lines: list[Told]


class Page(Lines[Told], Generic[Told]):
    """A part of a list; ``next`` is what to ask for as ``after`` to read on, and empty at the end."""

    next: str | None


def lines_of(shape: type[Shape]) -> type[Shape]:
    """A list of a shape."""
    return Lines[shape]  # type: ignore[valid-type]  # As below.


def page_of(shape: type[Shape]) -> type[Shape]:
    """A part of a list of a shape."""
    return Page[shape]  # type: ignore[valid-type]  # As below.


def tell(shape: type[Shape], facts: object) -> Response:
    """Facts in the shape that was promised; anything else breaks here, and is not told."""
    return Response(shape.model_validate(facts).model_dump_json(), media_type="application/json")


def shape_of(name: str, line: type, fields: str, **more: Any) -> type[Shape]:  # noqa: ANN401  Any shape.
    """A shape of a line's fields; lists import days and instants for their types only."""
    known = vars(sys.modules[line.__module__]) | {"date": date, "datetime": datetime}
    hints = get_type_hints(line, globalns=known)
    return _made(name, **{field: hints[field] for field in fields.split()}, **more)


def _made(name: str, /, **fields: Any) -> type[Shape]:  # noqa: ANN401  Any shape.
    taken: dict[str, Any] = {field: (kind, ...) for field, kind in fields.items()}
    return create_model(name, __base__=Shape, __module__=__name__, **taken)


def _many(shape: type[Shape]) -> Any:  # noqa: ANN401  A type.
    return list[shape]  # type: ignore[valid-type]  # Made when the program starts.


_WHAT = "tag kind model serial "
Site = shape_of("Site", SiteLine, "code name time_zone pressure_unit torque_unit working_days")
Item = shape_of("Item", ItemLine, f"{_WHAT} site shelf cycles minutes holder job on_hold retired_on")
Due = shape_of(
    "Due",
    DueLine,
    f"{_WHAT} task stop shelf holder job back_on on_hold last_done_on due_on due_cycles due_minutes cycles "
    "minutes use_left forecast_on first_on",
    by=str,
)
Out = shape_of("Out", OutLine, f"{_WHAT} holder job issued_on back_on days_late")
Away = shape_of(
    "Away",
    AwayLine,
    f"{_WHAT} errand sent_to decision_rule tolerance_percent paired_gauge sent_by sent_on wanted_on note "
    "age_days overdue",
)
Hold = shape_of("Hold", HoldLine, f"id {_WHAT} shelf holder cause reason opened_on opened_by age_days")
Concession = shape_of(
    "Concession",
    ConcessionLine,
    f"{_WHAT} task job asked_by granted_by reason_code reason starts_at ends_at",
)
Job = shape_of("Job", JobLine, "code name site time_zone starts_at ends_at crews joints")
Joint = shape_of(
    "Joint",
    JointLine,
    "mark bolts thread nut_series across_flats_mm torque_written torque_nm tolerance_percent "
    "loosening_factor loosening_reason planned_cycles planned_minutes turn_degrees duration_minutes "
    "wrenches_at_once head drive_written drive_mm widest_written widest_mm highest_written highest_mm "
    "heaviest_written heaviest_kg",
)
Reservation = shape_of(
    "Reservation",
    ReservationLine,
    "number tag kind model site time_zone job joint starts_at ends_at reserved_by any_of expires_at plan "
    "fetched",
)
Model = shape_of(
    "Model",
    ModelLine,
    "model kind description head mwp_advance_written mwp_advance_mpa mwp_retract_written mwp_retract_mpa "
    "drive_written drive_mm across_flats_written across_flats_mm relief_advance_written relief_advance_mpa "
    "relief_retract_written relief_retract_mpa burst_ratio range_written range_mpa accuracy_class "
    "stroke_degrees bulk_months storage_months width_written height_written weight_written arm_written "
    "top_torque_nm",
)
Port = shape_of("Port", PortLine, "line faces series size half mwp_written mwp_mpa flush_face")
ChartPoint = shape_of(
    "ChartPoint", PointLine, "source pressure_written pressure_mpa torque_written torque_nm"
)
Certificate = shape_of(
    "Certificate",
    CertificateLine,
    f"id {_WHAT} task number laboratory accreditation calibrated_on reference traceability paired_gauge "
    "decision_rule tolerance_percent coverage_factor as_found as_left cycles_at minutes_at note received_at "
    "received_by standing decided_at decided_by decision_note",
)
Letter = shape_of(
    "Letter",
    LetterLine,
    "id site time_zone week number copy_no badge reader subject state attempts written_at sent_at read_at "
    "read_by",
)
DayBookEntry = shape_of("DayBookEntry", Entry, "seq recorded_at person_name act about body hash")
DutyState = shape_of("DutyState", DutyLine, "what ok sentence begun")
Use = shape_of("Use", UsageLine, "entry used_on job joint cycles minutes reverses reversed_by reason by")
WeekStretch = shape_of("WeekStretch", Stretch, "sort first_on last_on mark told")
WeekShortage = shape_of("WeekShortage", Shortage, "job joint torque_written first_on last_on wanted kept")
ModelSheet = _made("ModelSheet", model=Model, ports=_many(Port), chart=_many(ChartPoint))
JobSheet = _made("JobSheet", job=Job, joints=_many(Joint))
ItemInWeeks = _made("ItemInWeeks", tag=str, kind=str, model=str, serial=str, stretches=_many(WeekStretch))
WeeksSheet = _made(
    "WeeksSheet",
    site=str,
    today=date,
    first_day=date,
    last_day=date,
    items=_many(ItemInWeeks),
    shortages=_many(WeekShortage),
)


class Person(Shape):
    """Somebody with a role at the site."""

    badge: str
    name: str
    roles: list[str]
