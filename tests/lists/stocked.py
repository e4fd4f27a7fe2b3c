"""A rack with more of everything, and with what may stand against it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import update

from fleet import records
from fleet.records.base import rows_of
from tests.lists.rack import INCH, Rack, Thing
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    import random
    from collections.abc import Callable
    from datetime import date

FLATS = 2.375 * INCH


def keep(rack: Rack, thing: Thing, job_id: int, first: int = 0, days: int = 10) -> None:
    window = {"starts_at": NOON + timedelta(days=first), "ends_at": NOON + timedelta(days=first + days)}
    who = {"reserved_at": NOON, "reserved_by_id": 2, "client_id": f"kept-{thing.tag}"}
    rack.shop.put(records.ReservationRow, item_id=thing.item, job_id=job_id, **who, **window)


def hold(rack: Rack, thing: Thing) -> None:
    rack.shop.put(records.HoldRow, item_id=thing.item, cause="damaged", reason="Dropped", opened_at=NOON)


def send_away(rack: Rack, thing: Thing) -> None:
    where = {"errand": "repair", "sent_to": "Workshop", "sent_at": NOON, "sent_by_id": 2}
    rack.shop.put(records.AwayRow, client_id=f"away-{thing.tag}", item_id=thing.item, **where)


def lend(rack: Rack, thing: Thing, job_id: int, back: date) -> None:
    loan = rack.shop.put(
        records.LoanRow,
        client_id=f"loan-{thing.tag}",
        site_id=rack.site,
        job_id=job_id,
        borrower_id=1,
        issued_at=NOON,
        issued_by_id=2,
        back_on=back,
    )
    rack.shop.put(records.LoanLineRow, loan_id=loan, item_id=thing.item)


TROUBLES = (
    "none",
    "none",
    "none",
    "held",
    "away",
    "kept",
    "kept for it",
    "kept in part",
    "out",
    "back",
    "ours",
)


def trouble(rack: Rack, thing: Thing, what: str) -> None:
    """Something that stands against the piece, or for it."""
    if what == "held":
        hold(rack, thing)
    elif what == "away":
        send_away(rack, thing)
    elif what == "kept":
        keep(rack, thing, job_id=2, first=3, days=2)
    elif what == "kept for it":
        keep(rack, thing, job_id=1)
    elif what == "kept in part":
        keep(rack, thing, job_id=1, first=2, days=3)
    elif what == "out":
        lend(rack, thing, 2, TODAY + timedelta(days=4))
    elif what == "back":
        lend(rack, thing, 2, TODAY)
    elif what == "ours":
        lend(rack, thing, 1, TODAY + timedelta(days=4))


def adapter(rack: Rack) -> Thing:
    """A coupler from series A to series B on both lines."""
    model = rack.shop.model("coupler")
    for line, halves in (("advance", ("female", "male")), ("retract", ("male", "female"))):
        for faces, half, series in zip(("pump", "tool"), halves, "AB", strict=True):
            port = {"line": line, "faces": faces, "half": half, "coupling_id": rack.couplings[series]}
            rack.shop.put(records.PortRow, model_id=model, **port)
    return Thing(*rack.shop.item(model, rack.site))


def stock(rack: Rack, luck: random.Random) -> dict[str, list[Thing]]:
    """A few more things of each kind beside the kit."""
    rack.coupling("B")
    tops, ages = [1400.0, 1680.0, 1690.0, 2400.0, 2405.0], [30, 60, 200, 360]
    reliefs, drives = [70.0, 60.0, 50.0], [INCH, 1.5 * INCH]
    made: dict[str, Callable[[], Thing]] = {
        "wrench": lambda: rack.wrench(
            luck.choice(tops), luck.choice("AAB"), luck.choice(drives), luck.choice(ages)
        ),
        "pump": lambda: rack.thing(
            "pump", luck.choice("AAB"), relief_advance_mpa=luck.choice(reliefs), relief_retract_mpa=10.0
        ),
        "hose": lambda: rack.thing(
            "hose", luck.choice("AAAB"), mwp_advance_mpa=luck.choice([70.0, 70.0, 60.0])
        ),
        "gauge": lambda: rack.thing(
            "gauge", mwp_advance_mpa=100.0, graduation_mpa=luck.choice([0.5, 0.5, None])
        ),
        "socket": lambda: rack.socket(luck.choice(drives), luck.choice([FLATS, FLATS, 55.0])),
    }
    things = {
        kind: [make() for _ in range(luck.randint(2, 4 if kind == "wrench" else 3))]
        for kind, make in made.items()
    }
    for kind, thing in rack.kit.items():
        things.setdefault(kind, []).append(thing)
    things["coupler"].append(adapter(rack))
    return things


def fill(rack: Rack, luck: random.Random) -> None:
    """Stock with all that may stand against it or for it."""
    things = stock(rack, luck)
    for kind in ("pump", "hose"):
        task = rack.shop.task("inspection", kind, every_months=6)
        for thing in things[kind]:
            day = TODAY - timedelta(days=luck.choice([10, 10, 20, 100, 120, 175, 178, 190]))
            rack.shop.did(thing.item, task, day)
    every = [thing for some in things.values() for thing in some]
    for thing in every:
        trouble(rack, thing, luck.choice(TROUBLES if luck.random() < 0.2 else ("none",)))
    with rack.room.act() as db:
        items, models = rows_of(records.ItemRow), rows_of(records.ModelRow)
        for thing in every:
            shelf = luck.choice(["A1", "B2", None])
            db.execute(update(items).where(items.c.id == thing.item).values(shelf=shelf))
        sizes = {"width_mm": luck.choice([70.0, 90.0, None]), "weight_kg": 9.0}
        some = models.c.id % 2 == luck.randint(0, 1)
        db.execute(update(models).where(models.c.kind == "wrench", some).values(sizes))
