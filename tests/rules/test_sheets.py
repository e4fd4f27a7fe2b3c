"""Cells that a spreadsheet would run as a formula."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fleet.rules.sheets import guard, unguard

HOSTILE = st.text(alphabet="'=+-@\t\r\n a1,\"", max_size=6)


# The characters are those that OWASP names under "CSV Injection".
@given(st.sampled_from("=+-@\t\r"), st.text())
def test_what_would_run_is_kept_from_running(first: str, rest: str) -> None:
    assert guard(first + rest) == "'" + first + rest


@given(st.one_of(st.text(), HOSTILE))
def test_the_guard_comes_off_again(text: str) -> None:
    assert unguard(guard(text)) == text


@given(HOSTILE)
def test_nothing_guarded_runs(text: str) -> None:
    assert guard(text)[:1] not in tuple("=+-@\t\r\n")


def test_ordinary_text_stays_as_it_is() -> None:
    for text in ("00123", "2E5", "MAR1", "1-2", "it's", "'quoted'", "", "a=b"):
        assert guard(text) == text
