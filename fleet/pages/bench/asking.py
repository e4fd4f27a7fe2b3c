"""What stands in the address of a calculation, read for it; everything that was asked is in the address."""

from __future__ import annotations

import re
from contextlib import contextmanager
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fleet.bolting.figures import BOTH, BothUnits
from fleet.desk.imports import read_file
from fleet.lists.models import find_model
from fleet.pages.finding import own_item, own_job
from fleet.papers.bench.asked import Asked
from fleet.papers.bench.reading import Table, filled
from fleet.papers.bench.register import Register
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.jobs import JobLine
    from fleet.lists.models import ModelLine
    from fleet.pages.bench.fields import Calculation, Field
    from fleet.pages.guard import Guard

LONGEST_FIELD, LONGEST_LINES = 200, 4_000


def typed(calculation: Calculation, query: Mapping[str, str]) -> dict[str, str]:
    """The fields that hold anything, as they were typed."""
    found = {one.name: query.get(one.name, "") for one in calculation.fields}
    return {name: text for name, text in found.items() if text.strip()}


def link(calculation: Calculation, fields: Mapping[str, str]) -> str:
    """The address of a filled page."""
    held = {one.name: fields[one.name] for one in calculation.fields if one.name in fields}
    return f"/bench/{calculation.way}" + (f"?{urlencode(held)}" if held else "")


def asked(calculation: Calculation, fields: Mapping[str, str], who: Visitor, guard: Guard) -> Asked:
    """What was asked, with the register as this visitor may see it and in their units."""
    labels = {one.name: one.label for one in calculation.fields}
    return Asked(
        {one.name: _value(one, fields[one.name]) for one in calculation.fields if one.name in fields},
        called=lambda name: f"“{labels.get(name, name)}”",
        register=lambda: _register(who, guard),
        units=BothUnits(who.pressure_unit or BOTH.pressure, who.torque_unit or BOTH.torque),
    )


def _value(one: Field, text: str) -> object:
    """One field as its calculation takes it."""
    tidy = _plain(one, text)
    if one.points:
        return _table(one.label, tidy)
    if one.many:
        return [part.strip() for part in re.split(r"[;\n]", tidy) if part.strip()]
    return tidy


def _plain(one: Field, text: str) -> str:
    """A field without what no keyboard types; refused when it is too long to be meant."""
    lines = one.many or one.points
    most = LONGEST_LINES if lines else LONGEST_FIELD
    if len(text) > most:
        raise Asked.amiss(one.name, f"“{one.label}” is too long; at most {most:,} signs are read.")
    tidy = (
        "\n".join(" ".join(line.split()) for line in text.splitlines()) if lines else " ".join(text.split())
    )
    if not tidy.replace("\n", "").isprintable():
        raise Asked.amiss(one.name, f"“{one.label}” holds signs that cannot be read; type it anew.")
    return tidy.strip()


def _table(label: str, text: str) -> Callable[[], Table]:
    def read() -> Table:
        table = read_file(f"“{label}”", text.encode()).tables[0]
        return filled(table.headings, table.rows, f"“{label}”")

    return read


def _register(who: Visitor, guard: Guard) -> Register:
    @contextmanager
    def look() -> Iterator[Connection]:
        with guard.look() as (db, _now):
            yield db

    def job(db: Connection, code: str) -> JobLine:
        return own_job(db, who, code)[0]

    def model(db: Connection, designation: str) -> ModelLine:
        try:
            return find_model(db, designation)
        except NotFound:
            raise NotFound(f"There is no model {designation!r} in the register.") from None

    return Register(look, lambda db, tag: own_item(db, who, tag), job, model, BothUnits)
