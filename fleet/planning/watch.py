"""The time that is left for a plan, the wish to stop, and who is told how far it is."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING

from fleet.planning.answers import Progress

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.planning.answers import Aim


class Watch:
    """The time that is left, the wish to stop, and who is told how far it is."""

    def __init__(
        self, seconds: float, progress: Callable[[Progress], None] | None, stop: Callable[[], bool] | None
    ) -> None:
        self._ends = time.monotonic() + seconds
        self._progress = progress
        self._stop = stop
        self._told: dict[Aim, Progress] = {}
        self._lock = threading.RLock()
        self._failure: BaseException | None = None
        self.stopped = False

    def seconds_left(self) -> float:
        """How much of the time is left; nothing once the search is to stop."""
        return 0.0 if self.stopped else max(0.0, self._ends - time.monotonic())

    def over(self) -> bool:
        """Whether to stop: asked for, out of time, or because a callback failed."""
        with self._lock:
            if not self.stopped:
                try:
                    self.stopped = bool(self._stop and self._stop()) or time.monotonic() >= self._ends
                except BaseException as failure:  # noqa: BLE001  it must not pass through the solver's C++ frames
                    self._failure, self.stopped = failure, True
            return self.stopped

    def tell(self, aim: Aim, value: int, bound: int) -> None:
        """Say how far it is, if that is farther than said before."""
        with self._lock:
            before = self._told.get(aim)
            if before:
                value, bound = min(value, before.value), max(bound, before.bound)
            now = Progress(aim, value, min(bound, value))
            if now == before:
                return
            self._told[aim] = now
            try:
                if self._progress:
                    self._progress(now)
            except BaseException as failure:  # noqa: BLE001  as above
                self._failure, self.stopped = failure, True

    def raise_failure(self) -> None:
        """Raise what a callback raised, now that the solver has returned."""
        if self._failure is not None:
            raise self._failure
