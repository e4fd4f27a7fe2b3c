"""The description of the interface (OpenAPI 3.1), with every answer that an address can give.

It names no data of the room, so anybody may read it: who writes a program has it before they have a token.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from fleet.pages.api.once import KEY_PATTERN, REPLAYED
from fleet.pages.api.problems import PROBLEM_JSON, SORTS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fastapi import FastAPI

_TEXT = {"type": "string"}
_PROBLEM: dict[str, Any] = {
    "type": "object",
    "required": ["type", "title", "status", "detail", "instance"],
    "additionalProperties": False,
    "properties": {
        "type": _TEXT | {"description": "What sort it is; its address says what that means."},
        "title": _TEXT,
        "status": {"type": "integer"},
        "detail": _TEXT | {"description": "The sentence for whoever asked."},
        "instance": _TEXT,
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["at", "says"],
                "additionalProperties": False,
                "properties": {"at": _TEXT, "says": _TEXT},
            },
        },
    },
}
_EVERYWHERE = (401, 403, 404, 405, 422, 429, 500, 503)
_WITH_A_BODY = (413, 415)
_OF_ACTS = (400, 409)
_OF_CHECKS = (409,)
_KEY = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": True,
    "description": "A name of your own for this request: sent again with it, it acts once.",
    "schema": {"type": "string", "pattern": KEY_PATTERN},
    "example": "return-2026-05-04-0017",
}
_HEADERS = {
    401: {"WWW-Authenticate": "How to send a token."},
    405: {"Allow": "The methods that the address knows."},
    429: {"Retry-After": "Seconds to wait."},
}


def describe(app: FastAPI) -> dict[str, Any]:
    """The description of the routes as they are."""
    made = app.openapi()
    made["servers"] = [{"url": "/api"}]
    parts = made.setdefault("components", {})
    for unused in ("HTTPValidationError", "ValidationError"):
        parts.get("schemas", {}).pop(unused, None)
    parts["schemas"]["Problem"] = _PROBLEM
    parts["securitySchemes"] = {
        "token": {"type": "http", "scheme": "bearer", "description": "A token made on the page /tokens."}
    }
    made["security"] = [{"token": []}]
    for operations in made["paths"].values():
        for operation in operations.values():
            _complete(operation)
    return made


def _complete(operation: dict[str, Any]) -> None:
    statuses = set(_EVERYWHERE)
    if "requestBody" in operation:
        statuses.update(_WITH_A_BODY)
        statuses.update(_OF_CHECKS)
    answers = {"200": operation["responses"]["200"]}
    if "acts" in operation["tags"]:
        statuses.update(_OF_ACTS)
        operation["parameters"] = [*operation.get("parameters", ()), _KEY]
        said = "There, and true, when this was answered to the same request before."
        answers["200"]["headers"] = {REPLAYED: _header(said)}
    answers |= {str(status): _no(status) for status in sorted(statuses)}
    operation["responses"] = answers


def _no(status: int) -> dict[str, Any]:
    titles = " / ".join(sort.title for sort in SORTS.values() if sort.status == status)
    answer: dict[str, Any] = {
        "description": titles,
        "content": {PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    if status in _HEADERS:
        answer["headers"] = {name: _header(said) for name, said in _HEADERS[status].items()}
    return answer


def _header(said: str) -> dict[str, Any]:
    return {"description": said, "schema": _TEXT}


def methods_of(made: Mapping[str, Any], path: str) -> tuple[str, ...]:
    """What an address may be asked by; nothing when it is none."""
    for template, operations in made["paths"].items():
        if re.fullmatch(re.sub(r"\\\{[^}]*\\\}", "[^/]+", re.escape(template)), path):
            return tuple(sorted(method.upper() for method in operations))
    return ()
