"""Sheets through the pages: tried first, the very same taken in once, nothing of other sites written out."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select

from fleet import records
from fleet.desk.imports import Report
from fleet.pages.guard import File
from fleet.pages.uploads import Uploads, read_upload
from fleet.records.base import rows_of
from fleet.refusals import NotFound
from tests.pages.handing_in import JOBS, sent, tried, workbook
from tests.shop import NOON

if TYPE_CHECKING:
    from tests.pages.browsing import Page, Pages

TWO = JOBS + "NB-901,Cooler,NORTH,2026-08-05,2026-08-04,\n"


def key_of(page: Page) -> str:
    found = re.search(r'name="key" value="([^"]+)"', page.body)
    assert found, page.text
    return found[1]


def jobs(demo: Pages, *codes: str) -> int:
    with demo.room.look() as db:
        table = rows_of(records.JobRow)
        return int(db.execute(select(func.count()).where(table.c.code.in_(codes))).scalar_one())


def imported(demo: Pages) -> list[dict[str, object]]:
    with demo.room.look() as db:
        entries = rows_of(records.EntryRow)
        rows = db.execute(
            select(entries.c.body).where(entries.c.act == "imported", entries.c.person_id.is_not(None))
        )
        return [json.loads(body) for (body,) in rows]


def test_files_are_tried_then_taken_in_once(demo: Pages) -> None:
    pat = demo.as_("planner")
    page = tried(pat, ("jobs.csv", JOBS))
    assert "What would become of these files" in page.text
    assert "Nothing is saved yet." in page.text
    assert jobs(demo, "NB-900") == 0
    key = key_of(page)
    page = pat.follow(pat.post("/sheets/take", key=key))
    assert "Saved: 1 new, 0 changed." in page.text
    assert jobs(demo, "NB-900") == 1
    page = pat.follow(pat.post("/sheets/take", key=key))
    assert "nothing was done twice" in page.text
    assert len(imported(demo)) == 1


def test_the_same_file_again_changes_nothing(demo: Pages) -> None:
    pat = demo.as_("planner")
    pat.follow(pat.post("/sheets/take", key=key_of(tried(pat, ("jobs.csv", JOBS)))))
    page = tried(pat, ("again.csv", JOBS))
    assert "Nothing has to be saved" in page.text
    assert len(imported(demo)) == 1


def test_every_row_is_accounted_for_and_the_refused_ones_can_be_mended_and_handed_in_again(
    demo: Pages,
) -> None:
    pat = demo.as_("planner")
    page = tried(pat, ("jobs.csv", TWO + ",,,,,\n"))
    assert re.search(
        r'Rows">3</td><td data-of="New">1</td>.*Refused"><strong>1</strong></td><td data-of="Blank">1',
        page.body,
    )
    assert "End must be after Start; check both." in page.text
    key = key_of(page)
    faults = list(csv.reader(io.StringIO(pat.ask_raw(f"/sheets/faults.csv?key={key}").decode())))
    assert faults[1][:6] == ["jobs.csv", "jobs", "3", "End", "2026-08-04", "ends first"]
    raw = pat.ask_raw(f"/sheets/refused.csv?key={key}&table=0").decode()
    refused = list(csv.reader(io.StringIO(raw)))
    assert refused[0][-1] == "Refused because"
    assert [row[0] for row in refused[1:]] == ["NB-901"]
    page = pat.post("/sheets/take", key=key)
    assert page.status == 409
    assert "Nothing was saved: 1 row is refused." in page.text
    assert jobs(demo, "NB-900", "NB-901") == 0
    pat.follow(pat.post("/sheets/take", key=key, skip="yes"))
    assert jobs(demo, "NB-900", "NB-901") == 1
    mended = tried(pat, ("mended.csv", raw.replace("2026-08-04", "2026-08-06")))
    pat.follow(pat.post("/sheets/take", key=key_of(mended)))
    assert jobs(demo, "NB-900", "NB-901") == 2


def test_headings_that_cannot_be_read_are_said_and_no_rows_offered(demo: Pages) -> None:
    page = tried(demo.as_("planner"), ("jobs.csv", "Job,Nonsense\nNB-1,2\n"))
    assert page.status == 200
    assert "is not a heading of the sheet" in page.text
    assert "refused.csv" not in page.body
    assert "Take them in" not in page.text


def test_rows_of_sites_without_the_role_are_refused(demo: Pages) -> None:
    page = tried(demo.as_("planner"), ("jobs.csv", JOBS.replace("NORTH", "EAST")))
    assert "that role is needed for this" in page.text
    page = tried(demo.as_("officer"), ("jobs.csv", JOBS))
    assert "that role is needed for this" in page.text
    assert "Nothing in these files can be saved" in page.text


def test_what_one_person_handed_in_is_not_anothers(demo: Pages) -> None:
    key = key_of(tried(demo.as_("planner"), ("jobs.csv", JOBS)))
    kim = demo.as_("keeper")
    assert kim.get(f"/sheets/tried?key={key}").status == 404
    kim.get("/sheets")
    assert kim.post("/sheets/take", key=key).status == 404
    assert kim.get(f"/sheets/faults.csv?key={key}").status == 404
    assert jobs(demo, "NB-900") == 0


def test_after_an_hour_the_files_are_gone() -> None:
    uploads = Uploads()
    batch = uploads.keep(1, [read_upload(File("jobs.csv", JOBS.encode()))], Report((), (), (), ()), NOON)
    assert uploads.find(batch.key, 1, NOON + timedelta(minutes=60)) == batch
    with pytest.raises(NotFound, match="no longer kept"):
        uploads.find(batch.key, 1, NOON + timedelta(minutes=61))


def test_whoever_takes_in_people_proves_first_that_it_is_them(demo: Pages) -> None:
    """A sheet of people gives roles."""
    sam = demo.as_("officer")
    people = "Badge,Name,Site,Role\nN99,New Person,NORTH,keeper\n"
    demo.clock.pass_by(minutes=11)
    page = sent(sam, ("people.csv", people))
    assert page.status == 303, page.text
    shown = sam.get(page.headers["location"])
    assert shown.status == 303
    assert shown.headers["location"].startswith("/again?next=")
    sam.get("/again")
    key = page.headers["location"].partition("key=")[2]
    assert sam.post("/sheets/take", key=key).headers["location"].startswith("/again")


def test_a_workbook_is_taken_in_as_well(demo: Pages) -> None:
    rows = [line.split(",") for line in JOBS.splitlines()]
    page = tried(demo.as_("planner"), ("all.xlsx", workbook("jobs", rows)))
    assert "all.xlsx, jobs" in page.text
    assert 'New">1<' in page.body


def test_only_so_much_is_kept_at_a_time() -> None:
    uploads, empty = Uploads(), Report((), (), (), ())
    read = read_upload(File("jobs.csv", JOBS.encode()))
    first = uploads.keep(1, [read], empty, NOON)
    batches = [uploads.keep(2, [read], empty, NOON + timedelta(seconds=at)) for at in range(1, 51)]
    assert uploads.files(batches[-1])[0].content == read.content
    with pytest.raises(NotFound):
        uploads.find(first.key, 1, NOON)


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode())))


def test_only_ones_own_sites_are_written_out(demo: Pages) -> None:
    pat, elsewhere = demo.as_("planner"), demo.as_("elsewhere")
    north, east = rows(pat.ask_raw("/sheets/items.csv")), rows(elsewhere.ask_raw("/sheets/items.csv"))
    assert {row["Site"] for row in north} == {"NORTH"}
    assert {row["Site"] for row in east} == {"EAST"}
    tags = {row["Tag"] for row in north}
    for name in ("loans", "reservations", "holds", "use"):
        assert {row["Tag"] for row in rows(pat.ask_raw(f"/sheets/{name}.csv"))} <= tags
    codes = {row["Job"] for row in rows(pat.ask_raw("/sheets/jobs.csv"))}
    assert {row["Job"] for row in rows(pat.ask_raw("/sheets/joints.csv"))} <= codes
    assert {row["Site"] for row in rows(pat.ask_raw("/sheets/people.csv"))} <= {"NORTH", ""}
    assert rows(pat.ask_raw("/sheets/models.csv")) == rows(elsewhere.ask_raw("/sheets/models.csv"))


def test_what_is_written_out_comes_in_again_without_a_change(demo: Pages) -> None:
    pat = demo.as_("planner")
    book = pat.ask_raw("/sheets/all.xlsx")
    page = tried(pat, ("all.xlsx", book))
    assert "Nothing has to be saved" in page.text, page.text[:3000]
    page = tried(
        pat, ("joints.csv", pat.ask_raw("/sheets/joints.csv")), ("jobs.csv", pat.ask_raw("/sheets/jobs.csv"))
    )
    assert "Nothing has to be saved" in page.text
