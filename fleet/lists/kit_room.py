"""What a tool room has for a kit: its models as parts of a circuit, and the free pieces of each."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from fleet.bolting.connecting import gauge_sets, ways, withstands
from fleet.bolting.figures import known
from fleet.bolting.parts import End, Half, Kind, Line, Part, Port
from fleet.lists import kit_stock as stock
from fleet.rules.kit_search import Offer, WrenchSize, alike, days_to

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping, Sequence
    from datetime import date

    from sqlalchemy.engine import Connection

# Above any strength there is.
_ANY = 1e12


@dataclass(frozen=True, slots=True)
class Model:
    """One model that the room has items of, as a part of a circuit and by its sizes."""

    id: int
    kind: str
    designation: str
    part: Part
    size: WrenchSize
    flats_mm: float | None
    shows: tuple[float | None, str | None]
    """A gauge: its graduation and accuracy."""

    @property
    def fit(self) -> str:
        """What its items stand under: see ``ledgers/strengths.py``."""
        size = self.size
        if self.kind == Kind.WRENCH:
            return f"wrench {size.head} {_nanometres(size.link_mm or size.drive_mm)}"
        if self.kind == Kind.SOCKET:
            return f"socket {_nanometres(size.drive_mm)} {_nanometres(self.flats_mm)}"
        return f"{self.kind} {self.id}"


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Pieces that are one and the same to a circuit: a part, and the models that it stands for."""

    part: Part
    models: tuple[Model, ...]
    offers: tuple[Offer, ...] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Combination:
    """A pump with the hoses, couplers and gauges that join it to a wrench soundly."""

    groups: tuple[Group, ...]
    highest_mpa: float
    """What may stand on the advance line: the relief setting, as all parts are rated for it."""


@dataclass
class Room:
    """One site's models and free pieces for one job and window; ``given`` are the statements' parameters."""

    db: Connection
    given: Mapping[str, Any]
    look_at: int = stock.FEW
    """Free pieces of one model that are looked at: the best of them by due day and shelf is taken."""
    gone: set[int] = field(default_factory=set)
    """Pieces that the gate stopped although they looked free."""
    _pools: dict[str, list[Any]] = field(default_factory=dict)
    _offered: dict[Group, Sequence[Offer]] = field(default_factory=dict)
    _sockets: dict[tuple[float, float], Group | None] = field(default_factory=dict)
    _combined: dict[Hashable, tuple[Combination, ...]] = field(default_factory=dict)

    @cached_property
    def models(self) -> dict[int, Model]:
        """Every model that an item of the site is of."""
        ports: defaultdict[int, list[Port]] = defaultdict(list)
        for model, line, faces, series, size, half, mwp, flush in stock.PORTS.rows(self.db, {}):
            port = Port(Line(line), End(faces), series, size, Half(half), mwp, flush_face=bool(flush))
            ports[model].append(port)
        return {row.id: _model(row, ports[row.id]) for row in stock.MODELS.rows(self.db, self.given)}

    def of_kind(self, kind: Kind) -> list[Model]:
        """The models of one kind."""
        return [model for model in self.models.values() if model.kind == kind]

    @cached_property
    def _own(self) -> Mapping[str, list[Any]]:
        found: defaultdict[str, list[Any]] = defaultdict(list)
        for row in stock.OF_JOB.rows(self.db, self.given):
            found[row.fit].append(row)
        return found

    def rows(self, fit: str, kind: Kind) -> list[Any]:
        """Free pieces of one fit: the job's own, and the first others; of pumps, of each relief setting."""
        if fit not in self._pools:
            found = {row.id: row for row in self._own.get(fit, ())}
            below = _ANY
            while rows := stock.PIECES[self.look_at].rows(
                self.db, {**self.given, "fit": fit, "below": below}
            ):
                found |= {row.id: row for row in rows}
                if kind is not Kind.PUMP or len(rows) < self.look_at:
                    break
                below = rows[-1].strength
            self._pools[fit] = list(found.values())
        return self._pools[fit]

    def offers(self, group: Group) -> Sequence[Offer]:
        """The free pieces of a group that the gate has not stopped."""
        offers, today = self._offered.get(group), self.given["today"]
        if offers is None:
            offers = group.offers or [
                offer_of(row, m.kind, today) for m in group.models for row in self.rows(m.fit, Kind(m.kind))
            ]
            self._offered[group] = offers
        return [offer for offer in offers if offer.id not in self.gone] if self.gone else offers

    @cached_property
    def pumps(self) -> list[Group]:
        """Free pumps by what a circuit sees of them: each may have a relief setting of its own."""
        alike_ones: defaultdict[Hashable, list[tuple[Model, Any]]] = defaultdict(list)
        parts: dict[Hashable, Part] = {}
        today = self.given["today"]
        for model in self.of_kind(Kind.PUMP):
            for row in self.rows(model.fit, Kind.PUMP):
                part = _relieved(model.part, row)
                parts.setdefault(key := _key(part), part)
                alike_ones[key].append((model, row))
        return [
            Group(
                parts[key],
                tuple({m.id: m for m, _ in met}.values()),
                tuple(offer_of(r, m.kind, today) for m, r in met),
            )
            for key, met in alike_ones.items()
        ]

    def groups(self, *kinds: Kind) -> list[Group]:
        """The models of these kinds, those together that are one to a circuit; none without a free piece."""
        met: defaultdict[Hashable, list[Model]] = defaultdict(list)
        for kind in kinds:
            for model in self.of_kind(kind):
                met[(_key(model.part), model.shows)].append(model)
        return [
            group for models in met.values() if self.offers(group := Group(models[0].part, tuple(models)))
        ]

    @cached_property
    def between(self) -> list[Group]:
        """Hoses and couplers of which one is free."""
        return self.groups(Kind.HOSE, Kind.COUPLER)

    @cached_property
    def gauges(self) -> list[Group]:
        """Gauges of which one is free."""
        return self.groups(Kind.GAUGE)

    def combinations(self, wrench: Part) -> tuple[Combination, ...]:
        """Every sound way to put pressure on a wrench like this with what is free."""
        key = _key(wrench)
        if key not in self._combined:
            self._combined[key] = tuple(
                combination for pump in self.pumps for combination in self._of_pump(pump, wrench)
            )
        return self._combined[key]

    def _of_pump(self, pump: Group, wrench: Part) -> Iterator[Combination]:
        relief = pump.part.relief_mpa
        highest = relief.get(Line.ADVANCE)
        if not known(highest) or not (withstands(pump.part, relief) and withstands(wrench, relief)):
            return
        fit = {id(g.part): g for g in (*self.between, *self.gauges) if withstands(g.part, relief)}
        between = [g.part for g in fit.values() if g.part.kind is not Kind.GAUGE]
        on_pump = [*gauge_sets(pump.part, [g.part for g in fit.values() if g.part.kind is Kind.GAUGE])]
        for chain in ways(pump.part, wrench, between) if on_pump else ():
            for gauges in on_pump:
                yield Combination((pump, *(fit[id(part)] for part in (*chain, *gauges))), highest)

    def sockets(self, drive_mm: float, flats_mm: float) -> Sequence[Offer]:
        """Free sockets for a drive and a nut."""
        size = drive_mm, flats_mm
        if size not in self._sockets:
            met = tuple(m for m in self.of_kind(Kind.SOCKET) if _fits(m, *size))
            self._sockets[size] = Group(met[0].part, met) if met else None
        group = self._sockets[size]
        return self.offers(group) if group else ()


