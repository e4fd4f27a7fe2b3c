"""Anything is done in any order, with clocks that jump: a model on paper says what may be done and follows.

A rule-based machine of Hypothesis; ``tests/desk/model.py`` judges, ``tests/desk/invariants.py`` looks at the
records after every act. The long proof takes 500 runs of 50 steps on each engine.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings
from hypothesis.stateful import run_state_machine_as_test

from tests.desk.machine_holds import Anything

if TYPE_CHECKING:
    from tests.databases import Databases


# The long proof takes longer than any other test is given.
@pytest.mark.timeout(7200)
def test_whatever_is_done_in_whatever_order_the_records_stay_true(
    databases: Databases, engine_name: str, *, deep: bool
) -> None:
    runs, steps = (500, 50) if deep else (15, 25)
    make: Any = lambda: Anything(databases, engine_name)  # noqa: E731  Called with nothing, as a class is.
    run_state_machine_as_test(
        make,
        settings=settings(max_examples=runs, stateful_step_count=steps),
    )
