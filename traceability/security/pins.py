"""PINs: which are good enough, how they are hashed, and how long a wrong one makes you wait."""

import secrets
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from traceability.domain.tags import NO_LOOK_ALIKES
from traceability.errors import PinTooWeak

LEAST_DIGITS: Final = 6
FREE_TRIES: Final = 5
FIRST_WAIT: Final = timedelta(seconds=30)
LONGEST_WAIT: Final = timedelta(minutes=15)
"""After 5 wrong tries a wait of 30 s that doubles up to 15 min (settled in review, no source)."""

HASHER: Final = PasswordHasher()
"""argon2id with the library's defaults (RFC 9106, low-memory recommendation)."""

CHEAP_HASHER: Final = PasswordHasher(time_cost=1, memory_cost=1024, parallelism=1)
"""For the demo's invented people only: forty of them in a moment."""

ONE_TIME_DIGITS: Final = 8
BADGE_LENGTH: Final = 12
"""Characters of 30: about 59 bits, so that nobody finds a badge by trying."""


def hash_pin(pin: str, hasher: PasswordHasher = HASHER) -> str:
    """Return the argon2id hash of a PIN.

    Raises:
        PinTooWeak: fewer than 6 digits, other characters, one digit repeated, or a run.
    """
    require_good_pin(pin)
    return hasher.hash(pin)


def is_right_pin(pin_hash: str, pin: str) -> bool:
    """Tell whether the PIN is the one that was hashed."""
    try:
        return HASHER.verify(pin_hash, pin)
    except (VerificationError, InvalidHashError):
        return False


def require_good_pin(pin: str) -> None:
    """Refuse what is guessed first.

    Raises:
        PinTooWeak: see above.
    """
    steps = {ord(after) - ord(before) for before, after in pairwise(pin)}
    if len(pin) < LEAST_DIGITS or not (pin.isascii() and pin.isdigit()):
        raise PinTooWeak(least=LEAST_DIGITS)
    if steps in ({0}, {1}, {-1}):
        raise PinTooWeak(least=LEAST_DIGITS)


def wait_after(tries: int, last_at: datetime, now: datetime) -> timedelta:
    """Return how long the next try has to wait; zero if it may come now."""
    if tries < FREE_TRIES:
        return timedelta(0)
    doublings: int = min(tries - FREE_TRIES, 10)
    wait = min(FIRST_WAIT * (1 << doublings), LONGEST_WAIT)
    return max(timedelta(0), last_at + wait - now)


def new_pin() -> str:
    """Return a random one-time PIN that is good enough; it is changed at the first sign-in."""
    while True:
        pin = "".join(secrets.choice("0123456789") for _ in range(ONE_TIME_DIGITS))
        try:
            require_good_pin(pin)
        except PinTooWeak:  # a row, or one digit repeated, by chance
            continue
        return pin


def new_badge_code() -> str:
    """Return a random badge code."""
    return "".join(secrets.choice(NO_LOOK_ALIKES) for _ in range(BADGE_LENGTH))
