"""Facts of an invented site, as a letter is made of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from fleet.lists.concessions import ConcessionLine
from fleet.lists.due import DueLine
from fleet.lists.holds import HoldLine
from fleet.lists.letters import LetterLine
from fleet.lists.out import OutLine
from fleet.lists.reservations import WarningLine
from fleet.lists.reviews import ReviewLine
from fleet.lists.sites import SiteLine
from fleet.mail.letters import Note, part_of, weekly
from fleet.mail.messages import TakenLetter
from fleet.mail.snapshot import Snapshot
from fleet.rules.daybook import Seal
from fleet.rules.letters import Content, content_digest
from fleet.rules.readers import Reader

TODAY = date(2026, 5, 13)
NOON = datetime(2026, 5, 13, 17, 0, tzinfo=UTC)
SITE = SiteLine(
    id=1,
    code="NORTH",
    name="North tool room",
    time_zone="America/Chicago",
    pressure_unit="psi",
    torque_unit="lbf·ft",
    letter_weekday=0,
    letter_hour=6,
    spare_address="north@tool-room.example",
    quiet_from_hour=20,
    quiet_until_hour=6,
    working_days="12345",
)


def due_line(**said: Any) -> DueLine:  # noqa: ANN401  Any field of the line.
    """A wrench on its shelf whose calibration was due three days ago."""
    line = DueLine(
        tag="10427-2".replace("-", ""),
        kind="wrench",
        model="W-2000",
        serial="S1",
        task="calibration",
        stop="soft",
        shelf="A1",
        holder=None,
        job=None,
        back_on=None,
        on_hold=False,
        last_done_on=TODAY - timedelta(days=368),
        due_on=TODAY - timedelta(days=3),
        due_cycles=None,
        due_minutes=None,
        cycles=0,
        minutes=0,
        use_left=None,
        forecast_on=None,
        first_on=TODAY - timedelta(days=3),
        recent_cycles=0,
        recent_minutes=0,
        recent_days=182,
    )
    if "due_on" in said:
        said = {"first_on": said["due_on"]} | said
    return line._replace(**said)


def hold_line(**said: Any) -> HoldLine:  # noqa: ANN401  As above.
    line = HoldLine(
        1,
        "104388",
        "hose",
        "H-20",
        "S2",
        "H2",
        None,
        "damaged",
        "Cover cut",
        TODAY - timedelta(days=12),
        "Kim Keeper",
        12,
    )
    return replace(line, **said)


def concession_line(**said: Any) -> ConcessionLine:  # noqa: ANN401  As above.
    line = ConcessionLine(
        tag="104272",
        kind="wrench",
        model="W-2000",
        serial="S1",
        task="calibration",
        job="J-1",
        asked_by="Kim Keeper",
        granted_by="Sam Safety",
        reason_code="no other item",
        reason="The only wrench of this size on site.",
        starts_at=NOON - timedelta(hours=2),
        ends_at=NOON + timedelta(hours=6),
    )
    return replace(line, **said)


def out_line(**said: Any) -> OutLine:  # noqa: ANN401  As above.
    line = OutLine(
        "104418",
        "pump",
        "P-10",
        "S3",
        "Fin Fitter",
        "J-1",
        TODAY - timedelta(days=9),
        TODAY - timedelta(days=2),
        2,
    )
    return replace(line, **said)


def review_line(**said: Any) -> ReviewLine:  # noqa: ANN401  As above.
    line = ReviewLine(
        id=7,
        tag="104272",
        kind="wrench",
        model="W-2000",
        serial="S1",
        site="NORTH",
        cause="Certificate 77 found it 6 % low",
        certificate=3,
        since_on=TODAY - timedelta(days=365),
        until_on=TODAY,
        due_on=TODAY + timedelta(days=14),
        lines=9,
        undecided=4,
        opened_at=NOON,
        closed_at=None,
        closed_by=None,
        summary=None,
    )
    return replace(line, **said)


def lost_letter(**said: Any) -> LetterLine:  # noqa: ANN401  As above.
    line = LetterLine(
        id=1,
        site="NORTH",
        time_zone="America/Chicago",
        week="2026-W19",
        number=11,
        copy_no=1,
        badge="P1",
        reader="Pat Planner",
        address="pat@tool-room.example",
        subject="…",
        state="undeliverable",
        attempts=1,
        written_at=NOON - timedelta(days=7),
        sent_at=None,
        not_before=NOON - timedelta(days=7),
        last_answer="550 5.1.1 No such user",
    )
    return replace(line, **said)


def warning_line(**said: Any) -> WarningLine:  # noqa: ANN401  As above.
    """A wrench reserved in ten days that is on hold, with another free then."""
    line = WarningLine(
        tag="104272",
        kind="wrench",
        model="W-2000",
        job="J-1",
        joint="F-1",
        starts_at=NOON + timedelta(days=10),
        ends_at=NOON + timedelta(days=12),
        number=5,
        matter="on hold",
        sentence="On hold since 11 May 2026: Cover cut",
        instead="104280",
        instead_model="W-2000",
    )
    return replace(line, **said)


def snapshot(**said: Any) -> Snapshot:  # noqa: ANN401  As above.
    """A quiet site: nothing is due, on hold or out."""
    facts = Snapshot(
        site=SITE,
        week="2026-W20",
        taken_at=NOON,
        today=TODAY,
        until=TODAY + timedelta(weeks=4),
        due=(),
        holds=(),
        concessions=(),
        out=(),
        not_delivered=(),
        missed=(),
        unreached=(),
        seal=Seal(1, 120, "0a1b2c3d4e5f6071" + "8" * 48),
    )
    return replace(facts, **said)


def busy(text: str = "", many: int = 1) -> Snapshot:
    """A site where everything happens at once; ``text`` stands wherever people may write."""
    name = text or "Fin Fitter"
    overdue = due_line(serial=text or "S1", task=text or "calibration", holder=name, job="J-1", back_on=TODAY)
    coming = due_line(due_on=TODAY + timedelta(days=20), task=text or "inspection", shelf=text or "A1")
    out = out_line(model=text or "P-10", holder=name)
    return snapshot(
        site=replace(SITE, name=text or SITE.name),
        due=(overdue,) * many + (coming,) * many,
        holds=(hold_line(reason=text or "Cover cut", opened_by=name),) * many,
        concessions=(concession_line(reason=text or "The only one of this size."),) * many,
        out=(out,) * many + (replace(out, days_late=0),) * many,
        not_delivered=(lost_letter(reader=name, last_answer=text or "550 No such user"),) * many,
        reviews=(review_line(cause=text or "Certificate 77 found it 6 % low"),) * many,
        reserved=(warning_line(sentence=text or "On hold since 11 May 2026: Cover cut"),) * many,
        missed=("2026-W18", "2026-W19"),
        unreached=(Reader(9, text or "F9", name, text or None, frozenset({"keeper"})),),
    )


def letter_of(*sites: Snapshot, number: int = 1, **note: Any) -> Content:  # noqa: ANN401  As above.
    """The weekly letter about these sites."""
    return weekly([part_of(facts) for facts in sites], number, Note(**note))


def taken(letter: Content | None = None, **said: Any) -> TakenLetter:  # noqa: ANN401  As above.
    """A letter in the hands of a sender."""
    says = letter or letter_of(busy(), number=12)
    line = TakenLetter(
        id=1,
        turn=1,
        message_id="<weekly-2026-W20-0123456789abcdef0123456789abcdef@tool-room.example>",
        kind="weekly",
        site="NORTH",
        site_name="North tool room",
        week="2026-W20",
        number=12,
        copy_no=1,
        badge="K1",
        reader="Kim Keeper",
        address="kim@tool-room.example",
        subject=says.subject,
        plain=says.plain,
        html=says.html,
        calendar=says.calendar,
        sha256=content_digest(says),
        written_at=NOON,
    )
    return replace(line, **said)
