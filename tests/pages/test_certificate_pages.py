"""Certificates: taken in by form, CSV and XML, judged at once, accepted or refused by a named person."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from fleet.lists.calibrations import certificates, find_certificate
from fleet.lists.holds import holds
from fleet.lists.items import find_item
from fleet.lists.sites import find_site
from tests.pages.history import CERTIFIED, photograph
from tests.shop import NOON

if TYPE_CHECKING:
    from fleet.lists.calibrations import CertificateLine
    from tests.pages.browsing import Browser, Page, Pages

WRENCH = "201030"
WAY = f"/items/{WRENCH}/certificate"
SAID = {
    "number": "B-77",
    "laboratory": "Brook Valley Calibration",
    "on": "12 May 2026",
    "reference": "Transducer T-11",
    "traceability": "National standard of torque",
    "rule": "simple acceptance",
    "tolerance": "3",
}
GOOD = "as found; 6,500 psi; 866 lbf·ft; 8 lbf·ft\nas found; 10,000 psi; 1,312 lbf·ft; 10 lbf·ft"
BAD = f"as found; 6,500 psi; 960 lbf·ft; 8 lbf·ft\n{GOOD.replace('as found', 'as left')}"
CSV = "stage,pressure (psi),torque (lbf·ft),U (lbf·ft)\nas found,6500,866,8\nas found,10000,1312,10\n"
HOSTILE = "<b>{{7*7}}</b>"
BOMB = (
    "<?xml version='1.0'?><!DOCTYPE a [<!ENTITY a '0123456789'>"
    + "".join(f"<!ENTITY a{at} '&a{at - 1 if at else ''};&a{at - 1 if at else ''};'>" for at in range(1, 30))
    + "]><a>&a29;</a>"
).replace("&a0;", "&a;")
REACHING = "<?xml version='1.0'?><!DOCTYPE a [<!ENTITY x SYSTEM 'file:///etc/passwd'>]><a>&x;</a>"


def of(demo: Pages, tag: str = WRENCH) -> list[CertificateLine]:
    with demo.room.look() as db:
        return certificates(db, find_item(db, tag))


def take_in(browser: Browser, files: dict[str, tuple[str, bytes]] | None = None, **more: str) -> Page:
    browser.get(WAY)
    return browser.upload(WAY, files or {}, **(SAID | more))


def test_points_that_were_typed_are_judged_at_once(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    (given,) = re.findall(r'name="id" value="(\w+)"', keeper.get(WAY).body)
    answer = keeper.upload(WAY, {}, **(SAID | {"id": given, "points": GOOD, "note": HOSTILE}))
    page = keeper.follow(answer)
    assert "Certificate B-77 of 20103-0 is taken in as number" in page.text
    assert "Pass Received. Nothing changes before somebody competent accepts it." in page.text
    assert HOSTILE in page.text
    assert "<b>" not in page.body
    assert "as found 6,500 psi 866 lbf·ft 860 lbf·ft +0.70 % ±3 % 8 lbf·ft pass" in page.text
    assert page.body.count("<svg") == 1
    keeper.get(WAY)
    assert keeper.upload(WAY, {}, **(SAID | {"id": given, "points": GOOD})).status == 303
    assert len(of(demo)) == 1
    again = take_in(keeper, points=GOOD)
    assert again.status == 409
    assert "was taken in before" in again.text


def test_a_file_of_points_and_a_scan_are_kept_as_they_came(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    scan = photograph() + b"behind the picture"
    files = {"file": ("../points.csv", CSV.encode()), "scan": ("C:\\scans\\b77.jpg", scan)}
    page = keeper.follow(take_in(keeper, files))
    assert f"points.csv , {len(CSV.encode())} bytes" in page.text
    assert "b77.jpg" in page.text
    assert "scans" not in page.text.replace("scanners", "")
    ways = re.findall(r'href="(/certificates/\d+/files/\w+)"', page.body)
    kept = {keeper.ask_raw(way) for way in ways}
    assert kept == {CSV.encode(), scan}
    for way in ways:
        found = keeper.get(way)
        assert found.headers["content-disposition"].startswith("attachment;")
        assert found.headers["x-content-type-options"] == "nosniff"
        assert demo.as_("elsewhere").get(way).status == 404


def test_a_failure_as_found_keeps_it_in_and_opens_a_review(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    page = keeper.follow(take_in(keeper, points=BAD))
    assert "It is on hold now, and impact review" in page.text
    assert "As found fail" in page.text
    with demo.room.look() as db:
        held = [one.cause for one in holds(db, find_site(db, "NORTH"), now=NOON) if one.tag == WRENCH]
    assert held == ["calibration"]


@pytest.mark.parametrize(
    ("files", "more", "status", "said"),
    [
        ({}, {}, 422, "The certificate has no points"),
        ({}, {"points": "as found; 200"}, 422, "is not a point"),
        ({}, {"points": GOOD, "on": "2026-06-01"}, 409, "that day is still to come"),
        ({}, {"points": GOOD, "serial": "another"}, 409, "it is another item's"),
        ({}, {"points": GOOD, "tolerance": "much"}, 422, "as a number"),
        ({}, {"points": GOOD, "tolerance": "nan"}, 422, "as a number"),
        ({}, {"points": GOOD, "rule": "whatever"}, 422, "Choose a decision rule"),
        ({}, {"points": "as found; 9 psi; 1 lbf·ft"}, 422, "9 psi"),
        ({"file": ("x.xml", BOMB.encode())}, {}, 422, "That did not work"),
        ({"file": ("x.xml", REACHING.encode())}, {}, 422, "That did not work"),
        ({"file": ("x.xml", b"<svg xmlns='http://www.w3.org/2000/svg'/>")}, {}, 422, "That did not work"),
        ({"file": ("x.csv", b"\xff\xfe\0\0" * 99)}, {}, 422, "That did not work"),
        ({"file": ("x.csv", b"=1+1,@x\n")}, {}, 422, "That did not work"),
        ({"file": ("x.csv", b"a" * 5_000_001)}, {}, 422, "at most 5,000,000"),
        ({"scan": ("x.pdf", b"<html>")}, {"points": GOOD}, 422, "no PDF, JPEG or PNG"),
        ({"file": ("x.pdf", b"%PDF-1.7")}, {}, 422, "A scan holds no points"),
    ],
)
def test_what_cannot_be_taken_in_says_why(
    demo: Pages, files: dict[str, tuple[str, bytes]], more: dict[str, str], status: int, said: str
) -> None:
    keeper = demo.as_("keeper")
    answer = take_in(keeper, files, **more)
    assert (answer.status, said in answer.text) == (status, True), answer.text[300:900]
    assert "root:" not in answer.text
    assert 'value="B-77"' in answer.body
    assert of(demo) == []


def test_it_is_accepted_by_somebody_of_whom_we_are_sure(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    assert "Certificates to decide" in keeper.get("/certificates").text
    assert "K-2026-118" in keeper.get("/certificates").text
    demo.clock.pass_by(minutes=6)
    page = keeper.get("/certificates/1")
    assert "prove anew that it is you" in page.text
    assert keeper.post("/certificates/1/accept").headers["location"].startswith("/again")
    with demo.room.look() as db:
        assert find_certificate(db, 1).standing == "received"
    demo.clock.pass_by(minutes=-6)
    keeper.get("/certificates/1")
    page = keeper.follow(keeper.post("/certificates/1/accept", note="As agreed with the laboratory."))
    assert "is accepted (pass). Next calibration: 13 May 2027" in page.text
    assert "Its own chart now runs from 6,500 psi to 10,000 psi." in page.text
    assert "Accepted by Marla Quistgard" in page.text
    assert "None waits for a decision." in keeper.get("/certificates").text
    item = keeper.get(f"/items/{CERTIFIED}")
    assert "own chart of 20104-8: 6,500, 866; 10,000, 1,312." in item.text
    assert "Drift of wrench 20104-8" in item.text
    keeper.get(f"/items/{CERTIFIED}/inspect")
    assert keeper.post("/certificates/1/accept").status == 409


def test_it_is_refused_with_a_reason(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    keeper.get("/certificates/1")
    short = keeper.post("/certificates/1/refuse", reason="no")
    assert short.status == 409
    page = keeper.follow(keeper.post("/certificates/1/refuse", reason=f"Wrong item. {HOSTILE}"))
    assert "Refused by Marla Quistgard" in page.text
    assert f"Wrong item. {HOSTILE}" in page.text
    assert "<b>" not in page.body
    assert "Accept it" not in page.text


def test_somebody_elsewhere_is_told_that_there_is_none(demo: Pages) -> None:
    east = demo.as_("elsewhere")
    page = east.get("/certificates/1")
    assert page.status == 404
    assert "There is no certificate 1 at a site of yours." in page.text
    east.get("/own")
    for act in ("accept", "refuse"):
        assert east.post(f"/certificates/1/{act}", reason="It is not ours at all.").status == 404
