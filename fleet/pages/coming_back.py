"""What lies on the counter to be taken back: loan by loan, with the use that was planned for it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fleet.bolting.parts import Kind
from fleet.desk.returns import ReturnSlip
from fleet.lists.jobs import find_job, joints
from fleet.lists.loan_lines import LoanLine, last_line
from fleet.lists.served import served
from fleet.measures.tags import show_tag
from fleet.pages.finding import own_item
from fleet.pages.reading import whole, word
from fleet.refusals import NotPossible, Refusal, Unreadable
from fleet.rules.conditions import Condition
from fleet.rules.due import Meter
from fleet.rules.usage import Worked, part_of_use, served_use

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.pages.basket import Basket
    from fleet.pages.guard import Form

MOST_BREAKOUTS = 40


@dataclass(frozen=True, slots=True)
class Coming:
    """What of one loan is coming back. ``planned`` is empty where nobody planned any use of it."""

    lines: tuple[LoanLine, ...]
    planned: Meter | None
    unplanned: tuple[str, ...]
    """Those for which it cannot be the same as planned."""
    joints: tuple[str, ...]

    @property
    def first(self) -> LoanLine:
        """Its loan, holder and job are those of all."""
        return self.lines[0]

    @property
    def kinds(self) -> set[str]:
        """What comes back together."""
        return {line.kind for line in self.lines}

    @property
    def each(self) -> bool:
        """Whether there are several of a sort that works: then each had a use of its own."""
        worked = [line.kind for line in self.lines if line.kind in (Kind.WRENCH, Kind.PUMP)]
        return len(worked) > len(set(worked))

    @property
    def wrench(self) -> LoanLine | None:
        """The one wrench among it, by which a nut can have been broken loose."""
        found = [line for line in self.lines if line.kind == Kind.WRENCH]
        return found[0] if len(found) == 1 else None


def coming_back(db: Connection, who: Visitor, basket: Basket, errors: list[str]) -> list[Coming]:
    """The items of the basket as they went out last; what never did is said in ``errors``."""
    found: dict[int, list[LoanLine]] = {}
    for tag in basket.coming:
        try:
            item = own_item(db, who, tag)[0]
        except Refusal as refusal:
            errors.append(str(refusal))
            continue
        line = last_line(db, item.id)
        if line is None:
            errors.append(f"{show_tag(item.tag)} is not out, so it cannot be returned.")
        elif line not in found.setdefault(line.loan, []):
            found[line.loan].append(line)
    return [_coming(db, tuple(lines)) for lines in found.values()]


def _coming(db: Connection, lines: tuple[LoanLine, ...]) -> Coming:
    plans = {line.tag: _plan(db, line) for line in lines}
    unplanned = tuple(tag for tag, plan in plans.items() if plan is None)
    known = joints(db, find_job(db, lines[0].job))
    marks = tuple(one.mark for one in known)
    found = Coming(lines, _together(lines, plans[lines[0].tag]), unplanned, marks)
    return replace(found, planned=None) if found.each else found


def _plan(db: Connection, line: LoanLine) -> Meter | None:
    """What was planned for one, or for the wrench that it served, as a return takes it."""
    if line.planned_cycles is not None or line.planned_minutes is not None:
        return Meter(line.planned_cycles or 0, line.planned_minutes or 0)
    return served(db, line.line)


def _together(lines: Sequence[LoanLine], alone: Meter | None) -> Meter | None:
    """The use of a kit: the cycles of its wrench and the minutes of its pump."""
    if len(lines) == 1:
        return alone
    worked = [
        Worked(line.kind, None, None, line.planned_cycles, line.planned_minutes)
        for line in lines
        if line.kind in (Kind.WRENCH, Kind.PUMP)
    ]
    found = served_use(Kind.HOSE, worked)
    return Meter(*found) if found else alone


def slips(form: Form, client_id: str, loans: Sequence[Coming]) -> Iterator[ReturnSlip]:
    """What the form says of each item. What nobody changed is the same as planned."""
    for coming in loans:
        cycles, minutes = _use(form, coming)
        joint = form.get(f"joint-{coming.first.loan}") or None
        for line in coming.lines:
            state = word(Condition, form.get(f"condition-{line.tag}") or Condition.FINE, "the condition")
            note = form.get(f"note-{line.tag}") or None
            if state is Condition.DAMAGED and not note:
                raise NotPossible(
                    f"Say in the note what is damaged on {show_tag(line.tag)}; it is the reason of the hold."
                )
            share = (
                part_of_use(line.kind, cycles, minutes, coming.kinds)
                if len(coming.lines) > 1
                else (cycles, minutes)
            )
            told = _breakouts(form, coming) if line is coming.wrench else ()
            yield ReturnSlip(f"{client_id}/{line.line}", line.tag, *share, state, note, told, joint)


def _use(form: Form, coming: Coming) -> tuple[int | None, int | None]:
    """The figures of what comes back together; None for: the same as planned, each as it was."""
    loan = coming.first.loan
    cycles, minutes = form.get(f"cycles-{loan}"), form.get(f"minutes-{loan}")
    if not cycles and not minutes:
        if coming.each and not coming.unplanned:
            return None, None
        raise NotPossible(f"Say how much it was used for {coming.first.job}: cycles, pump minutes, or both.")
    used = Meter(whole(cycles or "0", "the cycles"), whole(minutes or "0", "the pump minutes"))
    if used == coming.planned and len(coming.lines) == 1:
        return None, None
    return used.cycles, used.minutes


def _breakouts(form: Form, coming: Coming) -> tuple[tuple[str, str], ...]:
    """Where nuts broke loose, one to a line: the joint, an equals sign, and the reading."""
    found = []
    for said in filter(None, map(str.strip, form.get(f"breakouts-{coming.first.loan}").splitlines())):
        joint, sign, reading = said.rpartition("=")
        if not sign or not joint.strip():
            raise Unreadable(
                f'"{said[:60]}" is no breakout: write the joint, an equals sign and the reading.'
            )
        found.append((joint.strip(), reading.strip()))
    if len(found) > MOST_BREAKOUTS:
        raise NotPossible(f"More than {MOST_BREAKOUTS} breakouts at once. Is that right?")
    return tuple(found)
