"""What an inspection must answer, what it comes to, and which upkeep task it fulfils."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.refusals import NotFound, NotPossible, Unreadable
from fleet.rules.competence import BEFORE_USE
from fleet.rules.evidence import Answer, Occasion, Proof
from fleet.rules.upkeep import CountsFrom, spoken

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from fleet.rules.checklists import Checklist

SHORTEST_REMARK = 3
LONGEST_REMARK = 1_000

_WRITTEN = re.compile(
    r"\s*(?P<position>[0-9]{1,3})\s*=\s*(?P<answer>[a-z]+)\s*(?::\s*(?P<remark>.*))?",
    re.IGNORECASE | re.DOTALL,
)
_A = {
    Proof.NOTE: "a note",
    Proof.INSPECTION: "an inspection",
    Proof.PROOF_TEST: "a proof test",
    Proof.CALIBRATION: "a calibration",
}
_WORST = (Answer.FINE, Answer.NOTE, Answer.REJECT)


@dataclass(frozen=True, slots=True)
class Given:
    """What somebody answered at one checkpoint, by its place on the checklist, from 1."""

    position: int
    answer: Answer
    remark: str | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """One answer beside the wording as it was asked."""

    position: int
    wording: str
    answer: Answer
    remark: str | None


@dataclass(frozen=True, slots=True)
class TaskFacts:
    """One upkeep task of an item, as an inspection or a test looks at it."""

    id: int
    name: str
    proved_by: str
    counts_from: str = CountsFrom.DONE


def read_answer(text: str) -> Given:
    """Read ``3=reject: cover cut to the braid``; a note and a reject need what stands behind the colon."""
    found = _WRITTEN.fullmatch(text)
    known = {answer.value: answer for answer in Answer}
    if not found or found["answer"].casefold() not in known:
        raise Unreadable(
            f"{text!r} is no answer: write the number of the checkpoint and what was seen, such as 1=fine, "
            "'2=note: dust cap missing' or '3=reject: cover cut to the braid'."
        )
    remark = " ".join((found["remark"] or "").split()) or None
    return Given(int(found["position"]), known[found["answer"].casefold()], remark)


def judge_answers(
    checklist: Checklist, given: Sequence[Given], *, all_fine: bool = False
) -> tuple[Seen, ...]:
    """Every checkpoint with its answer, in order; ``all_fine`` answers those that nobody answered.

    Raises ``NotPossible`` when an answer is missing, doubled, for no checkpoint, or without its remark.
    """
    answers: dict[int, Given] = {}
    for one in given:
        if not 1 <= one.position <= len(checklist.points):
            raise NotPossible(
                f"There is no checkpoint {one.position}; a {checklist.kind} has {len(checklist.points)}. "
                f"See them with: fleet checklist show {checklist.kind}"
            )
        if one.position in answers:
            raise NotPossible(f"Checkpoint {one.position} was answered twice. Answer it once.")
        answers[one.position] = one
    missing = [at for at in range(1, len(checklist.points) + 1) if at not in answers]
    if missing and not all_fine:
        numbers = ", ".join(map(str, missing))
        raise NotPossible(
            f"Not every checkpoint is answered; missing: {numbers}. Answer them too, or say --all-fine when "
            "all the others were looked at and are fine."
        )
    return tuple(
        _seen(at, wording, answers.get(at) or Given(at, Answer.FINE))
        for at, wording in enumerate(checklist.points, start=1)
    )


def _seen(at: int, wording: str, given: Given) -> Seen:
    remark = " ".join((given.remark or "").split()) or None
    if given.answer is not Answer.FINE and len(remark or "") < SHORTEST_REMARK:
        raise NotPossible(
            f"Checkpoint {at} ({wording}) needs a remark: write what was seen, such as "
            f"'{at}={given.answer}: cut to the braid near the pump end'."
        )
    if remark and len(remark) > LONGEST_REMARK:
        raise NotPossible(f"The remark on checkpoint {at} is longer than {LONGEST_REMARK} characters.")
    return Seen(at, wording, given.answer, remark)


def worst_of(seen: Iterable[Seen]) -> Answer:
    """The worst answer of them all, which is the inspection's result."""
    return max((one.answer for one in seen), key=_WORST.index, default=Answer.FINE)


def rejected_because(seen: Iterable[Seen]) -> str:
    """What was rejected, as the reason for a hold."""
    return "; ".join(f"{one.wording}: {one.remark}" for one in seen if one.answer is Answer.REJECT)


def task_fulfilled(
    tag: str, tasks: Sequence[TaskFacts], occasion: Occasion, asked: str | None
) -> TaskFacts | None:
    """The upkeep task that an inspection on this occasion would fulfil.

    A periodic one fulfils the only task that is proved by an inspection, and has to name it when there are
    several; one after an event fulfils a task only when asked to, and a look before use never does.
    """
    if occasion is Occasion.BEFORE_USE and asked is not None:
        raise NotPossible(
            "A look before use fulfils no upkeep task. Inspect it with --occasion periodic, or leave --task "
            "out."
        )
    if occasion is not Occasion.PERIODIC and asked is None:
        return None
    return task_proved(tag, tasks, Proof.INSPECTION, asked)


def task_proved(tag: str, tasks: Sequence[TaskFacts], proof: Proof, asked: str | None) -> TaskFacts | None:
    """The task that this proof fulfils: the one that was named, or the only one there is, or none."""
    if asked is None:
        provable = [task for task in tasks if task.proved_by == proof]
        if len(provable) > 1:
            names = ", ".join(task.name for task in provable)
            raise NotPossible(f"Several tasks of {tag} ask for {_A[proof]}. Name one with --task: {names}.")
        return provable[0] if provable else None
    wanted = " ".join(asked.split()).casefold()
    found = next((task for task in tasks if task.name.casefold() == wanted), None)
    if found is None:
        names = ", ".join(task.name for task in tasks) or "none"
        raise NotFound(f"{tag} has no upkeep task {asked!r}. Its tasks: {names}.")
    if found.counts_from == CountsFrom.ASSEMBLY:
        raise NotPossible(f"{spoken(found.name)} of {tag} counts from its assembly; nothing renews it.")
    # What asks for a note only may be proved by more than that.
    if found.proved_by not in (proof, Proof.NOTE):
        asks = _A[Proof(found.proved_by)]
        raise NotPossible(f"{spoken(found.name)} of {tag} asks for {asks}, and is not done by {_A[proof]}.")
    return found


def competences_for(
    occasion: Occasion, task: TaskFacts | None, tasks: Sequence[TaskFacts]
) -> tuple[str, ...]:
    """For what somebody must be competent: any one of these.

    An inspection after an event that fulfils no task may be done by whoever may inspect that kind at all.
    """
    if occasion is Occasion.BEFORE_USE:
        return (BEFORE_USE,)
    if task is not None:
        return (task.name,)
    return (BEFORE_USE, *(one.name for one in tasks if one.proved_by == Proof.INSPECTION))
