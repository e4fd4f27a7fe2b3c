"""Getting in: passwords, PINs, codes, how long a log-in lasts and how often one may try."""

from __future__ import annotations

from base64 import b32encode
from datetime import UTC, datetime, timedelta

import pyotp
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.refusals import NotPossible
from fleet.rules.access import (
    SessionTimes,
    check_password,
    check_pin,
    code_at,
    is_confirmed,
    is_over,
    step_of,
    wait_after,
)
from fleet.rules.secrets import digest_of, form_token, hash_secret, is_outdated, is_secret, new_token

NOON = datetime(2026, 5, 13, 17, 0, tzinfo=UTC)
# RFC 6238, appendix B: the secret of the table for SHA-1.
SECRET = b32encode(b"12345678901234567890").decode()


@pytest.mark.parametrize(
    ("seconds", "code"),
    [
        (59, "287082"),
        (1111111109, "081804"),
        (1111111111, "050471"),
        (1234567890, "005924"),
        (2000000000, "279037"),
        (20000000000, "353130"),
    ],
)
def test_codes_are_those_of_the_standard(seconds: int, code: str) -> None:
    """RFC 6238, appendix B, whose codes have eight figures: the last six of each."""
    assert code_at(SECRET, seconds // 30) == code


@given(st.binary(min_size=14, max_size=40), st.integers(0, 2**40))
def test_codes_are_those_of_another_library(secret: bytes, step: int) -> None:
    """pyotp, an independent implementation."""
    text = b32encode(secret).decode().rstrip("=")
    assert code_at(text, step) == pyotp.HOTP(text + "=" * (-len(text) % 8)).at(step)


def test_a_code_is_taken_once_and_within_a_minute() -> None:
    step = int(NOON.timestamp()) // 30
    code = code_at(SECRET, step)

    assert step_of(SECRET, code, NOON, None) == step
    assert step_of(SECRET, f" {code[:3]} {code[3:]}", NOON, step - 1) == step
    assert step_of(SECRET, code, NOON, step) is None
    assert step_of(SECRET, code, NOON + timedelta(seconds=30), None) == step
    assert step_of(SECRET, code, NOON + timedelta(seconds=61), None) is None
    assert step_of(SECRET, "", NOON, None) is None
    assert step_of(SECRET, "\uff11\uff12\uff13", NOON, None) is None


@pytest.mark.parametrize(
    "password",
    [
        "correct horse battery staple",
        "Zx9!qLm2#vT7",
        "grün läuft der Wald im Mai 7",
        "🔧🔩 sieben Flansche",
    ],
)
def test_a_rare_password_will_do_whatever_it_is_made_of(password: str) -> None:
    assert check_password(password, ("K1", "Kim Keeper")) == password


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("", "too short"),
        ("Zx9!qLm", "too short"),
        ("x" * 257, "too long"),
        ("password1", "guessed soon"),
        ("qwertyuiop", "guessed soon"),
        ("12345678901", "guessed soon"),
        ("kimkeeper", "guessed soon"),
        ("aaaaaaaaaaaa", "guessed soon"),
    ],
)
def test_a_password_that_would_be_guessed_is_refused(password: str, why: str) -> None:
    with pytest.raises(NotPossible, match=why):
        check_password(password, ("K1", "Kim Keeper"))


@pytest.mark.parametrize(
    "pin", ["", "12345", "1234567890123", "12345a", "123456", "654321", "111111", "890123"]
)
def test_a_pin_that_is_short_or_a_row_is_refused(pin: str) -> None:
    with pytest.raises(NotPossible):
        check_pin(pin)


def test_another_pin_will_do() -> None:
    assert check_pin("274913") == "274913"


def test_a_log_in_ends_when_it_is_not_used_or_old() -> None:
    def times(*, at_station: bool = False, **ago: float) -> SessionTimes:
        return SessionTimes(NOON - timedelta(hours=11), NOON - timedelta(**ago), NOON, at_station)

    assert not is_over(times(minutes=59), NOON)
    assert is_over(times(minutes=60), NOON)
    assert not is_over(times(at_station=True, minutes=14), NOON)
    assert is_over(times(at_station=True, minutes=15), NOON)
    assert is_over(times(minutes=0), NOON + timedelta(hours=1))


def test_a_proof_of_who_it_is_gets_old_in_five_minutes() -> None:
    session = SessionTimes(NOON, NOON, NOON, at_station=False)
    assert is_confirmed(session, NOON + timedelta(minutes=4, seconds=59))
    assert not is_confirmed(session, NOON + timedelta(minutes=5))


def test_after_ten_failures_one_has_to_wait_until_the_first_of_them_is_old() -> None:
    failures = [NOON - timedelta(seconds=20 * number) for number in range(1, 11)]

    assert wait_after(failures[:9], NOON) is None
    assert wait_after(failures, NOON) == timedelta(seconds=100)
    assert wait_after(failures, NOON + timedelta(seconds=100)) is None


def test_secrets_are_kept_so_that_nobody_can_read_them() -> None:
    kept = hash_secret("correct horse battery staple")

    assert kept.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    assert is_secret(kept, "correct horse battery staple")
    assert not is_secret(kept, "correct horse battery stapler")
    assert not is_secret(None, "anything")
    assert not is_secret("no hash at all", "anything")
    assert not is_outdated(kept)
    assert is_outdated(kept.replace("t=2", "t=1"))
    assert len({new_token() for _ in range(100)}) == 100
    assert form_token("a") != form_token("b") != digest_of("b")
