"""Secrets: made, and kept so that whoever reads the database has none of them."""

from __future__ import annotations

import hashlib
import secrets
from base64 import b32encode
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

# Bytes of a token: 256 bits, twice what OWASP ASVS 7.2.3 asks for.
TOKEN_BYTES = 32
# RFC 4226, section 4: a secret of 160 bits is recommended.
TOTP_BYTES = 20


def new_token() -> str:
    """A long random word for a cookie, a link or a program."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def new_totp_secret() -> str:
    """A secret of the second factor, in Base32 as the programs for it take it."""
    return b32encode(secrets.token_bytes(TOTP_BYTES)).decode()


def digest_of(token: str) -> str:
    """What is kept of a token. It is long and random, so that a plain digest gives nothing away."""
    return hashlib.sha256(token.encode()).hexdigest()


def form_token(session_token: str) -> str:
    """What the forms of a session carry: known to its pages alone, and of no use without its cookie."""
    return hashlib.sha256(f"form\0{session_token}".encode()).hexdigest()


@cache
def _hasher() -> PasswordHasher:
    """Argon2id with the least that OWASP's cheat sheet on storing passwords allows: 19 MiB, two passes."""
    return PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)


@cache
def _nobodys() -> str:
    return _hasher().hash(new_token())


def hash_secret(secret: str) -> str:
    """A password or a PIN as it is kept."""
    return _hasher().hash(secret)


def is_secret(kept: str | None, secret: str) -> bool:
    """Whether this is the password or PIN. It takes as long when there is none: nobody learns who has one."""
    try:
        _hasher().verify(kept or _nobodys(), secret)
    except (VerificationError, InvalidHashError):
        return False
    return kept is not None


def is_outdated(kept: str) -> bool:
    """Whether it was kept more weakly than it would be today."""
    return _hasher().check_needs_rehash(kept)
