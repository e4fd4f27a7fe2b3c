"""Which wrench would do instead, and what to hire when none does."""

import math

from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.loosening import needed_torque
from fleet.rules.kits import WrenchOffer, smallest_cover, what_to_hire

RUST = "Rusted studs, four years in salt air"
NEED = needed_torque(5640, 1.5, RUST)  # 8,460 N·m


def test_the_smallest_wrench_that_covers_is_picked_ties_by_tag() -> None:
    offers = [
        WrenchOffer("W-9", 20_000),
        WrenchOffer("W-4", 9_500),
        WrenchOffer("W-3", 9_500),
        WrenchOffer("W-1", 8_000),
        WrenchOffer("W-2", None),
    ]
    picked = smallest_cover(offers, NEED)
    assert picked is not None
    assert picked.tag == "W-3"


def test_a_tight_wrench_is_picked_only_when_no_other_covers() -> None:
    tight, ample = WrenchOffer("W-1", 8_600), WrenchOffer("W-2", 12_000)
    assert smallest_cover([tight, ample], NEED) == ample
    assert smallest_cover([tight], NEED) == tight
    assert smallest_cover([WrenchOffer("W-3", 8_459)], NEED) is None
    assert smallest_cover([], NEED) is None


def test_what_to_hire_is_said_as_one_would_ask_for_it() -> None:
    assert what_to_hire(NEED, 70, drive_mm=38.1) == (
        "one 1 1/2 in square drive wrench giving at least 9,400 N·m at 70 MPa (700 bar); "
        "8,460 N·m is needed for loosening"
    )
    assert what_to_hire(NEED, 70, link_mm=60.325).startswith(
        "one ratchet link wrench for 60.33 mm (2 3/8 in) across flats giving at least 9,400 N·m"
    )
    assert what_to_hire(NEED, 70).startswith("one hydraulic torque wrench giving")


@given(st.floats(min_value=10, max_value=100_000))
def test_what_is_hired_is_never_tight(torque: float) -> None:
    need = needed_torque(torque, 0.75, "Clean, greased, opened last month")
    least = float(what_to_hire(need, 70).split("at least ")[1].split(" N·m")[0].replace(",", ""))
    offer = WrenchOffer("hired", least)
    assert smallest_cover([offer, WrenchOffer("big", math.inf), WrenchOffer("x", least * 2)], need) == offer
