"""Breakouts, and what takes a wrong one back."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from sqlalchemy import select

from fleet.bolting.figures import Units
from fleet.bolting.parts import Kind
from fleet.desk.imports.ledgers import Ledger
from fleet.ledgers.breakouts import wrench_facts
from fleet.lists.parts import pieces
from fleet.measures.quantities import Kind as Measured
from fleet.measures.quantities import read_measure
from fleet.measures.tags import show_tag
from fleet.records import BreakoutRow, JobRow, JointRow, SiteRow
from fleet.refusals import NotPossible, OffTheChart
from fleet.rules.breakouts import WrenchFacts, judge_breakout
from fleet.rules.cells import CellRefused, Field, day, maybe, measured, needed, not_after, text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work
    from fleet.lists.rows import AnyRow

_COMPARED = {
    "joint_id": "Joint",
    "item_id": "Tag",
    "measured_on": "Measured on",
    "torque_written": "Torque",
    "pressure_written": "Pressure",
    "by_id": "By",
    "note": "Note",
    "reason": "Note",
}
_JOINTS = (
    select(
        JointRow.id,
        JointRow.job_id,
        JointRow.mark,
        JointRow.torque_nm,
        JobRow.site_id,
        SiteRow.pressure_unit,
        SiteRow.torque_unit,
    )
    .join(JobRow, JobRow.id == JointRow.job_id)
    .join(SiteRow, SiteRow.id == JobRow.site_id)
)
_ENTRIES = select(
    BreakoutRow.id,
    BreakoutRow.client_id,
    BreakoutRow.joint_id,
    BreakoutRow.torque_nm,
    BreakoutRow.withdraws_id,
)


def take_breakouts(work: Work, tables: Sequence[Table]) -> None:
    """Breakouts first; then what takes one back, because that one may stand in the same file."""
    fields = (
        Field("Job", ("job",), lambda cell, _unit: (work.known.jobs.find(cell),)),
        needed("Joint", "joint", text),
        maybe("Tag", "item", lambda cell, _unit: (work.known.item(cell),)),
        day("Measured on", "measured_on"),
        measured("Torque", Measured.TORQUE, "torque_written", "torque_nm"),
        measured("Pressure", Measured.PRESSURE, "pressure_written", "pressure_mpa"),
        maybe("By", "by_id", lambda cell, _unit: (work.known.people.find(cell).id,)),
        maybe("Note", "note", text),
        maybe("Entry", "client_id", text),
        maybe("Withdraws", "withdraws", text),
    )
    ledger = Ledger(work, BreakoutRow, _COMPARED)
    breakouts = _Breakouts(work, ledger)
    lines = ledger.lines(work.lines(tables, fields), _content)
    later = [line for line in lines if line.values.get("withdraws")]
    for line in lines:
        if not line.values.get("withdraws"):
            with work.judging(line):
                breakouts.take(line)
    ledger.write("breakouts")
    breakouts.withdraw(later)
    ledger.write("breakouts withdrawn")


def _content(line: Line) -> list[object]:
    """What makes two rows the same, however their cells are written."""
    values = line.values
    item = values.get("item")
    return [
        values["job"].code,
        values["joint"].casefold(),
        item.tag if item else "",
        str(values["measured_on"]),
        values.get("torque_written") or "",
        values.get("pressure_written") or "",
        line.cell("By").casefold(),
        values.get("note") or "",
        values.get("withdraws") or "",
    ]


class _Breakouts:
    """The breakouts sheet against its ledger."""

    def __init__(self, work: Work, ledger: Ledger) -> None:
        self.work, self.ledger = work, ledger
        self.joints = {(row.job_id, row.mark.casefold()): row for row in work.db.execute(_JOINTS)}
        self.wrenches: dict[int, WrenchFacts] = {}

    def take(self, line: Line) -> None:
        """Judge one breakout and add it. Raises a refusal."""
        values, joint = line.values, self._place(line)
        blank = [name for name in ("torque", "pressure") if values.get(f"{name}_written") is None]
        if self.ledger.knows(line):
            # What is blank was worked out from the other when it was taken in.
            for name in blank:
                values.pop(f"{name}_written", None)
            return self.ledger.skip(line)
        if len(blank) > 1:
            raise CellRefused(
                "missing", "Give the torque, or the pump pressure and the wrench's tag.", "Torque"
            )
        not_after(values["measured_on"], self.work.known.sites_by_id[joint.site_id].today, "Measured on")
        self._judge(line, joint)
        return self.ledger.add(line, {"withdraws_id": None, "reason": None})

    def _place(self, line: Line) -> AnyRow:
        """The joint of a row, whose site is the chain it is entered in."""
        values = line.values
        joint = self.joints.get((values["job"].id, values["joint"].casefold()))
        if joint is None:
            code = values["job"].code
            raise CellRefused("unknown", f'{code} has no joint "{values["joint"]}" on record.', "Joint")
        values |= {"joint_id": joint.id, "site_id": joint.site_id}
        return joint

    def _judge(self, line: Line, joint: AnyRow) -> None:
        values = line.values
        item, given = values.get("item"), "Torque" if values.get("torque_written") else "Pressure"
        kind = Measured.TORQUE if given == "Torque" else Measured.PRESSURE
        read = read_measure(values[f"{given.casefold()}_written"], kind)
        units = Units(joint.pressure_unit, joint.torque_unit)
        wrench = self._wrench(item.id) if item else None
        try:
            kept = asdict(judge_breakout(read, wrench, joint.torque_nm, joint.torque_unit, units))
        except (NotPossible, OffTheChart) as refusal:
            raise CellRefused("not possible", str(refusal), given) from refusal
        if given == "Torque":
            kept |= {name: values.get(name) for name in ("pressure_written", "pressure_mpa")}
        values |= kept

    def _wrench(self, item_id: int) -> WrenchFacts:
        if item_id not in self.wrenches:
            (piece,) = pieces(self.work.db, [item_id])
            if piece.kind != Kind.WRENCH:
                sentence = f"{show_tag(piece.tag)} is a {piece.kind}; a nut is broken loose by a wrench."
                raise CellRefused("other kind", sentence, "Tag")
            self.wrenches[item_id] = wrench_facts(piece)
        return self.wrenches[item_id]

    def withdraw(self, lines: Sequence[Line]) -> None:
        """Take entries back, each once."""
        if not lines:
            return
        rows = self.work.db.execute(_ENTRIES).all()
        entries = {row.client_id: row for row in rows}
        taken_back = {row.withdraws_id for row in rows}
        for line in lines:
            with self.work.judging(line):
                joint, values = self._place(line), line.values
                values["reason"] = values.pop("note", None)
                if self.ledger.knows(line):
                    self.ledger.skip(line)
                    continue
                entry = entries.get(values["withdraws"])
                _check_withdrawal(line, entry, joint.id, taken_back)
                self.ledger.add(line, {"withdraws_id": entry.id if entry else None, "note": None})
                taken_back.add(entry.id if entry else None)


def _check_withdrawal(line: Line, entry: AnyRow | None, joint_id: int, taken_back: set[int | None]) -> None:
    values = line.values
    if entry is None:
        sentence = f'There is no breakout with the entry "{values["withdraws"]}" on record.'
        raise CellRefused("unknown", sentence, "Withdraws")
    if entry.withdraws_id is not None:
        sentence = f'"{entry.client_id}" itself takes a breakout back; if that was wrong, enter it again.'
        raise CellRefused("withdrawal of a withdrawal", sentence, "Withdraws")
    if entry.id in taken_back:
        raise CellRefused("withdrawn before", f'"{entry.client_id}" was already withdrawn.', "Withdraws")
    if joint_id != entry.joint_id or values.get("torque_nm") != entry.torque_nm:
        sentence = "What takes a breakout back names the same joint and torque."
        raise CellRefused("not the same", sentence, "Torque")
    if not values.get("reason"):
        raise CellRefused("missing", "Say here why the entry was wrong.", "Note")
