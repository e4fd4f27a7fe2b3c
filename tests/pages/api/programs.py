"""A program that asks with a token, and every address of the interface with what it answers to whom."""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import dataclass, field
from http.client import HTTPConnection
from itertools import count
from typing import TYPE_CHECKING, Any

from fleet.desk.tokens import TokenSlip, make_token
from fleet.lists.people import find_actor
from fleet.lists.sites import find_site
from fleet.rules.tokens import Scope

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tests.pages.browsing import Pages

KEY = "Idempotency-Key"
PROBLEM = "application/problem+json"
FOR_PROGRAMS = tuple(scope for scope in Scope if scope is not Scope.CALENDAR)
_KEYS = count(1)


@dataclass(frozen=True)
class Told:
    """What was answered."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def json(self) -> Any:  # noqa: ANN401  Whatever it is.
        return json.loads(self.body)

    @property
    def problem(self) -> tuple[int, str]:
        """The status, and the sort of the problem, which is well-formed."""
        assert self.headers["content-type"] == PROBLEM, self.body
        said = self.json
        assert {"type", "title", "status", "detail", "instance"} <= set(said)
        assert said["status"] == self.status
        return self.status, said["type"].removeprefix("/api/problems/")


@dataclass(frozen=True)
class Call:
    """One address with what is sent, the scope it needs, and the answer to each role.

    Keeper, planner and officer of NORTH, one with every role at EAST, and an administrator without any role.
    """

    method: str
    path: str
    scope: Scope
    answers: tuple[int, int, int, int, int]
    body: Mapping[str, object] | None = None
    template: str = ""

    @property
    def listed(self) -> tuple[str, str]:
        return self.method, self.template or self.path.partition("?")[0]


@dataclass
class Programs:
    """Programs of the people of a room."""

    pages: Pages
    made: dict[str, str] = field(default_factory=dict)

    def token(
        self, badge: str, *scopes: Scope, site: str | None = None, days: int = 1, name: str = "scanner"
    ) -> str:
        with self.pages.room.act() as db:
            by, _ = find_actor(db, badge)
            place = find_site(db, site) if site else None
            slip = TokenSlip(name, scopes or FOR_PROGRAMS, place, days)
            return make_token(db, slip, by=by, now=self.pages.room.now(db))

    def ask(
        self,
        method: str,
        path: str,
        token: str | None,
        body: object = None,
        *,
        key: str | None = None,
        **headers: str,
    ) -> Told:
        """Ask as a program does; without a ``key`` each request has one of its own."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if token:
            sent["Authorization"] = f"Bearer {token}"
        content = None
        if body is not None:
            content = body if isinstance(body, bytes) else json.dumps(body).encode()
            sent = {"Content-Type": "application/json", KEY: key or f"request-{next(_KEYS)}"} | sent
        return self.raw(method, path, content, sent)

    def raw(self, method: str, path: str, content: bytes | None, headers: Mapping[str, str]) -> Told:
        with closing(HTTPConnection("127.0.0.1", self.pages.port, timeout=120)) as line:
            line.request(method, path, content, dict(headers))
            answer = line.getresponse()
            return Told(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())

    def call(self, one: Call, token: str | None) -> Told:
        return self.ask(one.method, f"/api{one.path}", token, one.body)


_EVERYBODY, _OWN, _HERE = (200, 200, 200, 200, 404), (200, 200, 200, 404, 404), (200, 200, 200, 404, 404)
_READ = Scope.READ


def _list(path: str, template: str = "", answers: tuple[int, int, int, int, int] = _EVERYBODY) -> Call:
    return Call("GET", path, _READ, answers, template=template)


def _post(
    path: str, scope: Scope, answers: tuple[int, int, int, int, int], template: str = "", **body: object
) -> Call:
    return Call("POST", path, scope, answers, body, template)


