"""Photographs: taken from a form as fresh drawings, and shown again only to people of the item's site."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.lists.photographs import kept_file
from fleet.pages.guard import Guard
from fleet.refusals import NotFound
from fleet.rules.photographs import clean_photograph

if TYPE_CHECKING:
    from fleet.lists.access import Visitor
    from fleet.lists.photographs import KeptPhotograph
    from fleet.pages.guard import File, Form
    from fleet.rules.photographs import Photograph

_DIGEST = re.compile("[0-9a-f]{64}")
_PICTURES = {"image/jpeg": "jpg", "image/png": "png"}
LONGEST_NAME = 60


class Photographs:
    """One address, by the digest of what is kept."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/photographs/{digest}", self.show, methods=["GET"], response_model=None)
        return router

    def show(self, request: Request, digest: str) -> Response:
        who = self._guard.sure(request)
        found = own_file(self._guard, who, digest)
        if found.media_type not in _PICTURES:
            raise NotFound("There is no such photograph of yours.")
        return as_download(found, f"{found.sha256[:16]}.{_PICTURES[found.media_type]}")


def own_file(guard: Guard, who: Visitor, digest: str) -> KeptPhotograph:
    """A kept file of an item that belongs to a site of theirs."""
    found = None
    if _DIGEST.fullmatch(digest) and who.sites:
        with guard.look() as (db, _now):
            found = kept_file(db, digest, who.sites)
    if found is None:
        raise NotFound("There is no such file of yours.")
    return found


def as_download(found: KeptPhotograph, name: str) -> Response:
    """A kept file as what it is, never opened as a page: a picture still shows inside a page of ours."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(found.content, media_type=found.media_type, headers=headers)


def photographs_in(form: Form, field: str) -> tuple[Photograph, ...]:
    """Each photograph of a field drawn afresh, before any transaction begins."""
    return tuple(clean_photograph(file.content, shown_name(file)) for file in form.files_of(field))


def shown_name(file: File) -> str:
    """What a file is called in sentences: the last part of whatever name it claims, never a place."""
    last = re.split(r"[/\\]", file.name)[-1]
    plain = "".join(sign for sign in last if sign.isprintable()).strip()[:LONGEST_NAME]
    return plain or "The file"
