"""Checklists, their answers, the task an inspection fulfils, and who may inspect."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.parts import Kind
from fleet.refusals import NotAllowed, NotFound, NotPossible, Refusal, Unreadable
from fleet.rules.checklists import LONGEST_POINT, MOST_POINTS, program_checklist, read_checklists
from fleet.rules.competence import (
    BEFORE_USE,
    PROOF_TEST,
    Held,
    check_until,
    known_task,
    require_competence,
    standing,
)
from fleet.rules.evidence import Answer, Occasion, Proof
from fleet.rules.inspections import (
    Given,
    TaskFacts,
    competences_for,
    judge_answers,
    read_answer,
    rejected_because,
    task_fulfilled,
    task_proved,
    worst_of,
)
from fleet.rules.upkeep import proved_otherwise

TODAY = date(2026, 5, 13)
HOSE = program_checklist("hose")
YEARLY = TaskFacts(1, "inspection", "inspection")
THOROUGH = TaskFacts(2, "thorough inspection", "inspection")
TEST = TaskFacts(3, "pressure test", "proof test")
WASH = TaskFacts(4, "washing", "note")
LIFE = TaskFacts(5, "replacement", "note", "assembly")

# --- Checklists ---------------------------------------------------------------------------------------------

# The reject criteria for hose assemblies of DGUV Regel 113-020 (formerly BGR 237), read as quotations.
PUBLISHED = [
    "damage down to the reinforcement",
    "cracks",
    "brittle",
    "blister",
    "kink",
    "flattening",
    "leak",
    "not damaged or bent",
    "corrosion",
    "crept out",
    "smallest bend radius",
    "storage time and life",
    "year and month readable",
]


@pytest.mark.parametrize("criterion", PUBLISHED)
def test_every_published_reject_criterion_of_a_hose_is_looked_at(criterion: str) -> None:
    assert [point for point in HOSE.points if criterion in point] != []


@pytest.mark.parametrize("kind", Kind)
def test_every_kind_has_a_checklist_that_can_be_answered_and_taken_in_again(kind: Kind) -> None:
    made = program_checklist(kind)
    assert (made.kind, made.version) == (kind.value, 0)
    assert len(set(made.points)) == len(made.points) >= 7
    text = "Kind,Checkpoint\n" + "".join(f'{kind},"{point}"\n' for point in made.points)
    assert [one.points for one in read_checklists(text, "own.csv")] == [made.points]


def test_a_file_may_hold_several_kinds_and_use_semicolons() -> None:
    text = "kind;CHECKPOINT\r\nHose; Cover ,  sleeve \r\n\r\nwrench;Arm\r\nhose;Fittings\r\n"
    found = read_checklists(text, "own.csv")
    assert [(one.kind, one.points) for one in found] == [
        ("hose", ("Cover , sleeve", "Fittings")),
        ("wrench", ("Arm",)),
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "The first row of own.csv must be: Kind,Checkpoint."),
        ("Kind,Wording\nhose,Cover\n", "The first row"),
        ("Kind,Checkpoint\n", "own.csv has no checkpoints"),
        ("Kind,Checkpoint\nladder,Rungs\n", "Row 2 of own.csv names no kind that is known: 'ladder'."),
        ("Kind,Checkpoint\nhoses,Cover\n", 'Did you mean "hose"?'),
        ("Kind,Checkpoint\nhose,Cover\nhose,COVER\n", "Row 3 of own.csv repeats a checkpoint"),
        ("Kind,Checkpoint\nhose,Cover,whole\n", "has 3 cells instead of 2"),
        ("Kind,Checkpoint\nhose,\n", "needs a checkpoint of 1 to 300"),
        ("Kind,Checkpoint\nhose," + "x" * 200_000, "is no CSV that can be read"),
        (f"Kind,Checkpoint\nhose,{'x' * (LONGEST_POINT + 1)}\n", "needs a checkpoint of 1 to 300"),
        ("Kind,Checkpoint\nhose,a\x07b\n", "printable"),
        ("Kind,Checkpoint\n" + "".join(f"hose,p{n}\n" for n in range(MOST_POINTS + 1)), "has 61 checkpoints"),
    ],
)
def test_a_list_that_cannot_be_used_is_refused_with_its_row(text: str, said: str) -> None:
    with pytest.raises(Unreadable) as refusal:
        read_checklists(text, "own.csv")
    assert said in str(refusal.value)


@given(st.text(max_size=200))
def test_any_text_is_a_checklist_or_refused(text: str) -> None:
    try:
        found = read_checklists("Kind,Checkpoint\n" + text, "own.csv")
    except Refusal:
        return
    assert all(one.points for one in found)


# --- Answers ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("1=fine", Given(1, Answer.FINE)),
        (" 12 = NOTE :  cap   missing ", Given(12, Answer.NOTE, "cap missing")),
        ("3=reject: cut: to the braid = bad", Given(3, Answer.REJECT, "cut: to the braid = bad")),
        ("4=fine:", Given(4, Answer.FINE)),
    ],
)
def test_an_answer_is_read_as_it_is_written(text: str, answer: Given) -> None:
    assert read_answer(text) == answer


@pytest.mark.parametrize(
    "text", ["", "1", "fine", "1=", "1=good", "=fine", "-1=fine", "1=fine cut", "1.5=note: x"]
)
def test_what_is_no_answer_is_said_to_be_none(text: str) -> None:
    with pytest.raises(Unreadable, match="is no answer"):
        read_answer(text)


def test_what_is_not_answered_is_fine_only_when_somebody_says_so() -> None:
    note = Given(12, Answer.NOTE, "One cap missing")
    with pytest.raises(NotPossible, match=r"missing: 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11\. "):
        judge_answers(HOSE, [note])
    seen = judge_answers(HOSE, [note], all_fine=True)
    assert [one.answer for one in seen] == [Answer.FINE] * 11 + [Answer.NOTE]
    assert [one.wording for one in seen] == list(HOSE.points)


@given(st.lists(st.sampled_from(Answer), min_size=12, max_size=12))
def test_an_inspection_is_as_bad_as_its_worst_answer(answers: list[Answer]) -> None:
    given_ = [Given(at, answer, "Seen from both sides") for at, answer in enumerate(answers, start=1)]
    seen = judge_answers(HOSE, given_)
    worst = worst_of(seen)
    assert (worst is Answer.REJECT) == (Answer.REJECT in answers)
    assert (worst is Answer.FINE) == (set(answers) == {Answer.FINE})
    assert rejected_because(seen).count("Seen from both sides") == answers.count(Answer.REJECT)


def test_a_remark_has_an_end() -> None:
    with pytest.raises(NotPossible, match="longer than 1000 characters"):
        judge_answers(HOSE, [Given(1, Answer.NOTE, "x" * 1001)], all_fine=True)


# --- The task it fulfils ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tasks", "occasion", "asked", "found"),
    [
        ([YEARLY, TEST, WASH], Occasion.PERIODIC, None, YEARLY),
        ([TEST, WASH, LIFE], Occasion.PERIODIC, None, None),
        ([YEARLY, THOROUGH], Occasion.PERIODIC, " Thorough  INSPECTION ", THOROUGH),
        ([YEARLY, WASH], Occasion.PERIODIC, "washing", WASH),
        ([YEARLY], Occasion.AFTER_EVENT, None, None),
        ([YEARLY, THOROUGH], Occasion.AFTER_EVENT, None, None),
        ([YEARLY], Occasion.AFTER_EVENT, "inspection", YEARLY),
        ([YEARLY], Occasion.BEFORE_USE, None, None),
    ],
)
def test_which_task_an_inspection_fulfils(
    tasks: list[TaskFacts], occasion: Occasion, asked: str | None, found: TaskFacts | None
) -> None:
    assert task_fulfilled("1000-6", tasks, occasion, asked) == found


@pytest.mark.parametrize(
    ("tasks", "occasion", "asked", "kind", "said"),
    [
        ([YEARLY, THOROUGH], Occasion.PERIODIC, None, NotPossible, "Several tasks of 1000-6 ask for an insp"),
        ([YEARLY], Occasion.BEFORE_USE, "inspection", NotPossible, "fulfils no upkeep task"),
        ([YEARLY], Occasion.PERIODIC, "oiling", NotFound, "Its tasks: inspection."),
        ([], Occasion.PERIODIC, "oiling", NotFound, "Its tasks: none."),
        (
            [LIFE],
            Occasion.PERIODIC,
            "replacement",
            NotPossible,
            "counts from its assembly; nothing renews it",
        ),
        (
            [TEST],
            Occasion.AFTER_EVENT,
            "pressure test",
            NotPossible,
            "asks for a proof test, and is not done",
        ),
    ],
)
def test_a_task_that_no_inspection_fulfils_is_refused(
    tasks: list[TaskFacts], occasion: Occasion, asked: str | None, kind: type[Refusal], said: str
) -> None:
    with pytest.raises(kind, match=said):
        task_fulfilled("1000-6", tasks, occasion, asked)


def test_a_proof_test_fulfils_its_own_sort_of_task() -> None:
    assert task_proved("1000-6", [YEARLY, TEST], Proof.PROOF_TEST, None) == TEST
    with pytest.raises(NotPossible, match="asks for an inspection, and is not done by a proof test"):
        task_proved("1000-6", [YEARLY, TEST], Proof.PROOF_TEST, "inspection")


@pytest.mark.parametrize(
    ("proof", "said"),
    [
        ("inspection", "fleet inspect 1000-6 --occasion periodic --task 'yearly'"),
        ("proof test", "fleet proof-test 1000-6 --task 'yearly'"),
        ("calibration", "when its certificate is read in and accepted"),
    ],
)
def test_what_a_note_does_not_prove_names_what_does(proof: str, said: str) -> None:
    sentence = proved_otherwise("yearly", "1000-6", proof)
    assert sentence.startswith(f"Yearly of 1000-6 is not done by a note; it asks for: {proof}.")
    assert said in sentence


# --- Who may ------------------------------------------------------------------------------------------------


def test_for_what_somebody_must_be_competent() -> None:
    tasks = [YEARLY, TEST]
    assert competences_for(Occasion.BEFORE_USE, None, tasks) == (BEFORE_USE,)
    assert competences_for(Occasion.PERIODIC, YEARLY, tasks) == ("inspection",)
    assert competences_for(Occasion.AFTER_EVENT, None, tasks) == (BEFORE_USE, "inspection")


def held(person: int = 1, task: str = "inspection", days: int = 0, *, active: bool = True) -> Held:
    return Held(person, {1: "Kim", 2: "Kai"}[person], task, TODAY + timedelta(days=days), active)


def test_it_counts_through_its_last_day() -> None:
    found = require_competence((1, "Kim"), "hose", ["Inspection"], [held(days=0)], today=TODAY)
    assert found.expires_on == TODAY


@pytest.mark.parametrize(
    ("on_record", "said"),
    [
        ([], "and nobody else has one. A safety officer grants it: fleet competence grant PERSON"),
        ([held(days=-1)], r"\(that ended on 12 May 2026\), and nobody else has one"),
        ([held(2)], r"Kim has no competence for inspection on a hose\. Who may: Kai\."),
        ([held(task="inspection before use")], "nobody else has one"),
        ([held(active=False)], "nobody else has one"),
        ([held(2, active=False), held(2, days=-1)], "nobody else has one"),
    ],
)
def test_nobody_is_let_in_silently(on_record: list[Held], said: str) -> None:
    with pytest.raises(NotAllowed, match=said):
        require_competence((1, "Kim"), "hose", ["inspection"], on_record, today=TODAY)


def test_who_sets_the_room_up_has_no_competence() -> None:
    with pytest.raises(NotAllowed, match="set-up has no competence"):
        require_competence((None, "set-up"), "hose", ["inspection"], [held()], today=TODAY)


@pytest.mark.parametrize(
    ("days", "ended", "said"),
    [
        (-1, False, "expired"),
        (0, False, "ends soon"),
        (60, False, "ends soon"),
        (61, False, "current"),
        (9, True, "ended"),
    ],
)
def test_what_ends_within_sixty_days_is_said_to(days: int, ended: bool, said: str) -> None:
    assert standing(TODAY + timedelta(days=days), ended=ended, today=TODAY) == said


def test_a_last_day_is_today_or_later_and_not_a_slip() -> None:
    check_until(TODAY, TODAY)
    check_until(date(2036, 5, 13), TODAY)
    for wrong, said in (
        (TODAY - timedelta(days=1), "has already passed"),
        (date(2037, 1, 1), "check the year"),
    ):
        with pytest.raises(NotPossible, match=said):
            check_until(wrong, TODAY)


def test_a_competence_is_for_a_task_there_is() -> None:
    assert known_task(" inspection BEFORE use", "hose", []) == BEFORE_USE
    assert known_task("Proof test", "hose", ["pressure test"]) == PROOF_TEST
    assert known_task("PRESSURE TEST", "hose", ["pressure test"]) == "pressure test"
    with pytest.raises(NotPossible, match=r'Known: .*pressure test\. Did you mean "pressure test"'):
        known_task("presure test", "hose", ["pressure test"])
