"""The kit sheet of a joint as a page: the same words as on paper, of the kit that is reserved for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.breakouts import measured_before
from fleet.lists.daybook import seal
from fleet.lists.jobs import find_joint
from fleet.lists.joint_facts import joint_facts
from fleet.lists.kit_sheets import kept_kit, kit_sheet
from fleet.measures.times import zone
from fleet.pages.drawing import draw
from fleet.pages.finding import own_job
from fleet.pages.guard import Guard
from fleet.papers.evidence import Printed
from fleet.papers.kit_sheets import kit_content, kit_paper
from fleet.rules.daybook import ROOM_CHAIN
from fleet.rules.sources import OF_A_SHEET

if TYPE_CHECKING:
    from fleet.lists.access import Visitor
    from fleet.lists.kit_sheets import KitSheet

# The passes of a joint for which nothing else is asked.
PASSES = (30.0, 60.0, 100.0)


class KitSheets:
    """The sheet of a joint as a page and as a file to print."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        # Asked for and not part of the way: codes and marks hold whatever people write, slashes too.
        router.add_api_route("/kit-sheet", self.show_sheet, methods=["GET"], response_model=None)
        router.add_api_route("/kit-sheet.pdf", self.print_sheet, methods=["GET"], response_model=None)
        return router

    def show_sheet(self, request: Request, job: str = "", joint: str = "") -> Response:
        who = self._guard.sure(request)
        sheet, printed = self._sheet(who, job, joint)
        said = kit_content(sheet, printed, OF_A_SHEET)
        return draw(request, self._room, "kit.html", who, sheet=said, job=sheet.job, joint=sheet.joint)

    def print_sheet(self, request: Request, job: str = "", joint: str = "") -> Response:
        who = self._guard.sure(request)
        paper = kit_paper(*self._sheet(who, job, joint), OF_A_SHEET)
        name = "".join(sign if sign.isalnum() and sign.isascii() else "-" for sign in f"kit-{job}-{joint}")
        headers = {"Content-Disposition": f'attachment; filename="{name}.pdf"'}
        return Response(paper, media_type="application/pdf", headers=headers)

    def _sheet(self, who: Visitor, job: str, mark: str) -> tuple[KitSheet, Printed]:
        with self._room.look() as db:
            now = self._room.now(db)
            work, site = own_job(db, who, job)
            planned = find_joint(db, work, mark)
            asked = joint_facts(planned, measured_before(db, work.site, planned.mark))
            kept = kept_kit(db, work, planned)
            sheet = kit_sheet(db, site, work, planned, asked, kept, PASSES, now=now)
            seals = (seal(db, ROOM_CHAIN), seal(db, site.id))
        return sheet, Printed(who.name, now, zone(site.time_zone), seals)
