"""Couplings, models and their ports."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleet.bolting.gauges import read_accuracy
from fleet.bolting.parts import End, Half, Kind, Line
from fleet.bolting.strokes import MOST_STROKE_DEGREES
from fleet.desk.imports.piles import Laid, Pile, only_once
from fleet.desk.imports.work import SHARED
from fleet.measures.quantities import Kind as Measured
from fleet.records import CouplingRow, ModelRow, PortRow
from fleet.rules.cells import (
    CellRefused,
    Field,
    at_least_one,
    decimal,
    maybe,
    measured,
    needed,
    one_of,
    rated,
    text,
    usual,
    yes_no,
)
from fleet.rules.nearest import hint
from fleet.rules.plates import judge_plate, read_burst_ratio
from fleet.rules.register import Head, Role

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.desk.imports import work as at_work
    from fleet.desk.imports.tables import Table

_WHO = (Role.KEEPER,)
_ADVANCE = ("mwp_advance_written", "mwp_advance_mpa")
_RETRACT = ("mwp_retract_written", "mwp_retract_mpa")


def _accuracy(cell: str, _unit: str | None) -> tuple[str]:
    read_accuracy(cell)
    return (cell,)


_COUPLINGS = (
    needed("Series", "series", text),
    needed("Size", "size", text),
    rated("Maximum working pressure", "mwp_written", "mwp_mpa"),
    usual("Flush face", "flush_face", yes_no, value=False),
)


def take_couplings(work: at_work.Work, tables: Sequence[Table]) -> None:
    """Couplings by series and size."""
    pile = Pile(work, CouplingRow, _COUPLINGS, lambda row: (row.series.casefold(), row.size.casefold()))
    lines = [
        (line, (line.values["series"].casefold(), line.values["size"].casefold()))
        for line in work.lines(tables, _COUPLINGS)
    ]
    for line, key in only_once(work, lines):
        with work.judging(line):
            about = f"{line.values['series']} {line.values['size']}"
            pile.lay(line, Laid(key, about, SHARED, _WHO))
    pile.write("couplings")
    work.known.forget("couplings")


_MODELS = (
    needed("Model", "designation", text),
    needed("Kind", "kind", one_of(Kind)),
    maybe("Description", "description", text),
    rated("Maximum working pressure advance", *_ADVANCE),
    rated("Maximum working pressure retract", *_RETRACT),
    rated("Maximum working pressure", *_ADVANCE, *_RETRACT),
    maybe("Head", "head", one_of(Head)),
    measured("Square drive", Measured.LENGTH, "drive_written", "drive_mm"),
    measured("Across flats", Measured.LENGTH, "across_flats_written", "across_flats_mm"),
    rated("Relief setting advance", "relief_advance_written", "relief_advance_mpa"),
    rated("Relief setting retract", "relief_retract_written", "relief_retract_mpa"),
    maybe("Burst ratio", "burst_ratio", lambda cell, _unit: (read_burst_ratio(cell),)),
    measured("Length", Measured.LENGTH, "length_written", "length_mm"),
    measured("Range", Measured.PRESSURE, "range_written", "range_mpa"),
    maybe("Class", "accuracy_class", _accuracy),
    measured("Graduation", Measured.PRESSURE, "graduation_written", "graduation_mpa"),
    maybe("Stroke degrees", "stroke_degrees", decimal(0, MOST_STROKE_DEGREES, after="°")),
    measured("Advance volume", Measured.VOLUME, "advance_volume_written", "advance_volume_cm3"),
    measured("Return volume", Measured.VOLUME, "return_volume_written", "return_volume_cm3"),
    measured("Flow", Measured.FLOW, "flow_written", "flow_l_min"),
    maybe("Bulk months", "bulk_months", at_least_one),
    maybe("Storage months", "storage_months", at_least_one),
    measured("Width", Measured.LENGTH, "width_written", "width_mm"),
    measured("Height", Measured.LENGTH, "height_written", "height_mm"),
    measured("Weight", Measured.MASS, "weight_written", "weight_kg"),
    measured("Reaction arm", Measured.LENGTH, "arm_written", "arm_mm"),
)
_HEADING = {one.into[0]: one.heading for one in reversed(_MODELS)}


def take_models(work: at_work.Work, tables: Sequence[Table]) -> None:
    """Models by designation. What a kind must have on its plate is judged on the whole plate."""
    pile = Pile(work, ModelRow, _MODELS, lambda row: row.designation.casefold())
    lines = [(line, line.values["designation"].casefold()) for line in work.lines(tables, _MODELS)]
    for line, key in only_once(work, lines):
        with work.judging(line):
            pile.lay(line, Laid(key, line.values["designation"], SHARED, _WHO), _judge_model)
    pile.write("models")
    work.models_to_rate.update(record["of_id"] for record in pile.changed)
    work.known.forget("models", "models_by_id")


def _judge_model(plate: Mapping[str, Any], before: Mapping[str, Any] | None) -> None:
    if before and before["kind"] != plate["kind"]:
        raise CellRefused(
            "other kind",
            f"{before['designation']} is a {before['kind']} on record, and a model stays what it is; give a "
            f"{plate['kind']} another designation.",
            "Kind",
        )
    if fault := judge_plate(plate):
        raise CellRefused("plate", fault.sentence, _HEADING[fault.field])


def take_ports(work: at_work.Work, tables: Sequence[Table]) -> None:
    """Ports by model, line and the side they face."""
    designations = work.known.models_by_id
    names = {number: " ".join(key) for key, number in work.known.couplings.items()}
    fields = (
        Field(
            "Model",
            ("model_id",),
            lambda cell, _unit: (work.known.models.find(cell).id,),
            show=lambda number: designations[number].designation,
        ),
        needed("Line", "line", one_of(Line)),
        needed("Faces", "faces", one_of(End)),
        needed("Series", "series", text),
        Field("Size", ("coupling_id",), text, show=names.__getitem__),
        needed("Half", "half", one_of(Half)),
    )
    pile = Pile(work, PortRow, fields, lambda row: (row.model_id, row.line, row.faces))
    lines = [
        (line, (line.values["model_id"], line.values["line"], line.values["faces"]))
        for line in work.lines(tables, fields)
    ]
    for line, key in only_once(work, lines):
        with work.judging(line):
            _join_coupling(work, line.values)
            about = f"{line.cell('Model')}, {line.values['line']} port to the {line.values['faces']}"
            pile.lay(line, Laid(key, about, SHARED, _WHO))
    pile.write("ports")


def _join_coupling(work: at_work.Work, values: dict[str, Any]) -> None:
    series, size = values.pop("series"), values["coupling_id"]
    found = work.known.couplings.get((series.casefold(), size.casefold()))
    if found is None:
        near = hint(f"{series} {size}", (" ".join(key) for key in work.known.couplings))
        raise CellRefused("unknown", f'There is no coupling "{series} {size}" on record.{near}', "Series")
    values["coupling_id"] = found
