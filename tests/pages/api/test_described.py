"""Whatever is asked, by the description or against it: no answer breaks, and none is undescribed.

Schemathesis makes the requests of the description that the real server hands out, as it is described and
wrongly, and holds each answer against it.
"""

from __future__ import annotations

import sys
from collections import Counter
from typing import TYPE_CHECKING, Any
from zlib import crc32

import schemathesis
from fastapi import FastAPI
from schemathesis import engine
from schemathesis.config import SchemathesisConfig
from schemathesis.engine import events

from fleet.pages.api import api
from fleet.pages.api.bearer import Pace
from fleet.pages.headers import Headers
from tests.pages.api.programs import KEY, Programs
from tests.pages.browsing import serving

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock

    AnyCase = schemathesis.Case[Any]

# What the demo's room knows, in place of words that nobody ever wrote: of those nothing is there.
KNOWN: dict[str, tuple[str, ...]] = {
    "item": ("201013", "201312", "201290", "202081", "201933", "201440", "301135"),
    "job": ("NB-142", "NB-140", "EQ-133"),
    "joint": ("E-204 channel", "18 in blind, class 300"),
    "model": ("WSQ-07", "PAI-11"),
    "borrower": ("N44", "N12"),
    "asked_by": ("N21",),
    "task": ("calibration", "inspection", "oil change"),
    "torque": ("400 N·m", "930 lbf·ft"),
    "available": ("3 kN·m",),
    "preload": ("200 kN",),
    "thread": ("M36", "1 1/2-8 UN"),
    "gauge": ("202081",),
    "back_on": ("2026-05-20",),
    "entry": ("2467", "6000"),
    "site": ("NORTH",),
}
# The house may refuse what is written as described: a measure of another kind, a day that is none.
CHECKS = {"positive_data_acceptance": {"enabled": False}}


def config(token: str, *, deep: bool) -> SchemathesisConfig:
    phases: dict[str, Any] = {"stateful": {"enabled": False}, "coverage": {"enabled": deep}}
    return SchemathesisConfig.from_dict(
        {
            "seed": 20260513,
            "headers": {"Authorization": f"Bearer {token}"},
            "continue-on-failure": True,
            "checks": CHECKS,
            "phases": phases,
            "generation": {"max-examples": 120 if deep else 3, "deterministic": not deep},
        }
    )


def put_in_known(case: AnyCase) -> AnyCase:
    """What is on record, in three of four requests that are meant to be right; and a key of its own."""
    meta = case.meta
    at = crc32(repr((case.path_parameters, case.query, case.body)).encode(errors="replace"))
    if meta is None or not meta.generation.mode.is_positive or at % 4 == 0:
        return case
    if KEY in case.headers:
        case.headers[KEY] = f"request-{case.operation.label.count('/')}-{at}"
    places: list[Any] = [case.path_parameters, case.query, case.body]
    for place in places:
        if isinstance(place, dict):
            for name in place.keys() & KNOWN.keys():
                if isinstance(place[name], str):
                    place[name] = KNOWN[name][at % len(KNOWN[name])]
            if isinstance(place.get("items"), list):
                place["items"] = [KNOWN["item"][at % len(KNOWN["item"])]]
    return case


def test_no_request_breaks_anything_and_no_answer_is_undescribed(
    demo_room: Room, clock: Clock, deep: bool
) -> None:
    app = FastAPI()
    app.router.routes.append(api(demo_room, Pace(at_once=1_000_000)))
    app.add_middleware(Headers)
    with serving(demo_room, clock, app) as pages:
        token = Programs(pages).token("N11")
        address = f"http://127.0.0.1:{pages.port}/api/openapi.json"
        schema = schemathesis.openapi.from_url(address, config=config(token, deep=deep))

        @schema.hook
        def map_case(_context: object, case: AnyCase) -> AnyCase:
            return put_in_known(case)

        failures, statuses = run(schema)
    sys.stdout.write(f"\n{statuses.total()} requests: {dict(sorted(statuses.items()))}\n")
    assert failures == []
    assert statuses.total() >= (5_000 if deep else 120)
    assert not [status for status in statuses if status >= 500]
    # It is of no use when next to nothing gets through to the house.
    assert statuses[200] > statuses.total() / 20


def run(schema: schemathesis.BaseSchema) -> tuple[list[str], Counter[int]]:
    """What failed, and how many answers of each status there were."""
    failures: list[str] = []
    statuses: Counter[int] = Counter()
    for event in engine.from_schema(schema).execute():
        if isinstance(event, events.ScenarioFinished):
            for one in event.recorder.interactions.values():
                statuses[one.response.status_code if one.response else 0] += 1
            for checks in event.recorder.checks.values():
                failures += [
                    f"{event.recorder.label}: {check.name}: {check.failure_info.failure} "
                    f"{check.failure_info.code_sample}"
                    for check in checks
                    if check.failure_info
                ]
        elif isinstance(event, events.NonFatalError | events.FatalError):
            failures.append(str(getattr(event, "value", None) or getattr(event, "exception", event)))
    return failures, statuses
