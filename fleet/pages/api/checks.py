"""Checks and searches: asked with a body, and nothing is changed by them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.loans import IssueSlip, look_over
from fleet.lists.breakouts import measured_before
from fleet.lists.jobs import find_joint
from fleet.lists.joint_facts import joint_facts
from fleet.lists.kit_finding import KitQuestion, ask, find_kits
from fleet.lists.kits import check_kit, window_of
from fleet.lists.reservations import reserved_for
from fleet.measures.times import read_day, read_moment, zone
from fleet.pages.api.asked import IssueRequest, KitCheckRequest, KitSearchRequest
from fleet.pages.api.own import item_of, job_of
from fleet.pages.api.shapes import tell
from fleet.pages.api.shapes_of_acts import KitAnswer, KitCheck, LookedOver
from fleet.rules.cautions import FOR_A_KIT
from fleet.rules.kit_figures import kit_figures
from fleet.rules.sources import ASSUMED, SOURCE_OF_KITS
from fleet.rules.tokens import Scope

if TYPE_CHECKING:
    from fleet.lists.kit_answers import Alternative, Asked
    from fleet.pages.api.bearer import Gate


class Checks:
    """What would happen, and which kits would do."""

    def __init__(self, gate: Gate) -> None:
        self._gate = gate

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(tags=["checks"])
        for path, answer, shape in (
            ("/issues/look-over", self.look_over, LookedOver),
            ("/kits/check", self.check_kit, KitCheck),
            ("/kits/search", self.search_kits, KitAnswer),
        ):
            router.add_api_route(path, answer, methods=["POST"], response_model=shape)
        return router

    def look_over(self, request: Request, asked: IssueRequest) -> Response:
        """What of this would go out and what stays in, and why."""
        with self._gate.look(request, Scope.READ) as asking:
            job, _site = job_of(asking, asked.job)
            tags = tuple(item_of(asking, one)[0].tag for one in asked.items)
            slip = IssueSlip("", tags, asked.borrower, job.code, read_day(asked.back_on))
            _job, found = look_over(asking.db, slip, now=asking.now)
        verdicts = list(found.values())
        goes_out = all(verdict.goes_out for verdict in verdicts)
        return tell(LookedOver, {"job": job.code, "goes_out": goes_out, "verdicts": verdicts})

    def check_kit(self, request: Request, asked: KitCheckRequest) -> Response:
        """Do these items fit each other, what may the lines stand, and is the joint covered."""
        with self._gate.look(request, Scope.READ) as asking:
            db = asking.db
            job, site = job_of(asking, asked.job)
            joint = find_joint(db, job, asked.joint)
            facts = joint_facts(joint, measured_before(db, job.site, joint.mark))
            ids = [item_of(asking, one)[0].id for one in asked.items]
            window = window_of(job, site, reserved_for(db, ids, joint.id, asking.now))
            found = check_kit(db, ids, facts, window, now=asking.now)
        said = {
            "usable": found.usable,
            "figures": kit_figures(found.kit, facts, window.units),
            "findings": found.kit.findings,
            "items": found.items,
            "instead": found.instead.tag if found.instead else None,
            "hire": found.hire,
            "assumptions": ASSUMED,
            "source": SOURCE_OF_KITS,
            "cautions": FOR_A_KIT,
        }
        return tell(KitCheck, said)

    def search_kits(self, request: Request, asked: KitSearchRequest) -> Response:
        """Kits for a joint that are strong enough, connect, are free and stay in date; the best first."""
        with self._gate.look(request, Scope.READ) as asking:
            job, _site = job_of(asking, asked.job)
            there = zone(job.time_zone)
            question = KitQuestion(
                job.code,
                asked.joint,
                asked.margin_percent,
                read_moment(asked.starts_at, there) if asked.starts_at else None,
                read_moment(asked.ends_at, there, end=True) if asked.ends_at else None,
                asked.alternatives,
            )
            about = ask(asking.db, question, now=asking.now)
            found = find_kits(asking.db, about)
        said = {name: getattr(found, name) for name in _TOLD} | {
            "alternatives": [_alternative(one, about) for one in found.alternatives],
            "cautions": FOR_A_KIT,
        }
        return tell(KitAnswer, said)


_TOLD = ("joint", "first_day", "last_day", "needed_nm", "margin_percent", "tallies", "hire", "unknown_sizes")


def _alternative(one: Alternative, about: Asked) -> dict[str, object]:
    kits = [
        {
            "pieces": [
                {
                    "tag": piece.tag,
                    "kind": piece.kind,
                    "model": model,
                    "shelf": piece.shelf,
                    "due_on": piece.due_on,
                    "kept": piece.kept,
                    "at_job": piece.at_job,
                }
                for piece, model in zip(kit.pieces, kit.models, strict=True)
            ],
            "oversize_percent": kit.oversize_percent,
            "moves": kit.moves,
            "figures": kit_figures(kit.verdict, about.joint, about.window.units),
            "findings": kit.verdict.findings,
        }
        for kit in one.kits
    ]
    return {"kits": kits, "to_reserve": list(one.to_reserve)}
