"""What stands in the weekly letter."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fleet.mail.wording import moment_with_zone, weeks
from tests.mail.facts import (
    NOON,
    SITE,
    TODAY,
    busy,
    concession_line,
    due_line,
    hold_line,
    letter_of,
    lost_letter,
    out_line,
    review_line,
    snapshot,
    warning_line,
)
from tests.mail.reading import Shown, in_one_line

HOSTILE = (
    "<script>alert(1)</script>",
    "Kim\r\nBcc: everybody@tool-room.example",
    "{{7*7}}{% raw %}",
    '\'" onmouseover=alert(1) x="',
    "</td></tr></table><h1>All is well</h1>",
    "a\u202egnp.exe\u2066\u200b\x00\x1b[31m",
    "👩\u200d🔧 Ørsted – ﷽",
    "x" * 5000,
    "\ud800 lone",
)


def test_the_subject_and_the_first_sentence_say_how_things_stand() -> None:
    facts = snapshot(
        due=(due_line(), due_line(task="inspection", holder="Fin Fitter", job="J-1", back_on=TODAY))
        + (due_line(due_on=TODAY + timedelta(days=9)),) * 7,
        holds=(hold_line(), hold_line(cause="recall")),
        out=(out_line(), out_line(days_late=0)),
    )
    letter = letter_of(facts, number=12)

    assert letter.subject == "NORTH tool room, 2026-W20: 2 overdue, 7 coming due (letter 12)"
    said = (
        "2 tasks are overdue (1 of these items is out), 7 come due by 10 Jun 2026; "
        "1 item is on hold, 1 item is late back."
    )
    assert in_one_line(letter.plain).startswith(said)
    assert said in Shown(letter.html).text


def test_nothing_due_is_a_whole_letter_too() -> None:
    letter = letter_of(snapshot(), number=3)

    assert letter.subject == "NORTH tool room, 2026-W20: nothing overdue, nothing coming due (letter 3)"
    assert in_one_line(letter.plain).startswith(
        "Nothing is overdue, nothing comes due by 10 Jun 2026; nothing is on hold, nothing is late back."
    )
    for text in (letter.plain, Shown(letter.html).text):
        assert "Nothing is on hold." in text
        assert "Letter 3 of NORTH" in text


def test_overdue_comes_first_and_says_where_it_is_and_what_to_do() -> None:
    facts = snapshot(due=(due_line(holder="Fin Fitter", job="J-1", back_on=TODAY), due_line(stop="hard")))
    said = in_one_line(letter_of(facts).plain)

    assert "OVERDUE (2) 10427-2 wrench W-2000, serial S1 calibration: due 10 May 2026, 3 days over" in said
    assert "with Fin Fitter for job J-1, back 13 May 2026 !! Keeper: stop its use now, get it back" in said
    assert "in, shelf A1 > Keeper: it stays in; no concession lifts this." in said


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (
            due_line(use_left=-0.1, due_cycles=500, cycles=540, due_on=None, forecast_on=TODAY),
            "calibration: used up, due at 500 cycles, now 540",
        ),
        (
            due_line(use_left=0.0, due_minutes=6000, minutes=6000, due_on=TODAY + timedelta(days=9)),
            "calibration: used up, due at 100 pump hours, now 100",
        ),
        (due_line(last_done_on=None), "calibration: never done on record"),
        (due_line(due_on=TODAY), "calibration: due 13 May 2026 in"),
        (
            due_line(
                use_left=0.2,
                due_cycles=500,
                cycles=400,
                due_on=TODAY + timedelta(days=9),
                forecast_on=TODAY + timedelta(days=7),
                first_on=TODAY + timedelta(days=7),
            ),
            "calibration: by use about 20 May 2026, due at 500 cycles, now 400 (pace of the last 182 days)",
        ),
        (
            due_line(
                due_on=TODAY + timedelta(days=1), holder="Fin", job="J-1", back_on=TODAY + timedelta(days=2)
            ),
            "Keeper: comes due before it is back; call it in early for its calibration.",
        ),
        (
            due_line(
                due_on=TODAY + timedelta(days=3), holder="Fin", job="J-1", back_on=TODAY + timedelta(days=2)
            ),
            "Keeper: plan its calibration when it is back.",
        ),
    ],
)
def test_each_clock_is_said_in_its_own_words(line: object, words: str) -> None:
    assert words in in_one_line(letter_of(snapshot(due=(line,))).plain)


def test_under_a_concession_an_overdue_item_may_finish_its_job() -> None:
    out = due_line(holder="Fin Fitter", job="J-1", back_on=TODAY)
    facts = snapshot(due=(out,), concessions=(concession_line(),))
    said = in_one_line(letter_of(facts).plain)

    assert (
        "> Keeper: may be used for job J-1 until 13 May 2026 18:00 under a concession, then it stays in."
        in said
    )
    assert "job J-1, in force until 13 May 2026 18:00; asked by Kim Keeper, granted by Sam Safety" in said


def test_a_concession_that_ended_no_longer_excuses_anything() -> None:
    ended = concession_line(ends_at=NOON)
    facts = snapshot(due=(due_line(holder="Fin", job="J-1", back_on=TODAY),), concessions=(ended,))
    said = in_one_line(letter_of(facts).plain)

    assert "!! Keeper: stop its use now" in said
    assert "ended 13 May 2026 12:00" in said


def test_a_hold_shows_its_age_and_one_still_out_is_called_back() -> None:
    said = in_one_line(letter_of(snapshot(holds=(hold_line(), hold_line(holder="Fin")))).plain)

    assert "damaged: Cover cut shelf H2, since 1 May 2026 (12 days) by Kim Keeper" in said
    assert "still with Fin, since 1 May 2026 (12 days) by Kim Keeper !! Keeper: call it back" in said


def test_what_is_late_stands_apart_from_what_is_only_out() -> None:
    facts = snapshot(out=(out_line(), out_line(tag="104434", days_late=0, back_on=TODAY)))
    said = in_one_line(letter_of(facts).plain)

    assert "LATE BACK (1) 10441-8 pump P-10, serial S3 back 11 May 2026, 2 days late" in said
    assert "OUT ON LOAN (1) 10443-4 pump P-10, serial S3 back 13 May 2026" in said


def test_letters_that_did_not_arrive_and_weeks_without_one_are_named() -> None:
    facts = snapshot(
        missed=("2026-W18", "2026-W19"),
        not_delivered=(lost_letter(), lost_letter(state="written", last_answer=None, attempts=0)),
    )
    said = in_one_line(letter_of(facts).plain)

    assert "No letter was written for 2026-W18 and 2026-W19." in said
    assert (
        "letter 11 of 2026-W19 was given up: 550 5.1.1 No such user tried 1 time > Keeper: correct the"
        in said
    )
    assert "letter 11 of 2026-W19 has not been sent tried never > The letter of 2026-W20 takes" in said


def test_many_missed_weeks_are_said_as_a_range() -> None:
    assert weeks(("2026-W19",)) == "2026-W19"
    assert weeks(("2026-W17", "2026-W18", "2026-W19")) == "2026-W17, 2026-W18 and 2026-W19"
    many = tuple(f"2026-W{number:02d}" for number in range(2, 20))
    assert weeks(many) == "2026-W02 to 2026-W19 (18 weeks)"


def test_everybody_reads_everything_overdue_first() -> None:
    letter = letter_of(busy()).plain
    headings = (
        "OVERDUE",
        "ON HOLD",
        "CONCESSIONS",
        "IMPACT REVIEWS",
        "LATE BACK",
        "OUT ON LOAN",
        "DUE IN THE COMING FOUR WEEKS",
        "NOT TOLD",
    )

    assert sorted(headings, key=letter.index) == list(headings)
    assert "No letter was written for" in letter


def test_the_spare_address_is_told_why_it_gets_the_letter() -> None:
    letter = letter_of(busy(), spare=True)

    for text in (letter.plain, Shown(letter.html).text):
        said = in_one_line(text)
        assert "You get this because nobody with a role at this site could be written to." in said
        assert "has no address on record" in said


def test_every_letter_defers_to_those_who_know_better() -> None:
    for text in (letter_of(snapshot()).plain, Shown(letter_of(snapshot()).html).text):
        said = in_one_line(text)
        assert "approves no tool, joint or torque" in said
        assert "The maker's manual, the joint procedure, site rules, local codes and a competent" in said


def test_the_footer_holds_number_seal_and_the_time_at_the_site() -> None:
    said = in_one_line(letter_of(snapshot(), number=12).plain)

    assert "Letter 12 of NORTH." in said
    assert "NORTH: taken from the record on 13 May 2026 12:00 (America/Chicago, UTC-05:00)." in said
    assert "Day-book seal 120·0a1b2c3d4e5f6071." in said


def test_the_two_hours_when_clocks_go_back_can_be_told_apart() -> None:
    """1 November 2026, 01:30 comes twice in Chicago: 06:30 and 07:30 UTC (IANA time zone database)."""
    first = NOON.replace(month=11, day=1, hour=6, minute=30)
    assert moment_with_zone(first, SITE.time_zone).startswith("1 Nov 2026 01:30 (America/Chicago, UTC-05:00")
    again = first + timedelta(hours=1)
    assert moment_with_zone(again, SITE.time_zone).startswith("1 Nov 2026 01:30 (America/Chicago, UTC-06:00")


def test_both_texts_say_the_same() -> None:
    """Every row's words stand in the plain text and in the HTML."""
    letter = letter_of(busy())
    shown, plain = Shown(letter.html).text, in_one_line(letter.plain)
    for words in (
        "10427-2",
        "Keeper: ask Fin Fitter for it",
        "Cover cut",
        "The only one of this size.",
        "550 No such user",
    ):
        assert words in shown
        assert words in plain


