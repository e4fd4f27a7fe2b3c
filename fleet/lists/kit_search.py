"""Which kits of the room do for a joint and a window: the smallest wrenches first, each checked at the gate.

Two steps. First what is free and connects is worked out over the few models, so that a pump pool that is
taken costs its own probes and not one per wrench. Then the wrenches are streamed from the least strength that
will do, until there are enough.
"""

from __future__ import annotations

import heapq
from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cached_property
from itertools import islice
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from fleet.bolting.charts import torque_at
from fleet.bolting.figures import FLOAT_NOISE
from fleet.bolting.findings import Severity
from fleet.bolting.loosening import CoverState
from fleet.bolting.parts import Kind
from fleet.lists import kit_stock as stock
from fleet.lists.items import item_facts
from fleet.lists.kit_answers import Alternative, FoundKit
from fleet.lists.kit_room import Combination, Model, Room, offer_of
from fleet.lists.parts import Piece, kit_of, pieces
from fleet.measures.times import start_of_day, zone
from fleet.refusals import NotPossible
from fleet.rules.breakouts import demand
from fleet.rules.kit_search import (
    Offer,
    Ranked,
    choose,
    kept_out,
    oversize,
    right_drive,
    strong_enough,
)
from fleet.rules.kits import KitVerdict, judge_kit
from fleet.rules.loans import Verdict, Wish, judge

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from sqlalchemy.engine import Connection

    from fleet.lists.kit_answers import Asked

# Wrenches read at a time, and how many of one size are compared by due day and moves.
AT_A_TIME = 8
MOST_COMPARED = 8
# For more kits at once, more pieces of each model are looked at.
FEW_AT_ONCE = 2


@dataclass(slots=True)
class _Candidate:
    """A wrench with the best kit around it so far, and the ways that proved not to do."""

    offer: Offer
    model: Model
    piece: Piece
    oversize_percent: int
    bad: set[Combination] = field(default_factory=set)
    alone: Ranked | None = None
    """How good its kit is while nothing is used elsewhere."""


