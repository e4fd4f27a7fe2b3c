"""Taking in files: every row is either on record afterwards, or said to be refused with its reason.

Files are read before the transaction (``read_file``) and taken in by one act (``import_files``).
"""

from __future__ import annotations

from fleet.desk.imports.files import read_file
from fleet.desk.imports.report import Change, Rejection, Report, TableReport
from fleet.desk.imports.tables import ReadFile
from fleet.desk.imports.taking import import_files

__all__ = ["Change", "ReadFile", "Rejection", "Report", "TableReport", "import_files", "read_file"]
