"""The machine: each rule is one thing somebody does, tried on the records and followed on paper."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from sqlalchemy import select

from fleet import records
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.reservations import ReserveSlip, reserve, set_free
from fleet.desk.returns import ReturnSlip, take_back
from fleet.desk.upkeep import retire
from fleet.desk.usage import UseSlip, note_use, reverse_use
from fleet.refusals import Refusal
from tests.desk import invariants, model
from tests.desk.machine_room import JOBS, furnish, on_paper, open_at
from tests.shop import Clock

if TYPE_CHECKING:
    from collections.abc import Callable

    from sqlalchemy.engine import Connection

    from fleet.rules.people import Actor
    from tests.databases import Databases

    Act = Callable[[Connection, Actor, datetime], Any]

HOSES, WRENCHES, GAUGE, EVERY = (0, 1, 2), (3, 4), 5, (0, 1, 2, 3, 4, 5)
LONG_AGO = datetime(2000, 1, 1, tzinfo=UTC)
WHY = "Told so by the shift, in writing"
which = st.sampled_from(EVERY)
jobs = st.sampled_from(JOBS)
people = st.sampled_from(("K1", "K1", "S1", "S1", "S2", "P1"))
mostly = st.sampled_from([True] * 3 + [False])
rarely = st.sampled_from([False] * 5 + [True])
pick = st.integers(0, 40)


class Counter(RuleBasedStateMachine):
    """The counter: what goes out, comes back and is used, and the clock on the wall."""

    def __init__(self, databases: Databases, engine: str) -> None:
        """Open a copy of the furnished room, and put what stands in it on paper."""
        super().__init__()
        self.databases, self.address = databases, databases.copy(engine, furnish)
        self.clock = Clock()
        self.room = open_at(self.address, self.clock)
        self.items = on_paper(self.room)
        self.tags = sorted(self.items, key=lambda tag: self.items[tag]["id"])
        self.newest = LONG_AGO
        self.order = 0
        self.granted: list[dict[str, Any]] = []
        self.uses: list[dict[str, Any]] = []
        self.acknowledged: list[tuple[str, str]] = []
        self.again: list[tuple[Act, str]] = []
        self.touched: int | None = None
        with self.room.look() as db:
            self.before = invariants.read_all(db)

    def teardown(self) -> None:
        self.room.close()
        self.databases.drop(self.address)

    # --- How anything is done -------------------------------------------------------------------------------

    @property
    def now(self) -> datetime:
        """The time that must be gone by: never earlier than anything on record."""
        return max(self.clock.now, self.newest)

    def item(self, at: int) -> dict[str, Any]:
        return self.items[self.tags[at]]

    def one_of(self, at: int, wanted: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
        """Mostly one for which there is something to do; sometimes any."""
        chosen = [item for item in self.items.values() if wanted(item)]
        every = list(self.items.values())
        return chosen[at % len(chosen)] if chosen and at % 7 else every[at % len(every)]

    def client(self) -> str:
        self.order += 1
        return f"c{self.order}"

    def attempt(self, act: Act, by: str, *, allowed: bool | None, table: str = "", client: str = "") -> Any:  # noqa: ANN401  Whatever the act answers.
        """Do it; answer nothing when it was refused. ``allowed`` is what the paper says, if it says so."""
        at = self.now
        self.touched = None
        self.order += 1
        answer, refused = None, ""
        try:
            with self.room.act() as db:
                actor, now = self.room.sit(db, by)
                assert now == at
                answer = act(db, actor, now)
        except Refusal as refusal:
            refused = str(refusal)
        if refused:
            assert allowed is not True, f"refused on record, allowed on paper: {refused}"
            return None
        assert allowed is not False, "done on record, forbidden on paper"
        self.newest = at
        if client:
            self.acknowledged.append((table, client))
            self.again.append((act, by))
        return answer

    # --- The clock ------------------------------------------------------------------------------------------

    @rule(hours=st.sampled_from((1, 2, 9, 26, 24 * 7, 24 * 40, 24 * 90, -1, -24, -24 * 30)))
    def the_clock_moves(self, hours: int) -> None:
        self.clock.pass_by(hours=hours)

    # --- Out and back ---------------------------------------------------------------------------------------

    @rule(at=which, other=which, job=jobs, days=st.integers(0, 20), by=st.sampled_from(["K1"] * 9 + ["P1"]))
    def issue_two(self, at: int, other: int, job: str, days: int, by: str) -> None:
        self.issue([self.item(one) for one in dict.fromkeys((at, other))], job, days, by)

    @rule(at=pick, job=jobs, days=st.sampled_from((0, 0, 1, 10)))
    def issue_one(self, at: int, job: str, days: int) -> None:
        item = self.one_of(
            at, lambda item: not model.stops(item, job, self.now, model.day_at(self.now), self.granted)
        )
        self.issue([item], job, days, "K1")

    def issue(self, chosen: list[dict[str, Any]], job: str, days: int, by: str) -> None:
        now, client = self.now, self.client()
        back_on = model.day_at(now) + timedelta(days=days)
        why = {item["tag"]: model.stops(item, job, now, back_on, self.granted) for item in chosen}
        slip = IssueSlip(client, tuple(why), "F1", job, back_on)
        allowed = by == "K1" and not any(why.values())
        answer = self.attempt(
            lambda db, actor, now: issue(db, slip, by=actor, now=now),
            by,
            allowed=allowed,
            table="loan",
            client=client,
        )
        if answer:
            for item in chosen:
                item["out"] = {"job": job, "back_on": back_on}
                item["first_out"] = item["first_out"] or model.day_at(now)

    @rule(at=pick, cycles=st.integers(0, 40), minutes=st.integers(0, 200), damaged=rarely)
    def come_back(self, at: int, cycles: int, minutes: int, *, damaged: bool) -> None:
        item, client, now = self.one_of(at, lambda item: item["out"]), self.client(), self.now
        slip = ReturnSlip(client, item["tag"], cycles, minutes, "damaged" if damaged else "fine")
        answer = self.attempt(
            lambda db, actor, now: take_back(db, slip, by=actor, now=now),
            "K1",
            allowed=item["out"] is not None,
            table="usage",
            client=client,
        )
        if answer:
            assert answer.held == damaged
            was, item["out"] = item["out"], None
            self.used(item, cycles, minutes, model.day_at(now))
            if damaged:
                self.hold(item, "damaged")
            item["back"] = {"was": was, "use": item["uses"][-1], "at": now}
            item["back"]["hold"] = item["holds"][-1] if damaged else None

    # --- Use ------------------------------------------------------------------------------------------------

    def used(self, item: dict[str, Any], cycles: int, minutes: int, used_on: Any) -> None:  # noqa: ANN401  A day.
        entry = {"cycles": cycles, "minutes": minutes, "used_on": used_on, "gone": False, "order": self.order}
        entry["at"] = self.newest
        item["uses"].append(entry)
        self.uses.append({"entry": entry, "item": item, "number": self.newest_row(records.UsageRow)})
        self.touched = item["id"]

    def newest_row(self, entity: type[records.Base]) -> int:
        return max(int(row.id) for row in self.read(entity))

    def read(self, entity: type[records.Base]) -> list[Any]:
        with self.room.look() as db:
            return list(db.execute(select(entity.__table__)))

    @rule(
        at=which,
        cycles=st.integers(0, 59),
        minutes=st.integers(0, 299),
        days=st.sampled_from([-1, 0, 0, 3, 20, 500]),
    )
    def note_use(self, at: int, cycles: int, minutes: int, days: int) -> None:
        item, client = self.item(at), self.client()
        today = model.day_at(self.now)
        used_on = today - timedelta(days=days)
        slip = UseSlip(client, item["tag"], cycles, minutes, used_on, WHY)
        answer = self.attempt(
            lambda db, actor, now: note_use(db, slip, by=actor, now=now),
            "K1",
            allowed=item["received"] <= used_on <= today,
            table="usage",
            client=client,
        )
        if answer:
            self.used(item, cycles, minutes, used_on)

    @precondition(lambda self: self.uses)
    @rule(at=pick)
    def reverse_use(self, at: int) -> None:
        use, client = self.uses[at % len(self.uses)], self.client()
        answer = self.attempt(
            lambda db, actor, now: reverse_use(db, use["number"], WHY, client_id=client, by=actor, now=now),
            "K1",
            allowed=use["entry"] is not None and not use["entry"]["gone"],
            table="usage",
            client=client,
        )
        if answer:
            use["entry"]["gone"] = True
            self.uses.append({"entry": None, "item": use["item"], "number": answer.entry})
            self.touched = use["item"]["id"]

    # --- Kept for a job -------------------------------------------------------------------------------------

    @rule(at=which, job=jobs, start=st.integers(-48, 300), hours=st.integers(1, 240))
    def reserve(self, at: int, job: str, start: int, hours: int) -> None:
        item, client, now = self.item(at), self.client(), self.now
        begin = now + timedelta(hours=start)
        end = begin + timedelta(hours=hours)
        slip = ReserveSlip(client, (item["tag"],), job, None, begin, end)
        answer = self.attempt(
            lambda db, actor, now: reserve(db, slip, by=actor, now=now),
            "P1",
            allowed=model.may_reserve(item, begin, end, now),
            table="reservation",
            client=f"{client}/{item['id']}",
        )
        if answer:
            item["kept"].append({"job": job, "from": begin, "to": end, "live": True})

    @rule(at=pick, job=jobs)
    def set_free(self, at: int, job: str) -> None:
        item = self.one_of(at, lambda item: [kept for kept in item["kept"] if kept["live"]])
        live = [kept for kept in item["kept"] if kept["live"] and kept["job"] == job]
        self.attempt(
            lambda db, actor, now: set_free(db, item["tag"], job, WHY, by=actor, now=now),
            "P1",
            allowed=bool(live),
        )
        for kept in live:
            kept["live"] = False

    @rule(at=which, sure=rarely)
    def retire(self, at: int, *, sure: bool) -> None:
        item = self.item(at)
        if sure:
            allowed = not item["retired"] and item["out"] is None
            act = lambda db, actor, now: retire(db, item["tag"], WHY, by=actor, now=now)  # noqa: E731  As elsewhere.
            if self.attempt(act, "K1", allowed=allowed):
                item["retired"] = True

    # --- The same request once more -------------------------------------------------------------------------

    @precondition(lambda self: self.again)
    @rule(at=pick)
    def repeat(self, at: int) -> None:
        """The answer that was given before, and nothing written."""
        act, by = self.again[-1 - at % len(self.again)]
        try:
            with self.room.act() as db:
                actor, now = self.room.sit(db, by)
                assert act(db, actor, now).again
        except Refusal as refusal:
            assert "set free since" in str(refusal)  # noqa: PT017  Only that one may be refused.
        with self.room.look() as db:
            assert invariants.read_all(db) == self.before

    def hold(
        self, item: dict[str, Any], cause: str, number: int | None = None, recall: int | None = None
    ) -> None:
        newest = self.newest_row(records.HoldRow) if number is None else number
        item["holds"].append(
            {"number": newest, "cause": cause, "at": self.newest, "open": True, "recall": recall, "by": None}
        )

    # --- What must be true ----------------------------------------------------------------------------------

    @invariant()
    def the_records_are_true(self) -> None:
        with self.room.look() as db:
            rows = invariants.read_all(db)
            assert self.room.now(db) == self.now
            invariants.check_day_book(db, rows)
            invariants.check_concessions(db, rows)
        invariants.check_prefix(self.before, rows)
        self.before = rows
        invariants.check_acknowledged(rows, self.acknowledged)
        invariants.check_whereabouts(rows, self.items)
        invariants.check_meters(rows, self.items)
        invariants.check_due_lines(rows, self.items)
        invariants.check_fresh(self.room, rows, self.now, self.touched)
        invariants.check_blocks(rows)
        invariants.check_reservations(rows)
        invariants.check_second_entries(rows)
        self.touched = None
