"""A plot: every point where it belongs, told apart without colour, and all of it in words."""

from __future__ import annotations

from itertools import pairwise
from xml.etree.ElementTree import Element

import pytest
from defusedxml.ElementTree import fromstring

from fleet.papers.plots import HEIGHT, WIDTH, Series, line_plot

SVG = "{http://www.w3.org/2000/svg}"
CHART = Series("of the model", ((100.0, 500.0), (400.0, 2_000.0), (690.0, 3_450.0)))
OWN = Series("its own", ((100.0, 490.0), (690.0, 3_500.0)))
HOSTILE = "<script>alert('x')</script> & \"quoted\" \u0007"


def drawn(*series: Series, **more: object) -> Element:
    root = fromstring(line_plot("Chart", "Pressure (bar)", "Torque (N·m)", series, **more))  # type: ignore[arg-type]
    assert isinstance(root, Element)
    return root


def ways(root: Element) -> list[list[tuple[float, float]]]:
    return [
        [(float(x), float(y)) for x, y in (place.split(",") for place in one.get("points", "").split())]
        for one in root.iter(f"{SVG}polyline")
    ]


def words(root: Element) -> list[str]:
    return [one.text or "" for one in root.iter(f"{SVG}text")]


def test_points_stand_in_proportion_between_their_marks() -> None:
    root = drawn(CHART)
    (way,) = ways(root)
    said = {one.text: one for one in root.iter(f"{SVG}text")}
    left, right = (float(said[at].get("x", "")) for at in ("100", "600"))
    assert way[0][0] == pytest.approx(left, abs=0.2)
    assert way[1][0] == pytest.approx(left + (right - left) * 300 / 500, abs=0.2)
    zero, top = (float(said[at].get("y", "")) - 4 for at in ("0", "3,000"))
    assert way[1][1] == pytest.approx(zero - (zero - top) * 2 / 3, abs=0.2)


def test_all_of_it_stands_inside() -> None:
    for way in ways(drawn(CHART, OWN, Series("low", ((0.0, -5_000.0), (10.0, 20_000.0))))):
        assert all(0 < x < WIDTH and 0 < y < HEIGHT for x, y in way)


def test_lines_differ_without_colour() -> None:
    root = drawn(*(Series(f"number {at}", ((0.0, float(at)), (1.0, 2.0))) for at in range(4)))
    looks = {(line.get("stroke-dasharray"), line.get("stroke")) for line in root.iter(f"{SVG}polyline")}
    assert len(looks) == 4
    assert {stroke for _, stroke in looks} == {"#1a1a1a"}
    assert [f"number {at}" in words(root) for at in range(4)] == [True] * 4


def test_it_is_all_said_in_words() -> None:
    root = drawn(CHART, key="own")
    names = root.get("aria-labelledby", "").split()
    assert [one.get("id") for one in (root[0], root[1])] == names == ["owntitle", "owntold"]
    assert root[1].text == (
        "Torque (N·m) over Pressure (bar). of the model: 100, 500; 400, 2,000; 690, 3,450."
    )


def test_nobodys_words_become_markup() -> None:
    root = fromstring(line_plot(HOSTILE, HOSTILE, HOSTILE, [Series(HOSTILE, ((1.0, 1.0),))] * 2))
    assert {one.tag.removeprefix(SVG) for one in root.iter()} == {
        "svg", "title", "desc", "rect", "text", "line", "polyline", "circle",
    }  # fmt: skip
    assert "style" not in {name for one in root.iter() for name in one.keys()}  # noqa: SIM118  An element.


def test_marks_with_words_of_their_own_do_not_stand_on_each_other() -> None:
    weeks = [(float(at), f"2026-W{at:02}") for at in range(1, 53)]
    root = drawn(Series("overdue", tuple((x, x) for x, _ in weeks)), x_marks=weeks)
    places = [
        float(one.get("x", "")) for one in root.iter(f"{SVG}text") if (one.text or "").startswith("2026")
    ]
    assert places
    assert all(later - sooner > 50 for sooner, later in pairwise(places))
    assert "2026-W07, 7;" in (root[1].text or "")


def test_limits_go_across_with_their_words() -> None:
    root = drawn(CHART, limits=[(5_000.0, "not above this")])
    assert "not above this" in words(root)
    assert "5,000" in words(root)


@pytest.mark.parametrize("points", [((5.0, 5.0),), ((0.0, 0.0),), ((1.0, 3.0), (1.0, 3.0)), ((-2.0, 1e-9),)])
def test_points_that_do_not_spread_are_drawn(points: tuple[tuple[float, float], ...]) -> None:
    (way,) = ways(drawn(Series("one", points)))
    assert all(0 < x < WIDTH and 0 < y < HEIGHT for x, y in way)


def test_nothing_is_no_plot() -> None:
    with pytest.raises(ValueError, match="needs a point"):
        drawn(Series("empty", ()))
