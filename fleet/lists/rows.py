"""From rows to frozen lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy.engine import Row

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

Line = TypeVar("Line")
# A row whose columns are what its statement names; a statement of many columns says no more than that.
AnyRow = Row[*tuple[Any, ...]]


def lines(kind: Callable[..., Line], rows: Iterable[Sequence[Any]]) -> list[Line]:
    """One frozen line per row; the statement's columns stand in the order of the line's fields."""
    return [kind(*row) for row in rows]
