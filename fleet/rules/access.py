"""Getting in: what a password has to be, codes of the second factor, how long a log-in lasts, and tries.

Numbers after NIST SP 800-63B-4 and OWASP ASVS 5.0 (chapters 6 and 7), where they give any; others are ours.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from base64 import b32decode
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

SHORTEST_PASSWORD, LONGEST_PASSWORD = 8, 256
# So many guesses somebody must need who knows how people choose passwords (zxcvbn's estimate).
FEWEST_GUESSES = 10**8
PIN = re.compile(r"[0-9]{6,12}")

IDLE = timedelta(minutes=60)
IDLE_AT_STATION = timedelta(minutes=15)
LONGEST_SESSION = timedelta(hours=12)
# What needs to be sure of the person takes a proof no older than this.
CONFIRMED_FOR = timedelta(minutes=5)
INVITATION_LASTS = timedelta(hours=24)
FIRST_INVITATION_LASTS = timedelta(hours=1)

# Tries that failed: so many within so long, for one badge and from one place each.
MOST_FAILURES = 10
FAILURES_WITHIN = timedelta(minutes=5)

# RFC 6238: half a minute each; the one before and the one after are taken for clocks that are a little off.
STEP_SECONDS, DIGITS, WINDOW = 30, 6, 1


@dataclass(frozen=True, slots=True)
class SessionTimes:
    """When a log-in began, when it was last used, and when the person was last sure to be that person."""

    begun_at: datetime
    seen_at: datetime
    confirmed_at: datetime
    at_station: bool


@dataclass(frozen=True, slots=True)
class Entry:
    """What came of it: the token of the new session, or the sentence that says why there is none."""

    token: str | None
    sentence: str = ""


def check_password(password: str, own_words: Iterable[str]) -> str:
    """The password, when it will do; ``own_words`` are the badge, the name, the site and the like.

    No rule says which characters it needs: length and rareness are what counts.
    """
    from zxcvbn import zxcvbn  # noqa: PLC0415  Its lists are large, and few commands need them.

    if len(password) < SHORTEST_PASSWORD:
        raise NotPossible(f"The password is too short; take at least {SHORTEST_PASSWORD} characters.")
    if len(password) > LONGEST_PASSWORD:
        raise NotPossible(f"The password is too long; take at most {LONGEST_PASSWORD} characters.")
    words = [word.casefold() for text in own_words for word in re.split(r"\W+", text) if len(word) > 2]  # noqa: PLR2004  Shorter ones stand in every text.
    judged = zxcvbn(
        password, user_inputs=[*words, "fleet", "toolroom", "torque"], max_length=LONGEST_PASSWORD
    )
    if judged["guesses"] < FEWEST_GUESSES:
        raise NotPossible(
            "The password would be guessed soon: it is common, or made of what is known about you. "
            "Take a longer one, such as four words that have nothing to do with each other."
        )
    return password


def check_pin(pin: str) -> str:
    """The PIN, when it will do: 6 to 12 figures, and no run or row of one figure."""
    if not PIN.fullmatch(pin):
        raise NotPossible("A PIN has 6 to 12 figures.")
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    if len(steps) == 1 and steps <= {0, 1, 9}:
        raise NotPossible("That PIN would be guessed soon; take one that is no row or run of figures.")
    return pin


def code_at(secret: str, step: int) -> str:
    """The code of a step: HOTP of RFC 4226 over HMAC-SHA-1, as RFC 6238 has it by default."""
    key = b32decode(secret + "=" * (-len(secret) % 8))
    digest = hmac.new(key, step.to_bytes(8, "big"), hashlib.sha1).digest()
    at = digest[-1] & 0x0F
    number = int.from_bytes(digest[at : at + 4], "big") & 0x7FFFFFFF
    return str(number % 10**DIGITS).zfill(DIGITS)


def step_of(secret: str, code: str, now: datetime, last_step: int | None) -> int | None:
    """The step whose code this is; none when it is none of the present ones, or was used already."""
    typed = re.sub(r"\s", "", code)
    present = int(now.timestamp()) // STEP_SECONDS
    for step in range(present - WINDOW, present + WINDOW + 1):
        fresh = last_step is None or step > last_step
        if fresh and hmac.compare_digest(code_at(secret, step).encode(), typed.encode()):
            return step
    return None


def is_over(session: SessionTimes, now: datetime) -> bool:
    """Whether a log-in has ended by itself: unused for too long, or old."""
    idle = IDLE_AT_STATION if session.at_station else IDLE
    return now - session.seen_at >= idle or now - session.begun_at >= LONGEST_SESSION


def is_confirmed(session: SessionTimes, now: datetime) -> bool:
    """Whether the person was sure to be that person a moment ago."""
    return now - session.confirmed_at < CONFIRMED_FOR


def wait_after(failures: Sequence[datetime], now: datetime) -> timedelta | None:
    """How long to wait when too many tries failed: until fewer of them lie within the span. None: at once."""
    recent = sorted(at for at in failures if now - at < FAILURES_WITHIN)
    if len(recent) < MOST_FAILURES:
        return None
    return recent[-MOST_FAILURES] + FAILURES_WITHIN - now
