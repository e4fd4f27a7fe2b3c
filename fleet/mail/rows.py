"""Lists made into the rows of a letter: what it is, what the matter is, where, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.mail.wording import counted, days, moment, one_line
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day, show_hours
from fleet.rules.letters import LetterState
from fleet.rules.upkeep import Stop

if TYPE_CHECKING:
    from fleet.lists.concessions import ConcessionLine
    from fleet.lists.due import DueLine
    from fleet.lists.holds import HoldLine
    from fleet.lists.letters import LetterLine
    from fleet.lists.out import OutLine
    from fleet.lists.reviews import ReviewLine
    from fleet.mail.snapshot import Snapshot


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a section; ``head`` is the name to look for, ``urgent`` what cannot wait for the week.

    ``next`` says who does what: ``Keeper: plan its inspection.``
    """

    head: str
    what: str
    matter: str
    where: str
    next: str
    urgent: bool = False


def row(
    head: str, what: str, matter: str, where: str = "", following: str = "", *, urgent: bool = False
) -> Row:
    """A row of which every text stands on one line, whatever people have written."""
    return Row(
        one_line(head), one_line(what), one_line(matter), one_line(where), one_line(following), urgent=urgent
    )


def due_rows(facts: Snapshot, *, overdue: bool) -> list[Row]:
    """What is overdue, or what comes due: the task, by which clock, where the item is, and what to do."""
    waived = {(c.tag, c.task): c for c in facts.concessions if c.in_force(facts.taken_at)}
    found = []
    for line in facts.overdue if overdue else facts.coming_due:
        waiver = waived.get((line.tag, line.task))
        following = _when_overdue(line, waiver, facts) if overdue else _before_due(line)
        urgent = overdue and line.holder is not None and waiver is None
        texts = (show_tag(line.tag), _what(line), _due(line, facts), _where(line), following)
        found.append(row(*texts, urgent=urgent))
    return found


def _what(line: DueLine | HoldLine | OutLine | ConcessionLine | ReviewLine) -> str:
    return f"{line.kind} {line.model}, serial {line.serial}"


def _due(line: DueLine, facts: Snapshot) -> str:
    """The task and the clock that speaks: the used-up meter, the day, or when a meter will likely run out."""
    if line.use_left is not None and line.use_left <= 0:
        return f"{line.task}: used up, {_meter(line)}"
    if line.due_on is not None and (line.due_on < facts.today or line.due_on == line.first_on):
        if line.last_done_on is None and line.stop == Stop.SOFT:
            return f"{line.task}: never done on record"
        over = (facts.today - line.due_on).days
        late = f", {days(over)} over" if over > 0 else ""
        return f"{line.task}: due {show_day(line.due_on)}{late}"
    forecast = show_day(line.forecast_on) if line.forecast_on else "soon"
    return f"{line.task}: by use about {forecast}, {_meter(line)} (pace of the last {line.recent_days} days)"


def _meter(line: DueLine) -> str:
    """The meter and its limit; pump hours, because that is what a pump's meter shows."""
    stand = []
    if line.due_cycles is not None:
        stand.append(f"due at {line.due_cycles:,} cycles, now {line.cycles:,}")
    if line.due_minutes is not None:
        stand.append(f"due at {show_hours(line.due_minutes)} pump hours, now {show_hours(line.minutes)}")
    return " and ".join(stand)


def _where(line: DueLine) -> str:
    if line.holder:
        back = f", back {show_day(line.back_on)}" if line.back_on else ""
        return f"with {line.holder} for job {line.job}{back}"
    shelf = f"in, shelf {line.shelf}" if line.shelf else "in, no shelf on record"
    return f"{shelf}, on hold" if line.on_hold else shelf


def _when_overdue(line: DueLine, waiver: ConcessionLine | None, facts: Snapshot) -> str:
    if waiver:
        ends = moment(waiver.ends_at, facts.site.time_zone)
        return f"Keeper: may be used for job {waiver.job} until {ends} under a concession, then it stays in."
    if line.holder:
        return f"Keeper: stop its use now, get it back from {line.holder}, then see to the {line.task}."
    if line.stop == Stop.HARD:
        return f"Keeper: it stays in; no concession lifts this. See to the {line.task}, or retire it."
    return f"Keeper: it stays in until its {line.task} is done and recorded."


def _before_due(line: DueLine) -> str:
    if not line.holder:
        return f"Keeper: plan its {line.task}."
    if line.back_on is not None and line.first_on <= line.back_on:
        return f"Keeper: comes due before it is back; call it in early for its {line.task}."
    return f"Keeper: plan its {line.task} when it is back."


