"""Calendar files of a site or of one job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fleet.commands.door import door
from fleet.commands.printing import Site, print_line
from fleet.refusals import NotPossible, Unreadable


def register(app: typer.Typer) -> None:
    """Put the command of this module on the app."""
    app.command(rich_help_panel="Planning")(calendar)


def calendar(
    context: typer.Context,
    into: Annotated[Path, typer.Option("--into", help="The file: dues.ics. An older one is replaced.")],
    site: Site = None,
    job: Annotated[str | None, typer.Option("--job", "-j", help="Only this job.")] = None,
) -> None:
    """A calendar file (iCalendar): what falls due, the windows of jobs, and what is kept for them."""
    from fleet.lists.calendars import job_calendar, site_calendar
    from fleet.lists.jobs import find_job
    from fleet.lists.sites import find_site
    from fleet.papers.calendars import calendar_file

    if site and job:
        raise Unreadable("Name a site (--site) or a job (--job); a job has its site.")
    with door(context).look() as (db, now):
        if job:
            work = find_job(db, job)
            facts = job_calendar(db, find_site(db, work.site), work, now=now)
        else:
            facts = site_calendar(db, find_site(db, site), now=now)
    try:
        into.write_bytes(calendar_file(facts))
    except OSError as error:
        raise NotPossible(f"The calendar {into} cannot be written: {error.strerror}.") from None
    counted = ((facts.dues, "due day"), (facts.jobs, "job"), (facts.kept, "reservation"))
    counts = ", ".join(f"{len(found)} {word}{'' if len(found) == 1 else 's'}" for found, word in counted)
    print_line(f"Written into {into}: {counts}.")