_SHEET = {"job": "NB-142", "joint": "E-204 channel"}
CALLS = (
    _list("/sites", answers=(200, 200, 200, 200, 200)),
    _list("/items?kind=pump&limit=3"),
    _list("/items/201013", "/items/{item}", _OWN),
    _list("/items/201013/certificates", "/items/{item}/certificates", _OWN),
    _list("/items/201312/uses?limit=2", "/items/{item}/uses", _OWN),
    _list("/due?days=30"),
    _list("/out"),
    _list("/away"),
    _list("/holds"),
    _list("/concessions"),
    _list("/jobs"),
    _list("/jobs/NB-142", "/jobs/{job}", _OWN),
    _list("/reservations"),
    _list("/weeks?first=2026-05-11&weeks=2&kind=wrench"),
    _list("/models?kind=pump"),
    _list("/models/PAI-11", "/models/{model}"),
    _list("/people"),
    _list("/duty"),
    _list("/letters"),
    _list("/daybook?limit=1"),
    _post(
        "/issues/look-over",
        _READ,
        _HERE,
        items=["201013"],
        borrower="N44",
        job="NB-142",
        back_on="2026-05-20",
    ),
    _post("/kits/check", _READ, _HERE, items=["201257", "201370"], **_SHEET),
    _post("/kits/search", _READ, _HERE, alternatives=1, **_SHEET),
    _post("/calculations/set-pressure", _READ, _HERE, item="201013", torque="400 N·m"),
    _post("/calculations/passes", _READ, _EVERYBODY, model="WSQ-07", torque="400 N·m", bolts=8),
    _post(
        "/calculations/loosening-cover",
        _READ,
        (200,) * 5,
        available="3000 N·m",
        torque="1000 lbf·ft",
        factor=1.6,
        reason="rusted studs, four years outdoors",
    ),
    _post(
        "/calculations/torque-from-preload",
        _READ,
        (200,) * 5,
        thread="1 1/2-8 UN",
        preload="200 kN",
        nut_factor=0.17,
        grade="A193 B7",
    ),
    _post(
        "/issues",
        Scope.COUNTER,
        (200, 403, 403, 404, 404),
        items=["201013"],
        borrower="N44",
        job="NB-142",
        back_on="2026-05-20",
    ),
    _post("/returns", Scope.COUNTER, (200, 403, 403, 404, 404), item="201290", cycles=12, minutes=0),
    _post(
        "/uses", Scope.COUNTER, (200, 403, 403, 404, 404), item="201466", minutes=5, note="test run outside"
    ),
    _post(
        "/uses/2467/reverse",
        Scope.COUNTER,
        (200, 403, 403, 404, 404),
        "/uses/{entry}/reverse",
        reason="counted twice that day",
    ),
    _post("/reservations", Scope.PLAN, (200, 200, 403, 404, 404), items=["201714"], job="NB-142"),
    _post(
        "/reservations/set-free",
        Scope.PLAN,
        (200, 200, 403, 404, 404),
        item="202065",
        job="NB-140",
        reason="the joint was taken off the plan",
    ),
    _post(
        "/upkeep", Scope.UPKEEP, (200, 403, 403, 404, 404), item="201440", task="oil change", note="new oil"
    ),
    _post(
        "/inspections",
        Scope.UPKEEP,
        (200, 403, 403, 404, 404),
        item="201312",
        occasion="before use",
        all_fine=True,
    ),
    _post("/holds", Scope.UPKEEP, (200, 403, 200, 404, 404), item="201056", reason="a scratch on the piston"),
    _post(
        "/holds/release",
        Scope.EXCEPTIONS,
        (404, 403, 404, 404, 404),
        item="201933",
        by="inspection",
        evidence=1,
        words="looked over and found sound",
    ),
    _post(
        "/concessions",
        Scope.EXCEPTIONS,
        (403, 403, 200, 404, 404),
        item="201144",
        task="calibration",
        job="NB-142",
        asked_by="N21",
        reason_code="no other item",
        reason="the only wrench of its size in the room",
    ),
    _post(
        "/away",
        Scope.UPKEEP,
        (200, 403, 200, 404, 404),
        item="202081",
        sent_to="Laboratory of the harbour",
        errand="repair",
    ),
    _post("/away/back", Scope.UPKEEP, (200, 403, 200, 404, 404), item="202081"),
    _post("/letters/1/acknowledge", Scope.REVIEW, (404,) * 5, "/letters/{letter}/acknowledge"),
)
ROLES = ("keeper", "planner", "officer", "elsewhere", "administrator")
