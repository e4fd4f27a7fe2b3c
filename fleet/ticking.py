"""What knocks every minute so that a round is gone, in a process of its own or beside the pages.

The scheduler only knocks: a late, a doubled or a missing knock changes nothing, see ``rounds``.
"""

from __future__ import annotations

import logging
import signal
import threading
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from fleet.rounds import tick
from fleet.settings import LETTERS_OFF

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fleet.mail.post import Post
    from fleet.room import Room

MINUTE = timedelta(minutes=1)

log = logging.getLogger("fleet.rounds")


def run_rounds(room: Room, post: Post | None, *, every: timedelta = MINUTE) -> None:
    """Go the rounds until SIGTERM or SIGINT; the letter in hand is still marked. No letters without post."""
    with signals_interrupt(), suppress(KeyboardInterrupt), rounds_beside(room, post, every=every):
        threading.Event().wait()


@contextmanager
def rounds_beside(room: Room, post: Post | None, *, every: timedelta = MINUTE) -> Iterator[None]:
    """The rounds in another thread of this process, until the block ends and the round in hand with it."""
    from apscheduler.schedulers.background import BackgroundScheduler  # noqa: PLC0415  Not for a single round.

    stopping = threading.Event()
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.add_job(
        lambda: _try_tick(room, post, go_on=lambda: not stopping.is_set()),
        "interval",
        seconds=every.total_seconds(),
        next_run_time=datetime.now(UTC),
        # A knock that comes late still counts, several late ones count once, and two never run at a time.
        misfire_grace_time=None,
        coalesce=True,
        max_instances=1,
    )
    log.info("The rounds begin.")
    if post is None:
        log.warning(LETTERS_OFF)
    try:
        # In here, because the signal to stop may come while it starts.
        scheduler.start()
        yield
    finally:
        log.info("Asked to stop; the letter in hand is seen to first.")
        stopping.set()
        # Its thread may not have begun yet when the signal came; then there is nothing to wait for.
        if scheduler.running:
            with suppress(RuntimeError):
                scheduler.shutdown(wait=True)
        log.info("The rounds end.")


def _try_tick(room: Room, post: Post | None, *, go_on: Callable[[], bool]) -> None:
    """A round that fails is logged, and the next one still comes."""
    try:
        done = tick(room, post, go_on=go_on)
    except Exception:
        log.exception("This round failed; the next one will come.")
    else:
        log.debug("%s", done)


@contextmanager
def signals_interrupt() -> Iterator[None]:
    """SIGTERM and SIGINT both interrupt the main thread; what runs in other threads goes on to its end."""
    before = {
        number: signal.signal(number, signal.default_int_handler)
        for number in (signal.SIGTERM, signal.SIGINT)
    }
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
