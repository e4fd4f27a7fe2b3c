"""The parts of the pages that are for whoever plans."""

from fleet.pages.job_editing import JobEditing
from fleet.pages.jobs import Jobs
from fleet.pages.kit_sheet import KitSheets
from fleet.pages.kits import Kits
from fleet.pages.reserved import ReservedItems
from fleet.pages.reserving import Reserving
from fleet.pages.sheets import Sheets
from fleet.pages.shutdowns import Shutdowns
from fleet.pages.weeks import WeeksAhead

PLANNER = (Jobs, JobEditing, KitSheets, Kits, ReservedItems, Reserving, WeeksAhead, Shutdowns, Sheets)
