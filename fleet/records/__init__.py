"""What is kept: the tables. Only the desk, the lists and the room may look in here."""

from fleet.records.base import Base
from fleet.records.counters import CounterRow
from fleet.records.daybook import EntryRow, TakenInRow
from fleet.records.holds import ConcessionRow, HoldRow
from fleet.records.items import ItemRow
from fleet.records.jobs import JobRow, JointRow, ReservationRow
from fleet.records.letters import HeartbeatRow, LetterAttemptRow, LetterRow
from fleet.records.loans import LoanLineRow, LoanRow, UsageRow
from fleet.records.models import ChartPointRow, ChartRow, CouplingRow, ModelRow, PortRow
from fleet.records.sites import PersonRow, RoleRow, SiteRow
from fleet.records.upkeep import DueLineRow, TaskRow, UpkeepRow

__all__ = [
    "Base",
    "ChartPointRow",
    "ChartRow",
    "ConcessionRow",
    "CounterRow",
    "CouplingRow",
    "DueLineRow",
    "EntryRow",
    "HeartbeatRow",
    "HoldRow",
    "ItemRow",
    "JobRow",
    "JointRow",
    "LetterAttemptRow",
    "LetterRow",
    "LoanLineRow",
    "LoanRow",
    "ModelRow",
    "PersonRow",
    "PortRow",
    "ReservationRow",
    "RoleRow",
    "SiteRow",
    "TakenInRow",
    "TaskRow",
    "UpkeepRow",
    "UsageRow",
]
