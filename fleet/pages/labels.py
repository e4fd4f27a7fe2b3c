"""Labels: choose the items, see what will stand on them, and print; the day book notes each."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.bolting.parts import Kind
from fleet.desk.labels import print_labels
from fleet.lists.labels import labels, to_print
from fleet.measures.tags import show_tag
from fleet.pages.drawing import draw
from fleet.pages.finding import own_item, own_site, own_sites
from fleet.pages.guard import Form, Guard, Typed, status_of
from fleet.pages.reading import whole
from fleet.papers.labels import SIZES, USUAL, find_size, label_paper
from fleet.refusals import NotFound, NotPossible, Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.labels import LabelLine

# Twenty sheets at a time.
MOST = 420


class Labels:
    """What is chosen, and the paper."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/labels", self.show, methods=["GET"], response_model=None)
        # Printing is noted in the day book, so no link does it.
        router.add_api_route("/labels.pdf", self.print, methods=["POST"], response_model=None)
        return router

    def show(  # What is asked for, all of it in the address.
        self, request: Request, tags: str = "", site: str = "", kind: str = "", new: str = ""
    ) -> Response:
        who = self._guard.sure(request)
        asked = Form({"tags": (tags,), "kind": (kind,), "new": (new,)})
        errors: list[str] = []
        with self._guard.look() as (db, _now):
            where, of_kind = own_site(db, who, site), kind if kind in set(Kind) else None
            ids = _named(db, who, tags, errors)
            if not ids and (of_kind or new):
                ids = to_print(db, where.id, kind=of_kind, new_only=bool(new), most=MOST)
            chosen, sites = labels(db, ids), own_sites(db, who)
        told = {
            "sites": sites,
            "site": where,
            "typed": asked,
            "nothing": bool(of_kind or new or tags.strip()),
        }
        return self._page(request, who, chosen, errors, 200, **told)

    def _page(  # What is shown, and what was wrong with it.
        self,
        request: Request,
        who: Visitor,
        chosen: list[LabelLine],
        errors: Iterable[str],
        status: int,
        **more: object,
    ) -> Response:
        told = {
            "chosen": chosen,
            "all_tags": " ".join(line.tag for line in chosen),
            "kinds": [kind.value for kind in Kind],
            "sizes": list(SIZES),
            "usual": USUAL,
            "most": MOST,
            "error": " ".join(errors) or None,
        } | more
        return draw(request, self._room, "labels.html", who, status, **told)

    def print(self, request: Request, form: Typed) -> Response:
        who, errors = self._guard.sure(request), list[str]()
        with self._guard.look() as (db, _now):
            sites, site = own_sites(db, who), own_site(db, who)
            ids = _named(db, who, form.get("all"), errors)
            chosen = labels(db, ids)
        try:
            if errors:
                raise NotPossible("Nothing was printed. " + " ".join(errors))
            size = find_size(form.get("size") or USUAL)
            begin = whole(form.get("begin") or "1", "the first free place")
            with self._guard.act(who) as (db, by, now):
                paper = label_paper(print_labels(db, ids, size.name, by=by, now=now), size, begin=begin)
        except Refusal as refusal:
            more = {"sites": sites, "site": site, "typed": form, "nothing": False}
            return self._page(request, who, chosen, [str(refusal)], status_of(refusal), **more)
        headers = {"Content-Disposition": 'attachment; filename="labels.pdf"'}
        return Response(paper, media_type="application/pdf", headers=headers)


def _named(db: Connection, who: Visitor, tags: str, errors: list[str]) -> list[int]:
    """The items of tags that were scanned or typed one after the other, each once."""
    found: dict[int, str] = {}
    for asked in re.split(r"[\s,;]+", tags.strip()):
        if not asked:
            continue
        try:
            item = own_item(db, who, asked)[0]
        except NotFound as refusal:
            errors.append(str(refusal))
        else:
            found[item.id] = show_tag(item.tag)
        if len(found) + len(errors) > MOST:
            errors.append(f"Not more than {MOST} labels at a time.")
            break
    return list(found)[:MOST]
