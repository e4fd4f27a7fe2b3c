"""The machine takes returns back that were made a moment ago."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from hypothesis.stateful import rule

from fleet import records
from fleet.desk.undoing import undo_return
from tests.desk.machine import Counter, pick, rarely

if TYPE_CHECKING:
    from typing import Any


class Undoing(Counter):
    """What came back is out again, on the loan it was on."""

    @rule(at=pick, somebody_else=rarely)
    def undo_return(self, at: int, *, somebody_else: bool) -> None:
        item, client = self.one_of(at, self.fresh), self.client()
        lines = [row for row in self.read(records.LoanLineRow) if row.item_id == item["id"]]
        if not lines:
            return
        number = max(row.id for row in lines)
        by = "S1" if somebody_else else "K1"
        answer = self.attempt(
            lambda db, actor, now: undo_return(db, number, client_id=client, by=actor, now=now),
            by,
            # What else followed, such as being sent away, is not followed on paper here.
            allowed=None if self.fresh(item) and not somebody_else else False,
            table="usage",
            client=client,
        )
        if answer:
            back = item.pop("back")
            item["out"] = back["was"]
            back["use"]["gone"] = True
            self.uses.append({"entry": None, "item": item, "number": self.newest_row(records.UsageRow)})
            self.touched = item["id"]
            if back["hold"] and back["hold"]["number"] in answer.holds:
                back["hold"]["open"] = False

    def fresh(self, item: dict[str, Any]) -> bool:
        """Whether it came back a moment ago, and nothing that is followed on paper happened since."""
        back = item.get("back")
        if not back or item["out"] or item["retired"] or back["use"]["gone"]:
            return False
        return bool(self.now - back["at"] <= timedelta(minutes=10))
