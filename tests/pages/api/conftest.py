"""Programs of the demo's people."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.pages.api.programs import Programs

if TYPE_CHECKING:
    from tests.pages.browsing import Pages


@pytest.fixture
def programs(demo: Pages) -> Programs:
    """Each makes its token when it is asked for."""
    return Programs(demo)