def hold_rows(facts: Snapshot) -> list[Row]:
    """What is on hold, why and for how long."""
    found = []
    for line in facts.holds:
        opener = f" by {line.opened_by}" if line.opened_by else ""
        since = f"since {show_day(line.opened_on)} ({days(line.age_days)}){opener}"
        where, following = (
            f"shelf {line.shelf or 'not on record'}",
            "Keeper: release it with evidence, or retire it.",
        )
        if line.holder:
            where, following = f"still with {line.holder}", "Keeper: call it back; it must not be used."
        texts = (
            show_tag(line.tag),
            _what(line),
            f"{line.cause}: {line.reason}",
            f"{where}, {since}",
            following,
        )
        found.append(row(*texts, urgent=line.holder is not None))
    return found


def concession_rows(facts: Snapshot) -> list[Row]:
    """Concessions in force or of the last seven days: who asked, who granted, why and until when."""
    found = []
    for line in facts.concessions:
        ends = moment(line.ends_at, facts.site.time_zone)
        in_force = line.in_force(facts.taken_at)
        until = f"in force until {ends}" if line.ends_at > facts.taken_at else f"ended {ends}"
        following = (
            "Keeper: have it back by then."
            if in_force
            else f"Safety officer: check that its {line.task} is done."
        )
        found.append(
            row(
                show_tag(line.tag),
                _what(line),
                f"{line.task} overdue; {line.reason_code}: {line.reason}",
                f"job {line.job}, {until}; asked by {line.asked_by}, granted by {line.granted_by}",
                following,
            )
        )
    return found


def review_rows(facts: Snapshot) -> list[Row]:
    """Reviews that are open: what failed, how many joints are still to decide, and until when."""
    found = []
    for line in facts.reviews:
        left = counted(line.undecided, "joint", "joints", "no joint")
        late = line.overdue(facts.today)
        over = f", {days((facts.today - line.due_on).days)} over" if late else ""
        until = f"{left} of {line.lines:,} to decide by {show_day(line.due_on)}{over}"
        following = (
            f"Safety officer: decide with fleet review show {line.id}"
            if line.undecided
            else "Safety officer: close it with a summary."
        )
        found.append(row(show_tag(line.tag), _what(line), line.cause, until, following, urgent=late))
    return found


def warning_rows(facts: Snapshot) -> list[Row]:
    """What stands against something reserved, for which job and when, and what could take its place."""
    found = []
    for line in facts.reserved:
        joint = f", {line.joint}" if line.joint else ""
        where = f"for job {line.job}{joint}, from {moment(line.starts_at, facts.site.time_zone)}"
        if line.instead:
            following = f"Planner: {show_tag(line.instead)} ({line.instead_model}) could take its place."
        elif line.number is None:
            following = "Planner: reserve it anew if it is still wanted."
        else:
            following = (
                "Planner: have it fetched."
                if line.matter == "expires"
                else "Planner: put it right, or hire another."
            )
        what = f"{line.kind} {line.model}"
        found.append(row(show_tag(line.tag), what, line.sentence, where, following))
    return found


def out_rows(facts: Snapshot, *, late: bool) -> list[Row]:
    """What is out, the late apart from the others."""
    found = []
    for line in facts.out:
        if (line.days_late > 0) is not late:
            continue
        back = f"back {show_day(line.back_on)}"
        matter = f"{back}, {days(line.days_late)} late" if late else back
        where = f"with {line.holder} for job {line.job}, issued {show_day(line.issued_on)}"
        following = f"Keeper: ask {line.holder} for it, and book it back." if late else ""
        found.append(row(show_tag(line.tag), _what(line), matter, where, following))
    return found


def silence_rows(facts: Snapshot) -> list[Row]:
    """Who was not told: letters that did not arrive, and people without a usable address."""
    return [_undelivered(line, facts.week) for line in facts.not_delivered] + [
        row(
            reader.badge,
            f"{reader.name}, {' and '.join(sorted(reader.roles))}",
            f"{reader.address!r} is no usable address" if reader.address else "has no address on record",
            "",
            "Keeper: enter an address, so that the letter comes.",
        )
        for reader in facts.unreached
    ]


def _undelivered(line: LetterLine, week: str) -> Row:
    gone = line.state == LetterState.UNDELIVERABLE
    answer = f": {line.last_answer}" if line.last_answer else ""
    following = "Keeper: correct the address." if gone else f"The letter of {week} takes its place."
    return row(
        line.badge,
        f"{line.reader}, {line.address}",
        f"letter {line.number} of {line.week} {'was given up' if gone else 'has not been sent'}{answer}",
        "tried " + counted(line.attempts, "time", "times", "never"),
        following,
    )
