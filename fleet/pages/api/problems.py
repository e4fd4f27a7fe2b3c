"""Every "no" to a program, as problem details (RFC 9457): what sort it is, and the sentence that says why."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi.responses import Response

from fleet.refusals import NotAllowed, NotFound, NotPossible, OffTheChart, Refusal, Unreadable

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

PROBLEM_JSON = "application/problem+json"


@dataclass(frozen=True, slots=True)
class Sort:
    """One sort of problem; ``meaning`` is what stands at its address."""

    status: int
    title: str
    meaning: str


SORTS = {
    "key-missing": Sort(
        400,
        "A request key is missing",
        "What changes anything needs an Idempotency-Key of 8 to 100 letters, figures or . _ - : of your own, "
        "so that the same request sent again acts once.",
    ),
    "no-token": Sort(
        401,
        "No usable token",
        "Send a token as Authorization: Bearer. It may have ended, or its person may have left. "
        "Cookies are not looked at here.",
    ),
    "not-for-this": Sort(
        403, "The token is not for this", "The token was made for other things; make one with this scope."
    ),
    "not-allowed": Sort(403, "Not allowed", "The token's person does not hold the role that this act needs."),
    "not-found": Sort(
        404, "Not found", "There is no such address, or nothing of that name at a site of the token's person."
    ),
    "wrong-method": Sort(405, "Wrong method", "The address knows the methods in the header Allow only."),
    "not-possible": Sort(
        409, "Not possible", "It contradicts what is on record; the detail says what stands against it."
    ),
    "too-long": Sort(413, "Too long", "A request holds 100,000 bytes at most."),
    "not-json": Sort(415, "Not JSON", "What is sent must be application/json, in UTF-8."),
    "invalid": Sort(
        422, "Not as described", "The request is not as the description says; each error names its place."
    ),
    "unreadable": Sort(
        422, "Unreadable", "A measure, a day or a word in it cannot be read without guessing."
    ),
    "off-the-chart": Sort(
        422, "Off the chart", "A value lies outside what was charted or tabulated; no guess is made."
    ),
    "key-used": Sort(
        422, "The request key was used", "Another request came with this Idempotency-Key; take a new one."
    ),
    "too-often": Sort(429, "Too often", "Wait for the seconds in Retry-After, then go on."),
    "broken": Sort(500, "Something broke", "Nothing was changed. What broke is in the log, by the number."),
    "out-of-order": Sort(503, "Out of order", "The program's settings or its database are not in order."),
}
_OF_REFUSALS: Mapping[type[Refusal], str] = {
    NotFound: "not-found",
    NotAllowed: "not-allowed",
    NotPossible: "not-possible",
    OffTheChart: "off-the-chart",
    Unreadable: "unreadable",
}


class Problem(Exception):  # noqa: N818  As a refusal: the answer "no", not an error of the program.
    """A "no" that is no refusal of the house but one of this interface."""

    def __init__(
        self, sort: str, detail: str = "", *, errors: Sequence[Mapping[str, str]] = (), **headers: str
    ) -> None:
        super().__init__(detail or SORTS[sort].meaning)
        self.sort, self.errors = sort, errors
        self.headers = {name.replace("_", "-"): value for name, value in headers.items()}


def sort_of(refusal: Refusal) -> str:
    """The sort of a refusal."""
    return _OF_REFUSALS.get(type(refusal), "unreadable")


def say_no(
    sort: str,
    detail: str,
    instance: str,
    *,
    errors: Sequence[Mapping[str, str]] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """One problem as it is sent."""
    found = SORTS[sort]
    body = {
        "type": f"/api/problems/{sort}",
        "title": found.title,
        "status": found.status,
        "detail": detail,
        "instance": instance,
    }
    if errors:
        body["errors"] = list(errors)
    # In ASCII: what was asked for may hold what no UTF-8 can.
    return Response(json.dumps(body), found.status, headers=headers, media_type=PROBLEM_JSON)
