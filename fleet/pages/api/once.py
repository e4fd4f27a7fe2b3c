"""Acts that are done once, however often they are asked for: the header Idempotency-Key.

After draft-ietf-httpapi-idempotency-key-header-07 (from memory). The answer is kept in the transaction of its
act. A request that was refused changed nothing, so its key is still free.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from hashlib import sha256
from typing import TYPE_CHECKING

from fastapi.responses import Response

from fleet.desk.answers import claim, keep
from fleet.pages.api.problems import Problem

if TYPE_CHECKING:
    from collections.abc import Callable

    from fastapi import Request
    from pydantic import BaseModel

    from fleet.lists.tokens import Bearer
    from fleet.pages.api.bearer import Asking, Gate
    from fleet.rules.tokens import Scope

# The draft has it as a string in quotes; many programs leave them out.
KEY = re.compile(r'"([A-Za-z0-9._:-]{8,100})"|([A-Za-z0-9._:-]{8,100})')
KEY_PATTERN = r'^("[A-Za-z0-9._:-]{8,100}"|[A-Za-z0-9._:-]{8,100})$'
REPLAYED = "Idempotency-Replayed"
JSON = "application/json"


@dataclass(frozen=True, slots=True)
class Done:
    """What an act came to, and at which site."""

    site_id: int
    said: BaseModel


def do_once(
    gate: Gate, request: Request, scope: Scope, asked: BaseModel, act: Callable[[Asking, str], Done]
) -> Response:
    """Carry a request out and answer it; when it was before, answer as it was answered then.

    ``act`` is told an id under which its own record is kept, so that the ledger too knows the request.
    """
    path = request.url.path
    with gate.room.act() as db:
        asking = gate.let_in(db, request, scope)
        key = _key_of(request)
        digest = _digest(asking.by, path, asked)
        before = claim(db, asking.by, key, digest, now=asking.now)
        if before is None:
            done = act(asking, f"api-{asking.who.person_id}-{key}")
            status, body = 200, done.said.model_dump_json()
            keep(db, asking.by, key, (status, body), site_id=done.site_id, path=path, now=asking.now)
            return Response(body, status, media_type=JSON)
    if before.request_sha256 != digest:
        raise Problem("key-used")
    return Response(before.body, before.status, headers={REPLAYED: "true"}, media_type=JSON)


def _key_of(request: Request) -> str:
    found = KEY.fullmatch(request.headers.get("idempotency-key", ""))
    if found is None:
        raise Problem("key-missing")
    return found[1] or found[2]


def _digest(by: Bearer, path: str, asked: BaseModel) -> str:
    """Of what is asked, and where the token may ask it: a token of one site is told nothing of another."""
    return sha256(f"{by.site_id}\0{path}\0{asked.model_dump_json()}".encode()).hexdigest()
