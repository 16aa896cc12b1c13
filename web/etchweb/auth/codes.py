"""Codes and tokens: what lets a phone in, and what it shows afterwards; pure."""

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from typing import Final

CODE_DIGITS: Final = 6
CODE_LASTS_S: Final = 600.0

# A phone that was not seen for a month, or was paired half a year ago, is paired anew.
TOKEN_IDLE_S: Final = 30 * 86400.0
TOKEN_LASTS_S: Final = 180 * 86400.0


@dataclass(frozen=True, slots=True)
class NewToken:
    """A token for the phone to keep, and the digest of it that we keep."""

    token: str
    digest: str


def new_code() -> str:
    """Return six digits that nobody can foresee."""
    return f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}}"


def code_digest(secret: bytes, code: str) -> str:
    """Return what is kept of a code: of no use to a reader who lacks the secret."""
    return hmac.new(secret, b"code " + code.encode(), hashlib.sha256).hexdigest()


def typed_code(text: str) -> str:
    """Return the digits of what a person typed or pasted; spaces and dashes are theirs to add."""
    return "".join(character for character in text if character.isascii() and character.isdigit())


def new_token() -> NewToken:
    """Return a token of 256 random bits."""
    token = secrets.token_urlsafe(32)
    return NewToken(token, token_digest(token))


def token_digest(token: str) -> str:
    """Return what is kept of a token; it is random, so a plain digest is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def form_token(secret: bytes, holder: str) -> str:
    """Return what a form carries to show that this page made it for `holder`."""
    return hmac.new(secret, b"form " + holder.encode(), hashlib.sha256).hexdigest()


def is_same(one: str, other: str) -> bool:
    """Compare in a time that tells nothing about where they differ."""
    return hmac.compare_digest(one.encode(), other.encode())
