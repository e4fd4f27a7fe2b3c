"""Repairs, recalls, reviews and traces as people type them."""

from __future__ import annotations

import re
import shlex
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from fleet.ledgers.reviews import open_review
from fleet.lists.items import find_item
from fleet.measures.tags import show_tag
from fleet.records import JointRow, TaskAfterRepairRow, UsageRow
from tests.proofs import inspected

if TYPE_CHECKING:
    from tests.commands.typed import Desk

SAID = ("--description", "Seals of the rod end changed")


def item_of(desk: Desk, tag: str) -> int:
    with desk.room.look() as db:
        return find_item(db, tag).id


def test_a_repair_says_what_must_be_done_again_and_stands_in_the_list(desk: Desk) -> None:
    desk.shop.put(TaskAfterRepairRow, task_id=desk.task, work="seal kit")
    tag = desk.wrench()

    told = desk.type("repair", tag, "--work", "seal", *SAID)

    assert told.out == (
        f"Repair 1 of {show_tag(tag)} is on record (seal kit).\n"
        f"  Calibration must be done again: it stays in until then.\n"
    )
    (line,) = desk.type("repairs", tag, "--json").json["repairs"]
    assert (line["number"], line["work"], line["by"]) == (1, "seal kit", "Kim Keeper")
    assert "Seals of the rod end changed" in desk.type("repairs", tag).out
    assert "OVERDUE" in desk.type("due").out


def test_what_was_done_is_listed_and_a_mistake_withdrawn(desk: Desk) -> None:
    tag = desk.wrench()
    entry = desk.type("done", tag, "calibration", "--json").json["entry"]

    gone = desk.type("done", "--withdraw", str(entry), "--reason", "It was the other wrench")

    assert gone.code == 0
    assert f"withdraws entry {entry} of {show_tag(tag)}; calibration is now due" in gone.out
    shown = desk.type("done", tag).out
    assert f"WITHDRAWN by {entry + 1}" in shown
    assert f"withdraws {entry}: It was the other wrench" in shown
    entries = desk.type("done", tag, "--json").json["entries"]
    assert [(one["withdraws"], one["withdrawn_by"]) for one in entries] == [
        (entry, None),
        (None, entry + 1),
        (None, None),
    ]


def test_a_recall_is_looked_at_opened_shown_and_ended(desk: Desk) -> None:
    tag = desk.wrench(serial="K-120")
    desk.wrench(serial="L-120")
    words = ("recall", "open", "--model", "W-2000", "--notice", "Notice 7", "--reason", "Cracks at the drive")
    scope = ("--serials", "K-100..K-250")

    dry = desk.type(*words, *scope, "--dry-run")
    assert "This would put on hold 1 item of W-2000 (serial numbers K-100 to K-250); 0 out." in dry.out
    assert "look at them by hand" in dry.out
    assert "Nothing was changed." in dry.out
    assert desk.type("holds", "--json").json == []

    opened = desk.type(*words, *scope, "--json", by="S1").json
    assert (opened["recall"], [one["tag"] for one in opened["meant"]]) == (1, [tag])
    assert "Notice 7" in desk.type("recall", "list").out
    assert "on hold (1)" in desk.type("recall", "show", "1").out
    ended = desk.type("recall", "end", "1", "--reason", "Notice 7 is lifted", by="S1")
    assert ended.out == f"Recall 1 has ended. Released: {show_tag(tag)}.\n"
    assert "none open" in desk.type("recall", "list").out
    assert "ended" in desk.type("recall", "list", "--ended").out


def reviewed(desk: Desk) -> str:
    """A wrench with a review of one joint; answers its tag."""
    tag = desk.wrench()
    joint = {"mark": "A1", "bolts": 8, "torque_written": "900 N·m", "torque_nm": 900.0}
    desk.shop.put(JointRow, job_id=desk.job, tolerance_percent=5.0, **joint)
    use = {"client_id": "use", "cycles": 40, "minutes": 0, "used_on": desk.today}
    desk.shop.put(UsageRow, item_id=item_of(desk, tag), job_id=desk.job, recorded_at=datetime.now(UTC), **use)
    by = desk.shop.actor("S1")
    with desk.room.act() as db:
        open_review(
            db,
            item_id=find_item(db, tag).id,
            calibration_id=None,
            cause="Certificate 77 found it 6 % low",
            error_at=lambda _pressure: -6.0,
            since_on=desk.day(-30),
            until_on=desk.today,
            by=by,
            now=desk.room.now(db),
        )
    return tag


