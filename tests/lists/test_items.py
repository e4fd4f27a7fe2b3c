"""Finding items, jobs and models by what people type."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.lists.items import find_item, items
from fleet.lists.jobs import find_job
from fleet.lists.models import find_model
from fleet.measures.tags import show_tag
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@pytest.fixture
def tag(shop: Shop) -> str:
    site = shop.site()
    shop.job(site, "ÜB-1")
    model = shop.model("wrench", "Größe_2")
    shop.item(shop.model("hose", "H-100%"), site, serial="ab/7")
    return shop.item(model, site, serial="Ä-77")[1]


def test_part_of_a_tag_serial_or_model_finds_an_item(room: Room, tag: str) -> None:
    with room.look() as db:
        for about in (tag, show_tag(tag), tag[1:4], "77", "größe", "GR", " e_2 "):
            assert [line.tag for line in items(db, about=about)] == [tag], about
        for about in ("100%", "AB/7", "b/"):
            assert [line.kind for line in items(db, about=about)] == ["hose"], about


@pytest.mark.parametrize("about", ["%", "_", "/", "-"])
def test_no_sign_stands_for_anything_but_itself(room: Room, tag: str, about: str) -> None:
    with room.look() as db:
        everything = items(db)
        found = items(db, about=about)
    assert tag
    assert found == [one for one in everything if about in f"{one.tag} {one.serial} {one.model}"]


def test_whatever_the_letters_what_is_typed_as_it_is_written_is_found(room: Room, tag: str) -> None:
    with room.look() as db:
        assert find_item(db, "Ä-77").tag == tag
        assert find_job(db, " ÜB-1 ").code == "ÜB-1"
        assert find_model(db, "Größe_2").model == "Größe_2"
        assert find_model(db, "h-100%").kind == "hose"


def test_a_serial_number_of_several_asks_for_the_tag(room: Room, shop: Shop, tag: str) -> None:
    site = 1
    others = [shop.item(shop.model("pump"), site, serial="ä-1")[1] for _ in range(2)]
    assert tag
    with room.look() as db, pytest.raises(NotFound, match="Several items have the serial number") as refused:
        find_item(db, "ä-1")
    for other in others:
        assert show_tag(other) in str(refused.value)