def _fits(socket: Model, drive_mm: float, flats_mm: float) -> bool:
    return alike(socket.size.drive_mm, drive_mm) and alike(socket.flats_mm, flats_mm)


def offer_of(row: Any, kind: str, today: date) -> Offer:  # noqa: ANN401  A row of the stock.
    """A free piece as the ranking sees it."""
    at_job, days = row.kept or row.with_job, days_to(row.due_on, today)
    return Offer(row.id, row.tag, kind, row.shelf, row.due_on, at_job=at_job, kept=row.kept, days=days)


def _nanometres(size_mm: float | None) -> int:
    return round(1_000_000 * size_mm) if size_mm else 0


def _model(row: Any, ports: Sequence[Port]) -> Model:  # noqa: ANN401  A row of the stock.
    linked = row.kind == Kind.WRENCH and row.drive_mm is None
    return Model(
        id=row.id,
        kind=row.kind,
        designation=row.designation,
        part=Part(
            label=f"{row.kind} {row.designation}",
            kind=Kind(row.kind),
            mwp_mpa={Line.ADVANCE: row.mwp_advance_mpa, Line.RETRACT: row.mwp_retract_mpa},
            ports=tuple(ports),
            relief_mpa={Line.ADVANCE: row.relief_advance_mpa, Line.RETRACT: row.relief_retract_mpa},
            gauge_range_mpa=row.range_mpa,
            burst_ratio=row.burst_ratio,
        ),
        size=WrenchSize(
            head=row.head or "",
            drive_mm=row.drive_mm,
            link_mm=row.across_flats_mm if linked else None,
            width_mm=row.width_mm,
            height_mm=row.height_mm,
            weight_kg=row.weight_kg,
        ),
        flats_mm=row.across_flats_mm,
        shows=(row.graduation_mpa, row.accuracy_class),
    )


def _relieved(part: Part, row: Any) -> Part:  # noqa: ANN401  A row of the stock.
    """A pump with its own relief settings, where it has any."""
    own = {Line.ADVANCE: row.relief_advance_mpa, Line.RETRACT: row.relief_retract_mpa}
    relief = {line: part.relief_mpa.get(line) if mpa is None else mpa for line, mpa in own.items()}
    if relief == part.relief_mpa:
        return part
    return Part(part.label, part.kind, part.mwp_mpa, part.ports, relief)


def _key(part: Part) -> Hashable:
    """All that a circuit sees of a part."""
    rated = tuple((line, part.mwp_mpa.get(line), part.relief_mpa.get(line)) for line in Line)
    return part.kind, rated, part.ports, part.gauge_range_mpa
