"""Calendar files (iCalendar, RFC 5545): the same record gives the same bytes, and each entry keeps its name.

Due days are all-day dates. Windows are dates where they are whole days at the site, else UTC instants, so
that no table of a time zone travels along. Nobody's name is written: calendars are passed on.
"""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING
from uuid import UUID, uuid5

from icalendar import Calendar, Event, vText

from fleet.measures.tags import show_tag
from fleet.measures.times import as_utc, local_day, start_of_day, zone
from fleet.rules.upkeep import spoken

if TYPE_CHECKING:
    from datetime import date, datetime

    from fleet.lists.calendars import CalendarFacts, DueEntry, JobEntry, KeptEntry

PRODUCT = "-//fleet//tool room calendar//EN"

# The program's own, drawn once: names within it never meet those of another program (RFC 9562, 6.5).
_NAMES = UUID("5b6c1e0a-93a7-4f0e-8d2b-6a4f1c7e2d90")
# What may stand in no text of a calendar (RFC 5545, 3.1); a line break may, and is escaped.
_CONTROL = re.compile("[\u0000-\u0008\u000b-\u001f\u007f]")


def calendar_file(facts: CalendarFacts, *others: CalendarFacts) -> bytes:
    """The calendar of one site, or of several, as a file: lines of at most 75 octets, each ended by CR LF."""
    made = Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("uid", _uid(facts.site, "calendar", facts.title))
    # The second is what most programs read as the name.
    for name in ("name", "x-wr-calname"):
        made.add(name, vText(_one_line(facts.title)))
    for one in (facts, *others):
        for due in one.dues:
            made.add_component(_due(one.site, due))
        for job in one.jobs:
            made.add_component(_job(one.site, job))
        for kept in one.kept:
            made.add_component(_kept(one.site, kept))
    return bytes(made.to_ical())


def _due(site: str, due: DueEntry) -> Event:
    likely = " likely to be" if due.use else ""
    what = f"{due.kind} {show_tag(due.tag)}"
    event = _event(
        _uid(site, "due", f"{due.tag}/{due.task_id}"),
        f"{spoken(due.task)}{likely} due: {what}",
        f"Model {due.model}, serial {due.serial}.{' By use.' if due.use else ''} It counts through this day.",
        due.revised.at,
        due.revised.count,
    )
    event.add("dtstart", due.on)
    event.add("dtend", due.on + timedelta(days=1))
    event.add("categories", ["due"])
    return event


def _job(site: str, job: JobEntry) -> Event:
    joints = "1 joint" if job.joints == 1 else f"{job.joints} joints"
    event = _event(
        _uid(site, "job", job.code),
        f"{job.code}: {job.name}",
        f"Job with {joints} on its plan.",
        job.revised.at,
        job.revised.count,
    )
    _window(event, job.starts_at, job.ends_at, job.time_zone)
    event.add("categories", ["job"])
    return event


def _kept(site: str, kept: KeptEntry) -> Event:
    joint = f", joint {kept.joint}" if kept.joint else ""
    of_class = f" Any {kept.any_of} will do." if kept.any_of else ""
    event = _event(
        _uid(site, "reservation", kept.client_id),
        f"{kept.job}: {kept.kind} {show_tag(kept.tag)}",
        f"{kept.kind.capitalize()} {kept.model}, reserved for {kept.job}, {kept.job_name}{joint}.{of_class}",
        kept.ended_at if kept.given_up and kept.ended_at else kept.reserved_at,
        1 if kept.given_up else 0,
    )
    _window(event, kept.starts_at, kept.ends_at, kept.time_zone)
    event.add("status", "CANCELLED" if kept.given_up else "CONFIRMED")
    event.add("categories", ["reservation"])
    return event


def _event(uid: str, summary: str, description: str, revised_at: datetime, revision: int) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", as_utc(revised_at))
    event.add("sequence", revision)
    event.add("summary", _one_line(summary))
    event.add("description", _clean(description))
    # It takes up nobody's time: whoever has it in the calendar is as free as before.
    event.add("transp", "TRANSPARENT")
    return event


def _window(event: Event, starts_at: datetime, ends_at: datetime, time_zone: str) -> None:
    """The window as dates where it is whole days at the site, the last one included; else as instants."""
    there = zone(time_zone)
    first, end = local_day(starts_at, there), local_day(ends_at, there)
    whole = starts_at == start_of_day(first, there) and ends_at == start_of_day(end, there)
    edges: tuple[date, date] = (first, end) if whole else (as_utc(starts_at), as_utc(ends_at))
    event.add("dtstart", edges[0])
    event.add("dtend", edges[1])


def _uid(site: str, sort: str, key: str) -> str:
    """A name that is the same in every export, and is another one at every site (RFC 7986, 5.3)."""
    return str(uuid5(_NAMES, f"{site}\0{sort}\0{key}"))


def _clean(words: str) -> str:
    return _CONTROL.sub("\ufffd", words.replace("\r\n", "\n").replace("\r", "\n"))


def _one_line(words: str) -> str:
    return " ".join(_clean(words).split())