# --- How much is said ---------------------------------------------------------------------------------------


def test_a_long_list_is_cut_and_says_by_how_much_and_where_the_rest_is() -> None:
    letter = letter_of(snapshot(due=(due_line(),) * 53))

    assert letter.plain.count("10427-2") == 20
    assert "And 33 more: fleet due --site NORTH" in in_one_line(letter.plain)
    assert "And 33 more: fleet due --site NORTH" in Shown(letter.html).text
    assert letter.subject.startswith("NORTH tool room, 2026-W20: 53 overdue")


def test_twenty_rows_are_all_shown() -> None:
    letter = letter_of(snapshot(due=(due_line(),) * 20))

    assert letter.plain.count("10427-2") == 20
    assert "more:" not in letter.plain


def test_an_impact_review_stands_in_the_letter_until_it_is_closed() -> None:
    plain = in_one_line(letter_of(snapshot(reviews=(review_line(),))).plain)
    assert "IMPACT REVIEWS (1) 10427-2 wrench W-2000, serial S1 Certificate 77 found it 6 % low" in plain
    assert "4 joints of 9 to decide by 27 May 2026 > Safety officer: decide with fleet review show 7" in plain

    late = letter_of(snapshot(reviews=(review_line(due_on=TODAY - timedelta(days=2), undecided=1),)))
    said = in_one_line(late.plain)
    assert "1 joint of 9 to decide by 11 May 2026, 2 days over !! Safety officer: decide with fleet" in said
    decided = letter_of(snapshot(reviews=(review_line(undecided=0),)))
    assert "no joint of 9 to decide by 27 May 2026 > Safety officer: close it with a summary." in in_one_line(
        decided.plain
    )
    assert "IMPACT REVIEWS (0) None is open." in in_one_line(letter_of(snapshot()).plain)


