"""The kit search as it is asked for: a joint of a job by its mark, a window, a margin; and its answer."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from fleet.lists.breakouts import measured_before
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.joint_facts import joint_facts, limits_of
from fleet.lists.kit_answers import Asked, KitAnswer
from fleet.lists.kit_search import Search
from fleet.lists.kit_shortage import shortage
from fleet.lists.kits import Window, window_of
from fleet.lists.sites import find_site
from fleet.measures.times import local_day, zone
from fleet.refusals import NotPossible
from fleet.rules.kit_search import asked_margin, kept_out

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

MOST_ALTERNATIVES = 50


@dataclass(frozen=True, slots=True)
class KitQuestion:
    """A joint of a job; the window [starts_at, ends_at) is the job's own where nothing is given."""

    job: str
    joint: str
    margin_percent: float = 10.0
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    alternatives: int = 5


def ask(db: Connection, question: KitQuestion, *, now: datetime) -> Asked:
    """The question with everything it is about; refused in one sentence where it makes no sense."""
    if not 1 <= question.alternatives <= MOST_ALTERNATIVES:
        raise NotPossible(f"Ask for 1 to {MOST_ALTERNATIVES} alternatives.")
    margin = asked_margin(question.margin_percent)
    job = find_job(db, question.job)
    joint = find_joint(db, job, question.joint)
    site = find_site(db, job.site)
    window = window_of(job, site)
    if question.starts_at or question.ends_at:
        window = _between(
            window, question.starts_at or job.starts_at, question.ends_at or job.ends_at, job.time_zone
        )
    if window.ends_at <= now:
        raise NotPossible("The window has already passed.")
    facts = joint_facts(joint, measured_before(db, job.site, joint.mark))
    return Asked(job, site, facts, limits_of(joint), window, margin, question.alternatives, now)


def _between(window: Window, starts_at: datetime, ends_at: datetime, time_zone: str) -> Window:
    if ends_at <= starts_at:
        raise NotPossible("The window ends before it starts.")
    there = zone(time_zone)
    last = local_day(ends_at - timedelta(microseconds=1), there)
    first = local_day(starts_at, there)
    return replace(window, starts_at=starts_at, ends_at=ends_at, first_day=first, last_day=last)


def find_kits(db: Connection, asked: Asked) -> KitAnswer:
    """The kits that do for the joint, best first, each passed by the gate; else why none does."""
    search = Search(db, asked)
    found = search.alternatives()
    tallies, hire = ((), ()) if found else shortage(search)
    unknown = [
        model.designation
        for model in search.right_wrenches()
        if (why := kept_out(model.size, asked.limits)) and why.startswith("with no")
    ]
    return KitAnswer(
        joint=asked.joint.mark,
        first_day=asked.first_day,
        last_day=asked.window.last_day,
        needed_nm=search.needed_nm,
        margin_percent=100 * asked.margin,
        at_once=asked.limits.at_once,
        alternatives=found,
        tallies=tallies,
        hire=hire,
        unknown_sizes=tuple(sorted(unknown)),
        stopped=tuple((kind, why, count) for (kind, why), count in sorted(search.stopped.items())),
    )
