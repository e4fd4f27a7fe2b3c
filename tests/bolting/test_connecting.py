"""What is found to connect is judged sound by the circuit check, and what is not found is judged unsound."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.circuits import check_circuit
from fleet.bolting.connecting import gauge_sets, ways, withstands
from fleet.bolting.parts import End, Half, Kind, Line, Part, Port

if TYPE_CHECKING:
    from collections.abc import Sequence

MALE, FEMALE = Half.MALE, Half.FEMALE
OTHER = {MALE: FEMALE, FEMALE: MALE}
RELIEF = {Line.ADVANCE: 70.0, Line.RETRACT: 10.0}


def port(line: Line, end: End, series: str, half: Half, mpa: float | None = 72.0, **more: bool) -> Port:
    return Port(line, end, series, "3/8", half, mpa, **more)


def twin(label: str, kind: Kind, into: str, out: str, mpa: float | None = 70.0) -> Part:
    """Both lines, with opposite halves on the two."""
    ports = []
    for line, half in ((Line.ADVANCE, FEMALE), (Line.RETRACT, MALE)):
        ports += [port(line, End.PUMP, into, half), port(line, End.TOOL, out, OTHER[half])]
    return Part(label, kind, dict.fromkeys(Line, mpa), tuple(ports), burst_ratio=4.0)


def pump(series: str = "A", *gauges: Line, relief: dict[Line, float] | None = None) -> Part:
    sides = [port(Line.ADVANCE, End.TOOL, series, MALE), port(Line.RETRACT, End.TOOL, series, FEMALE)]
    sides += [port(line, End.GAUGE, "G", FEMALE, 100.0) for line in gauges or (Line.ADVANCE,)]
    return Part("pump", Kind.PUMP, dict.fromkeys(Line, 70.0), tuple(sides), relief or RELIEF)


def wrench(series: str = "A", mpa: float | None = 70.0) -> Part:
    sides = (port(Line.ADVANCE, End.PUMP, series, FEMALE), port(Line.RETRACT, End.PUMP, series, MALE))
    return Part("wrench", Kind.WRENCH, dict.fromkeys(Line, mpa), sides)


def gauge(label: str = "gauge", line: Line = Line.ADVANCE, most: float | None = 100.0) -> Part:
    own = (port(line, End.PUMP, "G", MALE, 100.0),)
    return Part(label, Kind.GAUGE, {line: 100.0}, own, gauge_range_mpa=most)


def labels(found: Sequence[Sequence[Part]]) -> list[str]:
    return sorted(" ".join(part.label for part in chain) for chain in found)


HOSE, ADAPTER, BLOCK = (
    twin("hose", Kind.HOSE, "A", "A"),
    twin("adapter", Kind.COUPLER, "A", "B"),
    twin("block", Kind.COUPLER, "A", "A"),
)


def test_a_hose_joins_what_is_of_its_series() -> None:
    assert labels(list(ways(pump(), wrench(), [HOSE, ADAPTER, BLOCK]))) == ["hose"]
    assert labels(list(ways(pump(), wrench("B"), [HOSE, ADAPTER, BLOCK]))) == ["adapter"] * 0 + [
        "hose adapter"
    ]
    assert list(ways(pump("B"), wrench(), [HOSE, ADAPTER, BLOCK])) == []
    assert list(ways(pump(), wrench(), [])) == []


def test_two_single_hoses_are_as_good_as_a_twin() -> None:
    singles = []
    for line, half in ((Line.ADVANCE, FEMALE), (Line.RETRACT, MALE)):
        own = (port(line, End.PUMP, "A", half), port(line, End.TOOL, "A", OTHER[half]))
        singles.append(Part(f"{line} hose", Kind.HOSE, {line: 70.0}, own, burst_ratio=4.0))
    assert labels(list(ways(pump(), wrench(), singles))) == ["advance hose retract hose"]
    assert list(ways(pump(), wrench(), singles[:1])) == []
    assert labels(list(ways(pump(), wrench(), [*singles, HOSE]))) == ["advance hose retract hose", "hose"]


def test_one_hose_a_line_and_two_couplers_at_most() -> None:
    chain = [twin(f"{a}{b}", Kind.COUPLER, a, b) for a, b in ("AB", "BC", "CD")]
    assert labels(list(ways(pump(), wrench("C"), [HOSE, *chain]))) == ["hose AB BC"]
    assert list(ways(pump(), wrench("D"), [HOSE, *chain])) == []
    longer = twin("longer", Kind.HOSE, "A", "A")
    assert labels(list(ways(pump(), wrench(), [HOSE, longer]))) == ["hose", "longer"]


def test_each_gauge_port_of_the_pump_gets_a_gauge() -> None:
    ours, back = gauge(), gauge("back", Line.RETRACT)
    assert labels(list(gauge_sets(pump(), [ours, back]))) == ["gauge"]
    assert labels(list(gauge_sets(pump("A", *Line), [ours, back]))) == ["gauge back"]
    assert list(gauge_sets(pump("A", *Line), [ours])) == []
    assert list(gauge_sets(pump("A", Line.RETRACT), [back])) == []
    two = Part("two", Kind.GAUGE, {Line.ADVANCE: 100.0}, ours.ports * 2, gauge_range_mpa=100.0)
    tool = Part("t", Kind.GAUGE, {}, (port(Line.ADVANCE, End.TOOL, "G", MALE),), gauge_range_mpa=100.0)
    assert list(gauge_sets(pump(), [two, tool])) == []


@pytest.mark.parametrize(
    ("part", "holds"),
    [
        (HOSE, True),
        (twin("h", Kind.HOSE, "A", "A", 69.9), False),
        (twin("h", Kind.HOSE, "A", "A", None), False),
        (gauge(), True),
        (gauge(most=70.0), True),
        (gauge(most=69.9), False),
        (gauge(most=None), False),
        (
            Part("p", Kind.COUPLER, {Line.ADVANCE: 70.0}, (port(Line.ADVANCE, End.PUMP, "A", MALE, 69.0),)),
            False,
        ),
        (
            Part("p", Kind.COUPLER, {Line.ADVANCE: 70.0}, (port(Line.ADVANCE, End.PUMP, "A", MALE, None),)),
            False,
        ),
        (
            Part(
                "p",
                Kind.COUPLER,
                {Line.ADVANCE: 70.0},
                (port(Line.ADVANCE, End.PUMP, "A", MALE, flush_face=True),),
            ),
            False,
        ),
        (Part("p", Kind.COUPLER, {Line.RETRACT: 10.0}, (port(Line.RETRACT, End.PUMP, "A", MALE),)), True),
    ],
)
def test_what_withstands_the_relief_settings(part: Part, holds: bool) -> None:
    assert withstands(part, RELIEF) is holds
    assert not withstands(part, {})


KINDS = st.sampled_from([Kind.HOSE, Kind.HOSE, Kind.COUPLER])
PARTS = st.lists(
    st.builds(
        twin, st.just("x"), KINDS, st.sampled_from("AB"), st.sampled_from("AB"), st.sampled_from([70.0, 60.0])
    ),
    max_size=4,
)


@given(PARTS, st.sampled_from("AB"), st.sampled_from([70.0, 60.0]), st.booleans())
def test_what_is_found_is_sound_and_nothing_sound_is_missed(
    drawn: list[Part],
    end: str,
    relief: float,
    high: bool,
) -> None:
    """Every set of one hose and up to two couplers is tried by the circuit check."""
    between = [Part(f"{at}", p.kind, p.mwp_mpa, p.ports, burst_ratio=4.0) for at, p in enumerate(drawn)]
    source = pump(relief={Line.ADVANCE: relief, Line.RETRACT: 10.0})
    tool, shown = wrench(end), gauge(most=100.0 if high else 50.0)
    able = [part for part in (*between, tool, shown, source) if withstands(part, source.relief_mpa)]
    found = set()
    if tool in able and shown in able:
        found = {
            frozenset(part.label for part in chain)
            for chain in ways(source, tool, [part for part in between if part in able])
        }
    sound = {
        frozenset(part.label for part in some)
        for count in range(1, 4)
        for some in combinations(between, count)
        if sum(part.kind is Kind.HOSE for part in some) == 1
        and check_circuit([source, *some, tool, shown]).sound
    }
    assert found <= sound
    # A coupler that changes nothing is never needed: without it there is a smaller sound set.
    assert all(any(less <= one for less in found) for one in sound)
