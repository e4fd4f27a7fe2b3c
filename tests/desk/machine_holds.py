"""The whole machine: besides the counter and the workshop, what is kept in, let go, excepted and recalled."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from fleet.desk.holds import ConcessionSlip, ReleaseSlip, grant_concession, open_hold, release_hold
from fleet.desk.recalls import RecallSlip, end_recall, open_recall
from fleet.records import HoldRow
from fleet.rules.conditions import HoldCause
from fleet.rules.evidence import Work
from fleet.rules.holds import Shown
from tests.desk import model
from tests.desk.machine import WHY, jobs, mostly, people, pick, which
from tests.desk.machine_upkeep import Workshop
from tests.laboratory import GOOD


class Anything(Workshop):
    """Everything that anybody does, in any order."""

    def __init__(self, *where: Any) -> None:  # noqa: ANN401  The databases and the engine.
        """Begin with nothing recalled."""
        super().__init__(*where)
        self.recalls: list[dict[str, Any]] = []

    @rule(at=which, by=people)
    def keep_in(self, at: int, by: str) -> None:
        item = self.item(at)
        answer = self.attempt(
            lambda db, actor, now: open_hold(db, item["tag"], HoldCause.OTHER, WHY, by=actor, now=now),
            by,
            allowed=by != "P1",
        )
        if answer:
            self.hold(item, "other")

    @precondition(lambda self: self.held())
    @rule(at=pick, show=pick, by=people, newest=mostly)
    def release(self, at: int, show: int, by: str, *, newest: bool) -> None:
        item, hold = self.held()[at % len(self.held())]
        if item["evidence"]:
            self.let_go(item, hold, item["evidence"][-1 if newest else show % len(item["evidence"])], by)

    @precondition(lambda self: self.held())
    @rule(at=pick, by=st.sampled_from(("K1", "S1")), regretted=st.booleans())
    def put_right(self, at: int, by: str, *, regretted: bool) -> None:
        """An hour at the bench, and then a try to let it go; perhaps it was another hose on the bench."""
        item, hold = self.held()[at % len(self.held())]
        self.clock.pass_by(hours=1)
        place = self.tags.index(item["tag"])
        if item["kind"] == "hose":
            proved = model.newest(item, "proof test")
            act = self.inspect if proved is None or proved["good"] else self.proof_test
            act(place, by, **{"fine" if act == self.inspect else "tight": True})
        elif item["kind"] == "wrench" and hold["cause"] == "calibration":
            self.certificate_comes(place, GOOD, at_once=True)
        else:
            self.repair(place, Work.OTHER)
        if item["evidence"] and hold["open"]:
            self.let_go(item, hold, item["evidence"][-1], by)
            if regretted and hold["by"] and hold["by"][0] == "inspection":
                self.withdraw_one(self.inspections[-1], by)

    def held(self) -> list[tuple[dict[str, Any], dict[str, Any]]]:
        return [(i, hold) for i in self.items.values() for hold in i["holds"] if hold["open"]]

    def let_go(self, item: dict[str, Any], hold: dict[str, Any], shown: dict[str, Any], by: str) -> None:
        what = Shown(shown["what"])
        slip = ReleaseSlip(item["tag"], what, shown["number"], WHY, hold["number"])
        answer = self.attempt(
            lambda db, actor, now: release_hold(db, slip, by=actor, now=now),
            by,
            allowed=by != "P1" and model.may_release(item, hold, shown, by),
        )
        if answer:
            hold["open"], hold["by"] = False, (shown["what"], shown["number"])

    @rule(at=pick, job=jobs, asker=st.sampled_from(("K1", "K1", "S1")), by=people, hours=st.integers(1, 24))
    def grant(self, at: int, job: str, asker: str, by: str, hours: int) -> None:
        late = self.late(every=at % 5 == 0)
        if late:
            self.grant_one(*late[at % len(late)], job, (asker, by), hours)

    @rule(
        at=pick, job=jobs, other=jobs, wait=st.sampled_from((0, 0, 5, 7)), hours=st.sampled_from((6, 12, 24))
    )
    def issue_by_exception(self, at: int, job: str, other: str, wait: int, hours: int) -> None:
        """Everything overdue of one item is excepted, and some time later it is asked for."""
        late = self.late(every=False)
        if not late:
            return
        item, _ = late[at % len(late)]
        for one, task in late:
            if one is item:
                self.grant_one(item, task, job, ("K1", "S1"), hours)
        self.clock.pass_by(hours=wait)
        self.issue([item], other, at % 2, "K1")

    def late(self, *, every: bool) -> list[tuple[dict[str, Any], str]]:
        """Items and tasks for which an exception may be made; with ``every``, all there are."""
        return [
            (item, task)
            for item in self.items.values()
            for task in model.TASKS[item["kind"]]
            if every or model.may_grant(item, task, self.now, "K1", "S1")
        ]

    def grant_one(self, item: dict[str, Any], task: str, job: str, who: tuple[str, str], hours: int) -> None:
        (asker, by), now = who, self.now
        slip = ConcessionSlip(item["tag"], task, job, asker, "no other item", WHY, hours)
        answer = self.attempt(
            lambda db, actor, now: grant_concession(db, slip, by=actor, now=now),
            by,
            allowed=model.may_grant(item, task, now, asker, by),
        )
        if answer:
            granted = {"tag": item["tag"], "task": task, "job": job, "from": now}
            self.granted.append(granted | {"to": now + timedelta(hours=hours)})

    @rule(at=which, alone=mostly, by=people)
    def recall(self, at: int, by: str, *, alone: bool) -> None:
        item = self.item(at)
        designation = {"hose": "H-6", "wrench": "W-2000", "gauge": "G-2000"}[item["kind"]]
        about = (item["kind"], item["serial"] if alone else None)
        slip = RecallSlip(designation, "Safety notice 7 of 3 May", WHY, about[1])
        known = [one for one in self.recalls if one["open"] and one["about"] == about]
        answer = self.attempt(
            lambda db, actor, now: open_recall(db, slip, by=actor, now=now),
            by,
            allowed=by.startswith("S") and not known,
        )
        if answer:
            meant = [
                other
                for other in self.items.values()
                if other["kind"] == item["kind"] and not other["retired"] and (not alone or other is item)
            ]
            self.recalls.append({"number": answer.recall, "about": about, "open": True})
            holds = self.read(HoldRow)
            numbers = {hold.item_id: hold.id for hold in holds if hold.recall_id == answer.recall}
            assert sorted(numbers) == sorted(other["id"] for other in meant)
            for other in meant:
                self.hold(other, "recall", numbers[other["id"]], answer.recall)

    @precondition(lambda self: self.recalls)
    @rule(at=pick, by=people)
    def recall_ends(self, at: int, by: str) -> None:
        one = self.recalls[at % len(self.recalls)]
        answer = self.attempt(
            lambda db, actor, now: end_recall(db, one["number"], WHY, by=actor, now=now),
            by,
            allowed=by.startswith("S") and one["open"],
        )
        if answer:
            one["open"] = False
            for hold in (h for item in self.items.values() for h in item["holds"]):
                if hold["recall"] == one["number"]:
                    hold["open"] = False
