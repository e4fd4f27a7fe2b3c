"""The solver's module, loaded when a plan is made, without a word on the standard output."""

from __future__ import annotations

import ctypes
import os
from contextlib import contextmanager
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Iterator


NOT_INSTALLED = "A plan needs the solver HiGHS, which is not installed; type: pip install highspy"


def installed() -> bool:
    """Whether the solver's module is there, without loading it."""
    return find_spec("highspy") is not None


def load() -> Any:  # noqa: ANN401  the module is optional, so nothing here may name its types
    """Answer the solver's module; raises NotPossible, with what to type, where it is not installed."""
    try:
        import highspy  # noqa: PLC0415  an extra of the project: only planning needs it
    except ImportError:
        raise NotPossible(NOT_INSTALLED) from None
    if not _LOADED:
        with _without_banner():
            highspy.Highs()  # type: ignore[no-untyped-call]  # it has types for most of itself
        _LOADED.append(True)
    return highspy


_LOADED: list[bool] = []


@contextmanager
def _without_banner() -> Iterator[None]:
    """Swallow what the solver's library prints at its first use, which no option of it prevents."""
    try:
        flush = ctypes.CDLL(None).fflush
        kept = os.dup(1)
    except (OSError, TypeError, AttributeError):  # No such library here, or no standard output.
        yield
        return
    flush(None)
    hole = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(hole, 1)
        yield
        flush(None)
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(hole)
