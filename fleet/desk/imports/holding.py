"""Holds, open and released."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fleet.desk.imports.piles import Laid, Pile, only_once
from fleet.measures.tags import show_tag
from fleet.records import HoldRow
from fleet.refusals import Unreadable
from fleet.rules.cells import CellRefused, Field, maybe, moment, needed, one_of, read_when, text
from fleet.rules.conditions import HoldCause
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work

_WHO = (Role.KEEPER, Role.SAFETY)
_RELEASE = ("released_at", "evidence", "released_by_id")


def take_holds(work: Work, tables: Sequence[Table]) -> None:
    """Holds by item, cause, reason and the moment they were opened; the only change is their release."""
    fields = (
        Field("Tag", ("item",), lambda cell, _unit: (work.known.item(cell),)),
        needed("Cause", "cause", one_of(HoldCause)),
        needed("Reason", "reason", text),
        moment("Opened on", "opened_at"),
        moment("Released on", "released_at", may_be_blank=True),
        maybe("Evidence", "evidence", text),
        person(work, "By", "opened_by_id"),
        person(work, "Released by", "released_by_id"),
    )
    pile = Pile(work, HoldRow, fields, lambda row: (row.item_id, row.cause, row.reason, row.opened_at))
    lines = []
    for line in work.lines(tables, fields):
        with work.judging(line):
            read_moments(work, line, ("Opened on", "opened_at"), ("Released on", "released_at"))
            values = line.values
            values["item_id"] = values["item"].id
            lines.append((line, (values["item_id"], values["cause"], values["reason"], values["opened_at"])))
    for line, key in only_once(work, lines):
        with work.judging(line):
            item = line.values["item"]
            pile.lay(line, Laid(key, show_tag(item.tag), item.site_id, _WHO), _judge)
    pile.write("holds")


def person(work: Work, heading: str, into: str) -> Field:
    """A column of badges; a blank cell leaves who is on record."""
    people = work.known.people_by_id
    return Field(
        heading,
        (into,),
        lambda cell, _unit: (work.known.people.find(cell).id,),
        (None,),
        keeps=True,
        show=lambda number: people[number].badge if number else "",
    )


def read_moments(work: Work, line: Line, *columns: tuple[str, str]) -> None:
    """Put instants for cells that were kept as text until the item, and so the site's clock, was known."""
    site = work.known.sites_by_id[line.values["item"].site_id]
    for heading, name in columns:
        if line.values.get(name) is None:
            continue
        try:
            line.values[name] = read_when(line.values[name], site.zone)
        except Unreadable as refusal:
            raise CellRefused("unreadable", str(refusal), heading) from refusal
        if line.values[name] > work.now:
            raise CellRefused("still to come", f'"{line.cell(heading)}" is still to come.', heading)


def _judge(hold: Mapping[str, Any], before: Mapping[str, Any] | None) -> None:
    if before and before["released_at"] and any(hold[name] != before[name] for name in _RELEASE):
        raise CellRefused(
            "released", "This hold was released on record, and a release is not changed.", "Released on"
        )
    if (hold["released_at"] is None) != (hold["evidence"] is None):
        column = "Released on" if hold["released_at"] is None else "Evidence"
        raise CellRefused(
            "half a release", "Give the day of the release and its evidence, or neither.", column
        )
    if hold["released_at"] and hold["released_at"] < hold["opened_at"]:
        raise CellRefused("ends first", "A hold cannot be released before it was opened.", "Released on")