def test_a_review_is_listed_shown_decided_and_closed(desk: Desk) -> None:
    reviewed(desk)

    (line,) = desk.type("review", "list", "--json").json
    assert (line["id"], line["lines"], line["undecided"], line["overdue"]) == (1, 1, 1, False)
    shown = desk.type("review", "show", "1").out
    assert "-6.0 %, OUT of ±5 %" in shown
    assert "TO DECIDE" in shown
    assert "A competent person decides." in " ".join(shown.split())
    why = ("--reason", "Beyond its tolerance, tighten again")
    decided = desk.type("review", "decide", "1", "1", "--ruling", "re-tighten", *why, by="S1")
    assert decided.out == "Line 1 of review 1: re-tighten. All are decided: it can be closed.\n"
    closed = desk.type("review", "close", "1", "--summary", "Tightened again on day 2", by="S1")
    assert closed.out == "Review 1 is closed: Tightened again on day 2\n"
    assert "none to decide" in desk.type("review", "list").out
    fields = desk.type("review", "show", "1", "--json").json["lines"][0]
    assert (fields["ruling"], fields["decided_by"], fields["out_of_tolerance"]) == (
        "re-tighten",
        "Sam Safety",
        True,
    )


def test_an_item_is_traced_without_a_review(desk: Desk) -> None:
    tag = reviewed(desk)
    (touched,) = desk.type("trace", tag, "--json").json["touched"]
    assert (touched["job"], touched["joint"], touched["cycles"]) == ("J-1", "A1", 40)
    assert touched["pressure_mpa"] == pytest.approx(30.0)
    assert re.search(r"J-1 +A1 .* 40 +0 +\S+ lbf·ft +4,351 psi", desk.type("trace", tag).out)
    later = str(desk.day(1))
    assert "nothing on record" in desk.type("trace", tag, "--since", later, "--until", later).out


def test_a_release_names_the_hold_that_is_left(desk: Desk) -> None:
    tag = desk.wrench()
    desk.type("hold", tag, "-r", "Crack at the drive", "--cause", "damaged")
    desk.type("hold", tag, "-r", "Reads low on the bench", "--cause", "calibration")
    seen = inspected(desk.shop, item_of(desk, tag), datetime.now(UTC) + timedelta(seconds=1))
    words = ("--hold", "1", "--inspection", str(seen), "--words", "Dye test shows no crack")

    told = desk.type("release", tag, *words)

    assert told.out == (f"{show_tag(tag)} is released from hold 1. It is still kept in by hold 2.\n")


REFUSED = [
    ("repair {tag} --work polish --description 'Polished the drive'", "is not a kind of repair work"),
    ("repair {tag} --work other --description done", "Write down what was changed"),
    ("repair {tag} --work other --description 'Drive polished' --photo /no/such.jpg", "cannot be read"),
    ("done", "Say of which item"),
    ("done {tag} --withdraw 1 --reason 'It was wrong'", "and nothing else"),
    ("done --withdraw 77 --reason 'It was the other'", "There is no entry 77"),
    ("recall open --model W-2000 --notice 'N 7' --reason 'Cracks at the drive'", "is not a safety officer"),
    ("recall show 5", "There is no recall 5"),
    ("review show 5", "There is no impact review 5"),
    ("review decide 5 1 --ruling accept --reason 'It is inside'", "There is no impact review 5"),
    ("review decide 5 1 --ruling maybe --reason 'It is inside'", "Known: accept, re-tighten, other."),
    ("trace 10427-2", "No item has the tag 10427-2."),
    ("trace {tag} --since yesterday", "is not a day"),
]


def test_what_cannot_be_is_one_sentence_and_nothing_changes(desk: Desk, subtests: pytest.Subtests) -> None:
    tag = desk.wrench()
    for typed, sentence in REFUSED:
        with subtests.test(typed):
            told = desk.refused(*shlex.split(typed.format(tag=tag)))
            assert sentence.casefold() in told.casefold()
