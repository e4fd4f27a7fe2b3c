"""The weeks as a picture: everything at its place, in words too, and nobody's words read as markup."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from xml.etree.ElementTree import Element

import pytest
from defusedxml.ElementTree import fromstring

from fleet.refusals import Unreadable
from fleet.rules.week_pictures import weeks_picture
from fleet.rules.weeks import (
    ItemWeeks,
    Period,
    Shortage,
    Sort,
    Stretch,
    Weeks,
    head,
    make_period,
    say_stretch,
    say_week,
)

SVG = "{http://www.w3.org/2000/svg}"
MONDAY = date(2026, 5, 11)
HOSTILE = "<script>alert('x')</script> & \"quoted\" \u0007 🔧"


def day(offset: int) -> date:
    return MONDAY + timedelta(days=offset)


def kept(first: int, last: int, job: str = "J-1") -> Stretch:
    return Stretch(Sort.RESERVED, day(first), day(last), job, f"reserved for {job}")


def due(on: int, task: str = "calibration") -> Stretch:
    return Stretch(Sort.DUE, day(on), day(on), task, f"{task} due")


def weeks_of(*stretches: Stretch, many: int = 4, short: tuple[Shortage, ...] = ()) -> Weeks:
    item = ItemWeeks("10014", "wrench", "W-1", "S1", stretches)
    return Weeks("NORTH", "North Basin", day(2), Period(MONDAY, many), (item,), short)


def drawn(found: Weeks) -> Element:
    root = fromstring(weeks_picture(found))
    assert isinstance(root, Element)
    return root


def titled(root: Element) -> dict[str, Element]:
    """What has words of its own, by those words."""
    return {str(group[0].text): group for group in root.iter(f"{SVG}g") if group[0].tag == f"{SVG}title"}


def bars(group: Element) -> list[tuple[float, float]]:
    """The left and right edges of the bars of a group."""
    found = [one for one in group.iter(f"{SVG}rect") if one.get("stroke")]
    return [(float(one.get("x", "")), float(one.get("x", "")) + float(one.get("width", ""))) for one in found]


def test_weeks_begin_on_a_monday_and_are_numbered_by_iso_8601() -> None:
    # ISO 8601: 28 December 2026 is the Monday of week 53, and 4 January 2027 that of week 1.
    period = make_period(date(2027, 1, 1), 2)
    assert period.mondays == (date(2026, 12, 28), date(2027, 1, 4))
    assert period.last_day == date(2027, 1, 10)
    assert [head(monday) for monday in period.mondays] == ["W53 28 Dec", "W01 4 Jan"]
    for many in (0, 54, -1):
        with pytest.raises(Unreadable, match="ask for 1 to 53"):
            make_period(MONDAY, many)


def test_a_bar_is_as_long_as_its_days_and_ends_at_the_edge_of_the_picture() -> None:
    root = drawn(weeks_of(kept(0, 6), kept(7, 13, "J-2"), kept(20, 90, "J-3"), kept(-30, 27, "J-4")))
    edges = {told.split(",")[0]: bars(group)[0] for told, group in titled(root).items() if bars(group)}

    one, two = edges["reserved for J-1"], edges["reserved for J-2"]
    assert one[1] - one[0] == pytest.approx(two[1] - two[0])
    week = two[0] - one[0]
    assert edges["reserved for J-4"] == pytest.approx((one[0], one[0] + 4 * week - 2))
    assert edges["reserved for J-3"] == pytest.approx(
        (one[0] + 20 * week / 7, one[0] + 4 * week - 2), abs=0.2
    )


def test_what_overlaps_stands_under_each_other_and_what_does_not_in_one_line() -> None:
    apart = drawn(weeks_of(kept(0, 6), kept(7, 13, "J-2")))
    crossed = drawn(weeks_of(kept(0, 7), kept(7, 13, "J-2"), due(7)))

    def heights(root: Element) -> list[float]:
        return [
            float(one.get("y", "")) for group in titled(root).values() for one in group.iter(f"{SVG}rect")
        ]

    assert len(set(heights(apart))) == 1
    assert len(set(heights(crossed))) == 2
    assert float(crossed.get("height", "")) == float(apart.get("height", "")) + 2 * 22


def test_rows_are_tall_enough_for_a_finger() -> None:
    one, two = (drawn(replace(weeks_of(), items=weeks_of().items * count)) for count in (1, 2))
    assert float(two.get("height", "")) - float(one.get("height", "")) >= 20


def test_the_picture_says_everything_in_words_too() -> None:
    short = Shortage("J-9", "F-1", "1,000 N·m", day(7), day(9), 2, 1)
    hold = Stretch(Sort.HOLD, day(3), None, "damaged", "on hold (damaged: arm bent)")
    root = drawn(weeks_of(kept(0, 3), hold, due(8), short=(short,)))

    assert root.get("role") == "img"
    told = root.find(f"{SVG}desc")
    assert told is not None
    assert told.text == (
        "11 May 2026 to 7 Jun 2026. J-9, F-1: 1 wrench short for 1,000 N·m, 18 May 2026 to 20 May 2026. "
        "Wrench 1001-4: reserved for J-1, 11 May 2026 to 14 May 2026; on hold (damaged: arm bent), from "
        "14 May 2026; calibration due. 0 more items are free in these weeks."
    )
    fills = {one.get("fill") for one in root.iter(f"{SVG}rect") if one.get("stroke")}
    assert {"#ffffff", "#d0d0d0", "url(#slant)", "url(#cross)"} == fills
    assert "wrench 1001-4, W-1, serial S1" in titled(root)


def test_words_of_people_are_never_read_as_markup_and_long_ones_are_kept_whole_in_their_title() -> None:
    long = f"{HOSTILE} {'very long designation ' * 9}".strip()
    found = weeks_of(kept(0, 6, HOSTILE))
    found = replace(found, site_name=HOSTILE, items=(replace(found.items[0], model=long),))
    root = drawn(found)

    assert root.find(f".//{SVG}script") is None
    clean = long.replace("\u0007", "\ufffd")
    assert f"Wrench {clean}" in titled(root)
    shown = [str(one.text) for one in titled(root)[f"Wrench {clean}"].iter(f"{SVG}text")]
    assert shown[0].endswith("…")
    assert len(shown[0]) < len(long)


def test_nothing_on_record_is_said() -> None:
    root = drawn(replace(weeks_of(), items=()))
    words = [str(one.text) for one in root.iter(f"{SVG}text")]
    assert "No item of this sort is on record at this site." in words


def test_words_near_the_edge_stand_before_their_mark() -> None:
    root = drawn(weeks_of(due(3), due(27)))
    anchors = [one.get("text-anchor") for one in root.iter(f"{SVG}text") if one.text == "calibration"]
    assert anchors == ["start", "end"]


def test_a_cell_names_the_job_or_what_stands_against_the_item() -> None:
    out = Stretch(Sort.OUT, day(0), day(3), "J-1", "out for J-1")
    away = Stretch(Sort.AWAY, day(0), None, "calibration", "away for calibration")
    assert say_week((kept(0, 6), out), MONDAY) == "out J-1"
    assert say_week((kept(0, 6), kept(3, 4, "J-2"), due(6)), MONDAY) == "J-1, J-2, due"
    assert say_week((kept(0, 6), due(7)), day(7)) == "due"
    assert say_week((away,), day(700)) == "away"
    assert say_week((), MONDAY) == ""
    assert say_stretch(kept(2, 2)) == "reserved for J-1, 13 May 2026"