@dataclass
class Search:
    """One search, and all it came upon."""

    db: Connection
    asked: Asked
    stopped: Counter[tuple[str, str]] = field(default_factory=Counter)
    """What looked free and the gate stopped, by kind and short reason."""

    @cached_property
    def needed_nm(self) -> float:
        """The larger of tightening and loosening, by plan or as measured."""
        joint = self.asked.joint
        plan = joint.target_torque_nm, joint.loosening_factor, joint.loosening_reason
        return demand(joint.mark, *plan, joint.measured, self.asked.window.units)[0].needed_nm

    @cached_property
    def least_nm(self) -> float:
        """The least strength that leaves the margin."""
        return self.needed_nm / (1 - self.asked.margin)

    @cached_property
    def room(self) -> Room:
        """What the site has."""
        asked, window = self.asked, self.asked.window
        there = zone(asked.site.time_zone)
        given = {
            "site": asked.site.id,
            "job": asked.job.id,
            "today": asked.today,
            "first_day": asked.first_day,
            "last_day": window.last_day,
            "starts_at": window.starts_at,
            "ends_at": window.ends_at,
            # The gate counts whole days at the site.
            "since": start_of_day(asked.first_day, there),
            "until": start_of_day(window.last_day + timedelta(days=1), there),
        }
        return Room(self.db, given, stock.FEW if asked.limits.at_once <= FEW_AT_ONCE else stock.MANY)

    def flats_mm(self) -> float:
        """The nut of the joint."""
        flats = self.asked.joint.across_flats_mm
        if flats is None:
            mark = self.asked.joint.mark
            raise NotPossible(f"The width across flats of joint {mark} is not on record: measure a nut.")
        return flats

    def right_wrenches(self) -> list[Model]:
        """Models of the right head and drive, whether or not they get at the joint."""
        flats, limits = self.flats_mm(), self.asked.limits
        return [m for m in self.room.of_kind(Kind.WRENCH) if right_drive(m.size, limits, flats)]

    def sockets(self, wrench: Model) -> Sequence[Offer] | None:
        """Free sockets for a square drive; None where a link needs none."""
        drive = wrench.size.drive_mm
        return None if drive is None else self.room.sockets(drive, self.flats_mm())

    def has_socket(self, wrench: Model) -> bool:
        """Whether the wrench needs no socket, or one is free."""
        free = self.sockets(wrench)
        return free is None or bool(free)

    def alternatives(self) -> tuple[Alternative, ...]:
        """The best first; fewer than asked for where there are no more."""
        wanted = self.asked.alternatives + self.asked.limits.at_once - 1
        keyed = [(one.alone.key, one) for one in self._candidates(wanted) if one.alone]
        ranked = [one for _, one in sorted(keyed, key=itemgetter(0))]
        answers: list[Alternative] = []
        for at in range(len(ranked)):
            if len(answers) == self.asked.alternatives:
                break
            kits = self._together(ranked[at:])
            if kits:
                answers.append(Alternative(kits))
        return tuple(answers)

    def _together(self, candidates: Sequence[_Candidate]) -> tuple[FoundKit, ...]:
        """The first candidate and as many of the next as work with it at once; nothing shared."""
        kits: list[FoundKit] = []
        used: set[int] = set()
        for number, candidate in enumerate(candidates):
            kit = self._proven(candidate, used)
            if kit is None and number == 0:
                return ()
            if kit:
                kits.append(kit)
                used |= {piece.id for piece in kit.pieces}
            if len(kits) == self.asked.limits.at_once:
                return tuple(kits)
        return ()

    def _candidates(self, wanted: int) -> list[_Candidate]:
        found: list[_Candidate] = []
        stream = self._stream()
        while rows := list(islice(stream, AT_A_TIME)):
            read = pieces(self.db, [row.id for row in rows])
            for row, piece in zip(rows, read, strict=True):
                over = oversize(row.strength, self.needed_nm)
                if len(found) >= wanted and (
                    over > found[wanted - 1].oversize_percent or len(found) >= MOST_COMPARED
                ):
                    return found
                model = self.room.models[row.model_id]
                candidate = _Candidate(offer_of(row, Kind.WRENCH, self.asked.today), model, piece, over)
                if best := self._best(candidate, set()):
                    candidate.alone = best[0]
                    found.append(candidate)
        return found

    def _stream(self) -> Iterator[Any]:
        """Free wrenches that get at the joint and can be put under pressure, by strength and id."""
        models: dict[str, list[int]] = {}
        for model in self.right_wrenches():
            if kept_out(model.size, self.asked.limits) or not self.has_socket(model):
                continue
            if self.room.combinations(model.part):
                models.setdefault(model.fit, []).append(model.id)
        streams = [self._of_fit(fit, ids) for fit, ids in models.items()]
        return heapq.merge(*streams, key=lambda row: (row.strength, row.id))

    def _of_fit(self, fit: str, models: Sequence[int]) -> Iterator[Any]:
        after = {"least": self.least_nm * (1 - FLOAT_NOISE), "after": 0}
        named, count = f",{','.join(map(str, models))},", stock.FEW
        while rows := stock.WRENCHES[count].rows(
            self.db, {**self.room.given, **after, "fit": fit, "models": named}
        ):
            yield from rows
            if len(rows) < count:
                return
            after, count = {"least": rows[-1].strength, "after": rows[-1].id}, stock.MANY

    def _best(self, candidate: _Candidate, used: set[int]) -> tuple[Ranked, Combination] | None:
        """The best kit around a wrench, without what is used elsewhere; not yet judged."""
        chart = candidate.piece.chart
        sockets = self.sockets(candidate.model)
        tail = [] if sockets is None else [sockets]
        best: tuple[Ranked, Combination] | None = None
        for combination in self.room.combinations(candidate.model.part):
            if combination in candidate.bad or chart is None:
                continue
            highest = min(combination.highest_mpa, chart.top.pressure_mpa)
            if highest < chart.bottom.pressure_mpa:
                continue
            if not strong_enough(torque_at(chart, highest).torque_nm, self.needed_nm, self.asked.margin):
                continue
            roles = [*map(self.room.offers, combination.groups), *tail]
            free = [[one for one in role if one.id not in used] for role in roles] if used else roles
            chosen = choose(candidate.offer, free)
            if chosen:
                ranked = Ranked(candidate.oversize_percent, *chosen)
                if best is None or ranked.key < best[0].key:
                    best = ranked, combination
        return best

    def _proven(self, candidate: _Candidate, used: set[int]) -> FoundKit | None:
        """The best kit around the wrench that passes the gate which issues kit, or nothing."""
        if candidate.offer.id in used | self.room.gone:
            return None
        while best := self._best(candidate, used):
            ranked, combination = best
            verdicts = self._judge([piece.id for piece in ranked.pieces])
            barred = [(o, v) for o, v in zip(ranked.pieces, verdicts, strict=True) if not v.goes_out]
            for offer, found in barred:
                self.room.gone.add(offer.id)
                why = next(one.code for one in found.findings if one.severity is not Severity.NOTE)
                self.stopped[offer.kind, why] += 1
            if candidate.offer.id in self.room.gone:
                return None
            if barred:
                continue
            chosen = pieces(self.db, [piece.id for piece in ranked.pieces])
            verdict = judge_kit(kit_of(chosen, self.asked.window.units), self.asked.joint)
            if self._does(verdict):
                return _kit(ranked, chosen, verdict, verdicts)
            candidate.bad.add(combination)
        return None

    def _does(self, verdict: KitVerdict) -> bool:
        if verdict.stopped or verdict.covered is CoverState.NOT_COVERED or verdict.available_nm is None:
            return False
        return strong_enough(verdict.available_nm, verdict.need.needed_nm, self.asked.margin)

    def _judge(self, ids: Sequence[int]) -> tuple[Verdict, ...]:
        asked = self.asked
        last = asked.window.last_day
        wish = Wish(asked.job.code, asked.site.code, asked.first_day, last, asked_on=asked.today)
        facts = item_facts(self.db, ids, now=asked.now)
        return tuple(judge(facts[item], wish) for item in ids)


def _kit(
    ranked: Ranked, chosen: Sequence[Piece], verdict: KitVerdict, verdicts: tuple[Verdict, ...]
) -> FoundKit:
    return FoundKit(
        pieces=ranked.pieces,
        models=tuple(piece.model for piece in chosen),
        oversize_percent=ranked.oversize_percent,
        moves=ranked.moves,
        due_on=min((piece.due_on for piece in ranked.pieces if piece.due_on), default=None),
        verdict=verdict,
        items=verdicts,
    )