def test_what_stands_against_a_reservation_is_said_with_what_could_take_its_place() -> None:
    plain = in_one_line(letter_of(snapshot(reserved=(warning_line(),))).plain)
    assert "RESERVED, WITH SOMETHING AGAINST IT (1) 10427-2 wrench W-2000 On hold since 11 May 2026" in plain
    assert "for job J-1, F-1, from 23 May 2026 12:00 > Planner: 10428-0 (W-2000) could take its" in plain

    ended = warning_line(number=None, matter="ended", sentence="Not fetched: given up.", instead=None)
    assert "> Planner: reserve it anew if it is still wanted." in in_one_line(
        letter_of(snapshot(reserved=(ended,))).plain
    )
    alone = warning_line(instead=None)
    assert "> Planner: put it right, or hire another." in in_one_line(
        letter_of(snapshot(reserved=(alone,))).plain
    )


def test_where_to_log_in_stands_on_one_line_when_it_is_known() -> None:
    letter = letter_of(snapshot(), pages="https://fleet.tool-room.example")
    assert "https://fleet.tool-room.example/letters" in letter.plain
    assert "log in at https://fleet.tool-room.example/letters and press its button" in in_one_line(
        letter.html
    )
    assert "log in and press its button" in in_one_line(letter_of(snapshot()).html)
