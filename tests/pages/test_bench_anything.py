"""Whatever is asked of the bench is answered, or refused in a sentence."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.pages.bench.forms import CALCULATIONS
from tests.pages.test_bench import POINTS, facts
from tests.pages.ways.bench import ON_RECORD

if TYPE_CHECKING:
    from tests.pages.browsing import Browser, Pages

WRITTEN = st.one_of(
    st.sampled_from(
        ["0", "-1", "1e999", "nan", "inf", "-inf", "9" * 19, "1.5", "M36", "1 1/2-8 UN", "B7", "30,60,100"]
    ),
    st.builds(
        "{}{} {}".format,
        st.sampled_from(["", "-", "+", "−", "~"]),
        st.one_of(
            st.integers(0, 10**12),
            st.decimals(0, 10**6, places=3),
            st.sampled_from(["½", "1 1/2", "1.000,5"]),
        ),
        st.sampled_from(
            ["N·m", "lbf·ft", "bar", "psi", "mm", "in", "kN", "d", "w", "%", "cm³", "L/min", "", "x"]
        ),
    ),
    st.text(max_size=30),
)
TABLES = st.one_of(
    st.builds("Pressure ({}),Torque ({})\n{}".format, WRITTEN, WRITTEN, WRITTEN),
    st.lists(st.lists(WRITTEN, min_size=1, max_size=3).map(",".join), max_size=5).map("\n".join),
    st.just(POINTS),
)


@st.composite
def anything(draw: st.DrawFn) -> tuple[str, dict[str, str]]:
    """A calculation with some of its example's fields, and some with anything."""
    one = CALCULATIONS[draw(st.sampled_from(sorted(CALCULATIONS)))]
    fields = dict(one.example or ON_RECORD[one.way])
    for field in draw(st.lists(st.sampled_from(one.fields), max_size=4)):
        fields[field.name] = draw(TABLES if field.points else WRITTEN)
    if draw(st.booleans()) and fields:
        del fields[draw(st.sampled_from(sorted(fields)))]
    return one.way, fields


@pytest.fixture
def kim(demo: Pages) -> Browser:
    return demo.as_("keeper")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(asked=anything())
def test_whatever_is_typed_is_answered_or_refused_in_a_sentence(
    kim: Browser, asked: tuple[str, dict[str, str]]
) -> None:
    way, fields = asked
    address = f"/bench/{way}?{urlencode(fields, errors='replace')}"
    page = kim.get(address)
    if "%00" in address:  # Nothing of ours holds it: no page is looked for.
        assert page.status == 404
        return
    filled = any(text.strip() for text in fields.values())
    assert page.status in ((200, 422) if filled else (200,)), (page.status, page.text)
    if page.status == 422:
        assert "That did not work" in page.text
    elif filled:
        assert "Cautions" in page.text
        for wrong in ("nan", "inf", "None"):
            assert not re.search(rf"\b{wrong}\b", facts(page)), facts(page)
