"""The engineering bench as pages: a form that asks, and what the calculation answers, at one address.

A page holds nothing: whoever is sent its address sees the same, with their own register and in their units.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.pages.bench.asking import asked, link, typed
from fleet.pages.bench.forms import CALCULATIONS, SECTIONS
from fleet.pages.drawing import draw
from fleet.pages.guard import Form, Guard
from fleet.pages.pictures import picture
from fleet.papers.plots import Series, bar_plot, line_plot
from fleet.refusals import NotFound, Refusal

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from markupsafe import Markup

    from fleet.lists.access import Visitor
    from fleet.pages.bench.fields import Calculation
    from fleet.papers.bench.answers import Answer

UNPROCESSABLE = 422


class Bench:
    """All calculations, and each of them."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/bench", self.show_all, methods=["GET"], response_model=None)
        router.add_api_route("/bench/{way}", self.show_one, methods=["GET"], response_model=None)
        return router

    def show_all(self, request: Request) -> Response:
        who = self._guard.sure(request)
        sections = [(title, [(one, link(one, one.example)) for one in some]) for title, some in SECTIONS]
        return draw(request, self._room, "bench/all.html", who, sections=sections)

    def show_one(self, request: Request, way: str) -> Response:
        who = self._guard.sure(request)
        calculation = CALCULATIONS.get(way)
        if calculation is None:
            raise NotFound("There is no such calculation here.")
        fields = typed(calculation, request.query_params)
        answer, refusal = None, None
        if fields:
            try:
                answer = calculation.answer(asked(calculation, fields, who, self._guard))
            except Refusal as refused:
                refusal = refused
        return self._page(request, who, calculation, fields, answer, refusal)

    def _page(
        self,
        request: Request,
        who: Visitor,
        calculation: Calculation,
        fields: Mapping[str, str],
        answer: Answer | None,
        refusal: Refusal | None,
    ) -> Response:
        with self._guard.look() as (_db, now):
            worked_at = now
        return draw(
            request,
            self._room,
            "bench/calculation.html",
            who,
            UNPROCESSABLE if refusal else 200,
            error=str(refusal) if refusal else None,
            about=refusal.about if refusal else "",
            typed=Form({name: (text,) for name, text in fields.items()}),
            calculation=calculation,
            answer=answer,
            headings=_headings,
            pictures=_pictures(answer) if answer else [],
            example=link(calculation, calculation.example) if calculation.example else "",
            shared=link(calculation, fields),
            worked_at=worked_at,
        )


def _pictures(answer: Answer) -> list[tuple[str, Markup, Sequence[str], list[list[str]]]]:
    """What can be drawn, each with its title and the table that says the same."""
    found: list[tuple[str, Markup, Sequence[str], list[list[str]]]] = []
    curve, bars = answer.curve, answer.bars
    if curve:
        lines = [Series(name, tuple(points)) for name, points in curve.lines]
        svg = line_plot(curve.title, curve.across, curve.up, lines, limits=curve.limits, key="curve-")
        rows = [
            [f"{name}, {at}", f"{x:,.6g}", f"{y:,.6g}"]
            for name, points in curve.lines
            for at, (x, y) in enumerate(points, start=1)
        ]
        found.append((curve.title, picture(svg), ("Point", curve.across, curve.up), rows))
    if bars:
        found.append((bars.title, picture(bar_plot(bars.title, bars.rows, key="bars-")), (), []))
    return found


def _headings(columns: Sequence[str]) -> list[str]:
    """A column without a heading says how what stands before it goes together."""
    return [column or "Together" for column in columns]
