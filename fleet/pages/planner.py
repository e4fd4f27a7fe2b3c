"""The parts of the pages that are for whoever plans."""

from fleet.pages.job_editing import JobEditing
from fleet.pages.jobs import Jobs
from fleet.pages.kit_sheet import KitSheets

PLANNER = (Jobs, JobEditing, KitSheets)
