"""The demo's jobs are planned and accepted, and every kit passes its check."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest

from fleet.commands.seeding import fill, moment_of, read_all, write_sheets
from fleet.desk.plans import accept, propose
from fleet.lists.breakouts import measured_before
from fleet.lists.items import find_item
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.kits import check_kit, window_of
from fleet.lists.people import find_actor
from fleet.lists.plan_facts import gather, joint_facts
from fleet.lists.plan_kits import complete
from fleet.lists.reservations import reserved_for
from fleet.lists.sites import find_site
from fleet.planning.facts import Limits
from fleet.planning.plan import make_plan
from fleet.rules.plans import Draft

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.room import Room
    from tests.shop import Clock


# --- The demo -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", ["NORTH", "EAST"])
def test_the_demo_is_planned_accepted_and_every_kit_passes(
    room: Room, clock: Clock, tmp_path: Path, code: str
) -> None:
    today = date(2026, 5, 13)
    clock.now = moment_of(today)
    fill(room, read_all(write_sheets(tmp_path, today)), lambda *_: None)
    with room.look() as db:
        ground = gather(db, find_site(db, code), today, today + timedelta(weeks=13), now=room.now(db))
        planner = find_actor(db, {"NORTH": "N21", "EAST": "E21"}[code])[0]
    made = complete(ground, make_plan(ground.facts, limits=Limits(seconds=3)))
    assert len(made.parts) >= 5
    assert made.score.unserved <= made.first_come.unserved
    with room.act() as db:
        draft = Draft(clock.now, clock.now + timedelta(weeks=13), 4.0, (made,))
        number = propose(db, "p", draft, by=planner, now=room.now(db))
    with room.act() as db:
        accept(db, number, by=planner, now=room.now(db))
    with room.look() as db:
        for part in made.parts:
            job = find_job(db, part.job)
            joint = find_joint(db, job, part.joint)
            facts = joint_facts(joint, measured_before(db, code, joint.mark))
            assert facts is not None
            for kit in part.kits:
                ids = [find_item(db, tag).id for tag in kit.tags]
                times = reserved_for(db, ids, joint.id, clock.now)
                assert times == (part.starts_at, part.ends_at)
                window = window_of(job, find_site(db, code), times)
                assert check_kit(db, ids, facts, window, now=room.now(db)).usable
