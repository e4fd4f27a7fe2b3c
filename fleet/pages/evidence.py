"""The evidence pack of an item or a job: what it holds, and the pack as PDF, workbook or CSV files."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING
from zipfile import ZIP_DEFLATED, ZipFile

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.evidence import item_evidence, item_files, job_evidence, job_files
from fleet.measures.tags import show_tag
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_job
from fleet.pages.guard import Guard
from fleet.pages.item_papers import kept_for, pdf, printed_by
from fleet.papers.evidence import evidence_pack
from fleet.papers.pressing import SUFFIXES
from fleet.papers.sheet_files import csv_file, workbook_file
from fleet.papers.sheets import as_sheets
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.evidence import KeptFile, Section
    from fleet.lists.sites import SiteLine
    from fleet.papers.evidence import Printed

LEAD = "Everything on record when printed, with what was withdrawn or reversed beside what did so."
_WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True, slots=True)
class Pack:
    """Everything on record about one item or one job."""

    about: str
    name: str
    title: str
    way: str
    site: SiteLine
    sections: list[Section]
    files: list[KeptFile]
    printed: Printed


class Evidence:
    """One field, what the pack holds, and three ways to take it along."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/evidence", self.show, methods=["GET"], response_model=None)
        router.add_api_route("/evidence.pdf", self.as_pdf, methods=["GET"], response_model=None)
        router.add_api_route("/evidence.xlsx", self.as_workbook, methods=["GET"], response_model=None)
        router.add_api_route("/evidence.zip", self.as_csv, methods=["GET"], response_model=None)
        return router

    def show(self, request: Request, about: str = "") -> Response:
        who = self._guard.sure(request)
        if not about.strip():
            return draw(request, self._room, "evidence.html", who, pack=None, asked="")
        try:
            pack = self._pack(who, about)
        except NotFound as refusal:
            told = {"pack": None, "asked": about.strip()[:80], "error": str(refusal)}
            return draw(request, self._room, "evidence.html", who, 404, **told)
        return draw(request, self._room, "evidence.html", who, pack=pack, asked=pack.about)

    def as_pdf(self, request: Request, about: str = "") -> Response:
        pack = self._pack(self._guard.sure(request), about)
        return pdf(pack.name, evidence_pack(pack.title, LEAD, pack.sections, pack.printed, pack.files))

    def as_workbook(self, request: Request, about: str = "") -> Response:
        pack = self._pack(self._guard.sure(request), about)
        content = workbook_file(as_sheets(pack.sections, pack.printed.there))
        return _file(pack.name, "xlsx", _WORKBOOK, content)

    def as_csv(self, request: Request, about: str = "") -> Response:
        pack = self._pack(self._guard.sure(request), about)
        content = io.BytesIO()
        with ZipFile(content, "w", ZIP_DEFLATED) as folder:
            for sheet in as_sheets(pack.sections, pack.printed.there):
                folder.writestr(f"{sheet.name}.csv", csv_file(sheet))
            for digest, kept in {kept.sha256: kept for kept in pack.files}.items():
                folder.writestr(f"{digest[:16]}.{SUFFIXES[kept.media_type]}", kept.content)
        return _file(pack.name, "zip", "application/zip", content.getvalue())

    def _pack(self, who: Visitor, about: str) -> Pack:
        with self._guard.look() as (db, now):
            try:
                found = _of_item(db, who, about, now)
            except NotFound:
                found = _of_job(db, who, about, now)
        found.sections.append(kept_for(self._room.settings))
        return found


def _of_item(db: Connection, who: Visitor, about: str, now: datetime) -> Pack:
    item, site = own_item(db, who, about)
    return Pack(
        about=item.tag,
        name=f"evidence-item-{item.tag}",
        title=f"Evidence: {item.kind} {show_tag(item.tag)}, {item.model}, serial {item.serial}",
        way=f"/items/{item.tag}",
        site=site,
        sections=item_evidence(db, item.id, item.tag),
        files=item_files(db, item.id),
        printed=printed_by(db, who, site, now),
    )


def _of_job(db: Connection, who: Visitor, about: str, now: datetime) -> Pack:
    try:
        job, site = own_job(db, who, about)
    except NotFound:
        raise NotFound(
            f"Neither an item nor a job {about.strip()[:40]!r} is on record at a site of yours. Scan the "
            "label, or write a tag, a serial number or the code of a job."
        ) from None
    return Pack(
        about=job.code,
        name=f"evidence-job-{job.code}",
        title=f"Evidence: job {job.code}, {job.name}",
        way="",
        site=site,
        sections=job_evidence(db, job.id, job.code),
        files=job_files(db, job.id),
        printed=printed_by(db, who, site, now),
    )


def _file(name: str, suffix: str, media_type: str, content: bytes) -> Response:
    plain = "".join(sign if sign.isalnum() and sign.isascii() else "-" for sign in name)
    headers = {"Content-Disposition": f'attachment; filename="{plain}.{suffix}"'}
    return Response(content, media_type=media_type, headers=headers)
