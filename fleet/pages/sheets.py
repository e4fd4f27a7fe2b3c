"""Sheets in and out: files are tried first, always, and then the very same are taken in."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.imports import Report, import_files
from fleet.lists.export_of_sites import export_of_sites
from fleet.pages.asked import NOT_SENT, Paged, Tried, number_of, page_asked, tried
from fleet.pages.drawing import draw
from fleet.pages.finding import own_sites
from fleet.pages.guard import Guard, Typed, Uploaded, go
from fleet.pages.jobs import download
from fleet.pages.uploads import Uploads, read_upload
from fleet.papers.sheetfiles import check_workbook, csv_file, write_workbook
from fleet.refusals import NotFound, NotPossible, Refusal
from fleet.rules.headings import REFUSED
from fleet.rules.sheets import SHEETS

if TYPE_CHECKING:
    from fleet.desk.imports import ReadFile
    from fleet.lists.access import Visitor
    from fleet.pages.uploads import Batch

ROWS = 100
# Whoever takes in people gives roles, for which it must be sure who does it.
_GIVES_ROLES = "people"
_OF_HEADINGS = ("headings", "unknown heading", "heading twice", "heading missing")
_FAULTS = ("File", "Sheet", "Row", "Column", "Value", "Rule", "What is wrong")
CSV = "text/csv; charset=utf-8"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class _Undone(Exception):  # noqa: N818  Not an error: the transaction is to be undone, and the report kept.
    """Leaves the transaction without saving, and takes the report along."""

    def __init__(self, report: Report) -> None:
        super().__init__()
        self.report = report


class Sheets:
    """Handing files in, what a dry run says, taking them in, and files to keep."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room
        self._uploads = Uploads()

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        for path, page in (
            ("/sheets", self.show),
            ("/sheets/tried", self.show_tried),
            ("/sheets/faults.csv", self.faults),
            ("/sheets/refused.csv", self.refused_rows),
            ("/sheets/all.xlsx", self.workbook),
            ("/sheets/{name}.csv", self.sheet),
        ):
            router.add_api_route(path, page, methods=["GET"], response_model=None)
        router.add_api_route("/sheets", self.try_out, methods=["POST"], response_model=None)
        router.add_api_route("/sheets/take", self.take, methods=["POST"], response_model=None)
        return router

    def show(self, request: Request) -> Response:
        return self._page(request, self._guard.sure(request))

    def _page(self, request: Request, who: Visitor, again: Tried = NOT_SENT) -> Response:
        _check_role(who)
        with self._guard.look() as (db, _now):
            sites = own_sites(db, who)
        return draw(
            request,
            self._room,
            "sheets.html",
            who,
            again.status,
            sheets=SHEETS,
            sites=[site.code for site in sites],
            **again.told,
        )

    def try_out(self, request: Request, form: Uploaded) -> Response:
        """A dry run: everything is done and undone, and the files are kept for an hour."""
        who = self._guard.sure(request)
        _check_role(who)
        try:
            files = [read_upload(file) for file in form.files_of("files")]
            if not files:
                raise NotPossible("Choose the files first: CSV or XLSX.")
            if len({file.name for file in files}) < len(files):
                raise NotPossible("Two of the files have the same name. Give one of them another.")
            report, _saved = self._import(who, files, write=False, skip=False)
        except Refusal as refusal:
            return self._page(request, who, tried(form, refusal))
        batch = self._uploads.keep(who.person_id, files, report, self._room.clock())
        return go(f"/sheets/tried?key={quote(batch.key)}")

    def _import(self, who: Visitor, files: list[ReadFile], *, write: bool, skip: bool) -> tuple[Report, bool]:
        """Take the files in, and undo it all when it is not to be saved; the report, and whether it is."""
        try:
            with self._guard.act(who) as (db, by, now):
                report = import_files(db, files, by=by, now=now)
                if not write or (report.rejections and not skip):
                    raise _Undone(report)  # noqa: TRY301  It is raised to leave the transaction.
        except _Undone as undone:
            return undone.report, False
        return report, True

    def show_tried(self, request: Request, key: str = "", page: str = "") -> Response:
        return self._tried(request, self._guard.sure(request), key, page)

    def _tried(
        self, request: Request, who: Visitor, key: str, page: str = "", again: Tried = NOT_SENT
    ) -> Response:
        batch, paged = self._batch(who, key), Paged(page_asked(page), ROWS)
        if _gives_roles(batch) and not batch.saved and not again.sent:
            self._guard.confirmed(request)
        report = batch.report
        return draw(
            request,
            self._room,
            "tried.html",
            who,
            again.status,
            batch=batch,
            report=report,
            rejections=paged.cut(report.rejections[paged.skip : paged.skip + paged.one_more]),
            changes=report.changes[:ROWS],
            paged=paged,
            query={"key": batch.key},
            mendable=_mendable(report),
            **again.told,
        )

    def take(self, request: Request, form: Typed) -> Response:
        who = self._guard.sure(request)
        batch = self._batch(who, form.get("key"))
        way = f"/sheets/tried?key={quote(batch.key)}"
        if batch.saved:
            return go(way, said="These files were taken in already; nothing was done twice.")
        if _gives_roles(batch):
            self._guard.confirmed(request)
        try:
            files = self._uploads.files(batch)
            report, saved = self._import(who, files, write=True, skip=form.get("skip") == "yes")
            if not saved:
                rows = "1 row is" if report.rejected == 1 else f"{report.rejected:,} rows are"
                raise NotPossible(
                    f"Nothing was saved: {rows} refused. Put that right and hand the files in again, or tick "
                    "that the other rows are to be saved without them."
                )
        except Refusal as refusal:
            return self._tried(request, who, batch.key, again=tried(form, refusal))
        self._uploads.saved(batch, report)
        new, changed = (sum(getattr(one, name) for one in report.tables) for name in ("new", "changed"))
        if not new and not changed:
            return go(way, said="Nothing had to be saved: what these files say is on record already.")
        return go(way, said=f"Saved: {new:,} new, {changed:,} changed.")

    def faults(self, request: Request, key: str = "") -> Response:
        batch = self._batch(self._guard.sure(request), key)
        rows = [
            (one.file, one.sheet, one.row, one.column, one.value, one.rule, one.sentence)
            for one in batch.report.rejections
        ]
        return download(csv_file(_FAULTS, rows), "faults.csv", CSV)

    def refused_rows(self, request: Request, key: str = "", table: str = "") -> Response:
        """The refused rows of one table as they were, to be put right and handed in again by themselves."""
        batch = self._batch(self._guard.sure(request), key)
        number = number_of(table)
        tables = [one for file in self._uploads.files(batch) for one in file.tables]
        if not table.isdigit() or number >= len(tables):
            raise NotFound("There is no such table in these files.")
        found, sheet = tables[number], batch.report.tables[number].sheet
        why: dict[int, list[str]] = {}
        for one in batch.report.rejections:
            if one.file == found.label:
                why.setdefault(one.row, []).append(
                    f"{one.column}: {one.sentence}" if one.column else one.sentence
                )
        width = len(found.headings)
        rows = [
            (*cells[:width], *("",) * (width - len(cells)), " ".join(why[at]))
            for at, cells in found.rows
            if at in why
        ]
        return download(csv_file((*found.headings, REFUSED), rows), f"{sheet} refused.csv", CSV)

    def sheet(self, request: Request, name: str) -> Response:
        who = self._guard.sure(request)
        _check_role(who)
        if name not in {one.name for one in SHEETS}:
            raise NotFound(f"There is no sheet {name[:40]!r}.")
        with self._guard.look() as (db, _now):
            (found,) = export_of_sites(db, who.sites, [name])
        return download(csv_file(found.headings, found.rows), f"{name}.csv", CSV)

    def workbook(self, request: Request) -> Response:
        who = self._guard.sure(request)
        _check_role(who)
        with self._guard.look() as (db, _now):
            found = export_of_sites(db, who.sites)
        check_workbook(found)
        file = io.BytesIO()
        write_workbook(file, found)
        return download(file.getvalue(), "sheets.xlsx", XLSX)

    def _batch(self, who: Visitor, key: str) -> Batch:
        return self._uploads.find(key, who.person_id, self._room.clock())


def _check_role(who: Visitor) -> None:
    if not who.roles:
        raise NotFound(f"{who.name} has no role at any site yet; whoever keeps the register gives one.")


def _gives_roles(batch: Batch) -> bool:
    return any(table.sheet == _GIVES_ROLES for table in batch.report.tables)


def _mendable(report: Report) -> list[int]:
    """The tables whose refused rows can be put right by themselves: their headings could be read."""
    broken = {(one.file, one.row) for one in report.rejections if one.rule in _OF_HEADINGS}
    return [
        number
        for number, table in enumerate(report.tables)
        if table.rejected and table.file not in {file for file, _ in broken}
    ]
