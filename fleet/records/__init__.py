"""What is kept: the tables. Only the desk, the lists and the room may look in here."""

from fleet.records.access import (
    AnswerRow,
    InvitationRow,
    LoginAttemptRow,
    LoginRow,
    SessionRow,
    StationRow,
    TokenRow,
)
from fleet.records.base import Base
from fleet.records.calibrations import (
    AwayRow,
    CalibrationPointRow,
    CalibrationRow,
    IntervalProposalRow,
    LimitRow,
)
from fleet.records.counters import CounterRow
from fleet.records.daybook import EntryRow, TakenInRow
from fleet.records.files import FileOfRow, KeptFileRow
from fleet.records.holds import ConcessionRow, HoldRow
from fleet.records.inspections import (
    ChecklistRow,
    CheckpointRow,
    CompetenceRow,
    InspectionAnswerRow,
    InspectionRow,
    ProofTestRow,
    RepairRow,
    TaskAfterRepairRow,
)
from fleet.records.items import ItemRow
from fleet.records.jobs import BreakoutRow, JobRow, JointRow, JointTemplateRow, PlanRow, ReservationRow
from fleet.records.letters import (
    AcknowledgementRow,
    HeartbeatRow,
    LetterAttemptRow,
    LetterContentRow,
    LetterRow,
    LetterSiteRow,
    ToldRow,
)
from fleet.records.loans import LoanLineRow, LoanRow, UsageRow
from fleet.records.models import ChartPointRow, ChartRow, CouplingRow, ModelRow, PortRow
from fleet.records.reviews import ImpactLineRow, ImpactReviewRow, RecallRow
from fleet.records.sites import AbsenceRow, PersonRow, RoleRow, SiteRow
from fleet.records.upkeep import DueLineRow, TaskRow, UpkeepRow

__all__ = [
    "AbsenceRow",
    "AcknowledgementRow",
    "AnswerRow",
    "AwayRow",
    "Base",
    "BreakoutRow",
    "CalibrationPointRow",
    "CalibrationRow",
    "ChartPointRow",
    "ChartRow",
    "ChecklistRow",
    "CheckpointRow",
    "CompetenceRow",
    "ConcessionRow",
    "CounterRow",
    "CouplingRow",
    "DueLineRow",
    "EntryRow",
    "FileOfRow",
    "HeartbeatRow",
    "HoldRow",
    "ImpactLineRow",
    "ImpactReviewRow",
    "InspectionAnswerRow",
    "InspectionRow",
    "IntervalProposalRow",
    "InvitationRow",
    "ItemRow",
    "JobRow",
    "JointRow",
    "JointTemplateRow",
    "KeptFileRow",
    "LetterAttemptRow",
    "LetterContentRow",
    "LetterRow",
    "LetterSiteRow",
    "LimitRow",
    "LoanLineRow",
    "LoanRow",
    "LoginAttemptRow",
    "LoginRow",
    "ModelRow",
    "PersonRow",
    "PlanRow",
    "PortRow",
    "ProofTestRow",
    "RecallRow",
    "RepairRow",
    "ReservationRow",
    "RoleRow",
    "SessionRow",
    "SiteRow",
    "StationRow",
    "TakenInRow",
    "TaskAfterRepairRow",
    "TaskRow",
    "TokenRow",
    "ToldRow",
    "UpkeepRow",
    "UsageRow",
]
