"""What the kit search looks for is kept true on every way an item, a plate or a chart comes on record."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import text

from fleet.ledgers.strengths import rate_models
from tests.importing import Intake

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


def stand(room: Room, item: int) -> tuple[str | None, float | None]:
    with room.look() as db:
        fit, strength = db.execute(text("SELECT fit, strength FROM item WHERE id = :id"), {"id": item}).one()
    return fit, strength


def test_a_wrench_is_as_strong_as_its_chart_within_its_rating(room: Room, shop: Shop) -> None:
    model = shop.model("wrench", mwp_advance_mpa=50.0)
    item, _ = shop.item(model, shop.site())
    assert stand(room, item) == ("wrench square drive 25400000", 1200.0)


def test_its_own_chart_goes_before_that_of_its_model(room: Room, shop: Shop) -> None:
    model = shop.model("wrench")
    item, _ = shop.item(model, shop.site())
    other, _ = shop.item(model, 1)
    shop.chart(model, [(20.0, 580.0), (70.0, 2050.0)], item)
    with room.act() as db:
        rate_models(db, [model])
    assert (stand(room, item)[1], stand(room, other)[1]) == (2050.0, 2100.0)


@pytest.mark.parametrize(
    ("kind", "plate", "fit", "strength"),
    [
        (
            "wrench",
            {"head": "ratchet link", "across_flats_mm": 60.325},
            "wrench ratchet link 60325000",
            2100.0,
        ),
        ("socket", {"drive_mm": 38.1, "across_flats_mm": 60.325}, "socket 38100000 60325000", None),
        ("pump", {}, "pump {model}", 68.94757293168),
        ("pump", {"relief_advance_mpa": 80.0}, "pump {model}", 70.0),
        ("pump", {"relief_advance_mpa": None}, "pump {model}", 70.0),
        ("gauge", {}, "gauge {model}", 100.0),
        ("hose", {}, "hose {model}", 70.0),
        ("coupler", {"mwp_advance_mpa": None}, "coupler {model}", None),
    ],
)
def test_each_kind_has_its_own_strength(
    room: Room, shop: Shop, kind: str, plate: dict[str, Any], fit: str, strength: float | None
) -> None:
    model = shop.model(kind, **plate)
    item, _ = shop.item(model, shop.site())
    assert stand(room, item) == (fit.format(model=model), strength)


def test_what_is_imported_is_rated_and_rated_anew_with_its_plate_and_chart(room: Room) -> None:
    intake = Intake(room)
    intake.set_up()

    def wrench() -> float | None:
        with room.look() as db:
            return db.execute(text("SELECT strength FROM item WHERE tag = '10006'")).scalar()

    assert wrench() == pytest.approx(1500 * 1.3558179483314)
    intake.sheet("charts", "Model,Pressure (psi),Torque (lbf·ft)\nW-500,2000,300\nW-500,9000,1400\n")
    assert wrench() == pytest.approx(1400 * 1.3558179483314)
    intake.sheet("models", "Model,Kind,MWP\nW-500,wrench,300 bar\n")
    assert wrench() == pytest.approx(300 * 1.3558179483314)
    with room.look() as db:
        assert db.execute(text("SELECT count(*) FROM item WHERE fit IS NULL")).scalar() == 0


def test_the_migration_works_it_out_as_the_ledger_does(room: Room, shop: Shop) -> None:
    """Compare with the statement of the migration, which is never edited."""
    from alembic.migration import MigrationContext  # noqa: PLC0415  Only here.
    from alembic.operations import Operations  # noqa: PLC0415  Only here.
    from alembic.script import ScriptDirectory  # noqa: PLC0415  Only here.

    from tests.records.test_schema import config  # noqa: PLC0415  Only here.

    site = shop.site()
    made = [
        shop.item(shop.model(kind, **plate), site)[0]
        for kind, plate in (
            ("wrench", {}),
            ("wrench", {"head": "ratchet link", "across_flats_mm": 60.325}),
            ("socket", {"drive_mm": 38.1, "across_flats_mm": 60.325}),
            ("pump", {}),
            ("gauge", {}),
            ("hose", {}),
        )
    ]
    before = [stand(room, item) for item in made]
    script = ScriptDirectory.from_config(config("sqlite://")).get_revision("0003")
    with room.act() as db:
        db.execute(text("UPDATE item SET fit = NULL, strength = NULL"))
        with Operations.context(MigrationContext.configure(db)):
            script.module._strengths()  # noqa: SLF001  The migration's own step.
    assert [stand(room, item) for item in made] == before
    assert all(fit for fit, _ in before)
