"""What to do about what stands against an item, and which page does it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

from fleet.rules.evidence import Proof
from fleet.rules.upkeep import CountsFrom

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fleet.bolting.findings import Finding


@dataclass(frozen=True, slots=True)
class Step:
    """What to do, and on which page; without a page it is said only."""

    words: str
    way: str = ""


# What is missing on record comes in with a sheet.
_SHEETS = Step("Bring it on record with a sheet.", "/sheets")
_OF_FINDINGS = {
    "on hold": Step("Release it with evidence", "release"),
    "proof failed": Step("Record a later proof test", "proof-test"),
    "out": Step("Take it back at the counter", "/counter"),
    "away": Step("Take it back from there", "back"),
    "stored too long": Step("Retire it", "retire"),
    "bulk too old": Step("Retire it", "retire"),
    "recalled": Step("See the recall", "/recalls"),
    "rating unknown": _SHEETS,
    "no chart": _SHEETS,
    "relief unknown": _SHEETS,
    "range unknown": _SHEETS,
    "age unknown": _SHEETS,
}
_DUE = ("overdue", "due while out", "due unknown", "concession too short")


def step_for_task(tag: str, task: str, proved_by: str, counts_from: str) -> Step:
    """The page on which a task is shown to be done, filled in for it."""
    item, asked = f"/items/{tag}", f"?task={quote(task, safe='')}"
    if counts_from == CountsFrom.ASSEMBLY:
        return Step("Retire and replace", f"{item}/retire")
    return {
        Proof.INSPECTION: Step("Inspect", f"{item}/inspect{asked}"),
        Proof.PROOF_TEST: Step("Proof test", f"{item}/proof-test{asked}"),
        Proof.CALIBRATION: Step("Send or take in", f"{item}/calibrate{asked}"),
    }.get(Proof(proved_by), Step("Note as done", f"{item}/done{asked}"))


def step_for(tag: str, finding: Finding, tasks: Mapping[str, Step]) -> Step | None:
    """What to do about one finding; for what is due, the page of the task that its sentence names."""
    if finding.code in _DUE:
        said = finding.sentence.casefold()
        named = [name for name in tasks if said.startswith(name.casefold()) or f"when {name}" in said]
        return tasks[max(named, key=len)] if named else None
    step = _OF_FINDINGS.get(finding.code)
    if step is None or not step.way or step.way.startswith("/"):
        return step
    return Step(step.words, f"/items/{tag}/{step.way}")
