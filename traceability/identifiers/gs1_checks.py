"""What the content of one part of a GS1 element must satisfy, by the name the table gives it.

Every function takes a part whose length and character set are already right (ASCII) and `today`,
and returns None or the reason code. Source: GS1 Barcode Syntax Dictionary, release 2026-01-27,
for what is checked where; the sections named below for how.
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

from collections.abc import Callable
from datetime import date
from operator import mul
from typing import Final

from .gs1_coupon import coupon, coupon_offer
from .gs1_dates import day_of, long_day, strict_day
from .iso_codes import COUNTRY_LETTERS, COUNTRY_NUMBERS, CURRENCY_NUMBERS

__all__ = ["CHECKS", "SET_39", "SET_64", "SET_82", "Check", "check_pair"]

Check = Callable[[str, date], str | None]

BAD_CHECK: Final = "bad-check-digit"
BAD_CHARSET: Final = "bad-charset"
BAD_DATE: Final = "bad-date"
BAD_LENGTH: Final = "bad-length"

_DIGITS: Final = "0123456789"
_UPPER: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_LOWER: Final = _UPPER.lower()

SET_82_IN_ORDER: Final = "!\"%&'()*+,-./0123456789:;<=>?" + _UPPER + "_" + _LOWER
"""Position is the value in the check character pair. GS1 General Specifications 7.9.5, 7.11."""
SET_82: Final = frozenset(SET_82_IN_ORDER)
SET_39: Final = frozenset("#-/" + _DIGITS + _UPPER)
SET_64: Final = frozenset("-_=" + _DIGITS + _UPPER + _LOWER)
"""Base64url with its padding."""

_PAIR_WEIGHTS: Final = (
    83, 79, 73, 71, 67, 61, 59, 53, 47, 43, 41, 37, 31, 29, 23, 19, 17, 13, 11, 7, 5, 3, 2,
)  # fmt: skip
"""Primes, the last for the character next to the pair. GS1 General Specifications 7.9.5."""
_PAIR_ALPHABET: Final = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
_PAIR_VALUES: Final = {character: i for i, character in enumerate(SET_82_IN_ORDER)}

_FIRST_DIGITS: Final = 2
"""Digits that every GS1 prefix begins with. Found by trying a PostScript barcode library that
follows the dictionary's checks (release 2026-09-28); prefix lengths are not looked up."""


def check_pair(data: str) -> str:
    """Return the two check characters of a GMN or HIDRI without them, at most 23 characters.

    Raises:
        KeyError: a character outside set 82.
        ValueError: more than 23 characters.

    Source: GS1 General Specifications, section 7.9.5.
    """
    if len(data) > len(_PAIR_WEIGHTS):
        raise ValueError(data)
    values = (_PAIR_VALUES[character] for character in data)
    total = sum(map(mul, _PAIR_WEIGHTS[len(_PAIR_WEIGHTS) - len(data) :], values)) % 1021
    return _PAIR_ALPHABET[total >> 5] + _PAIR_ALPHABET[total & 31]


def _check_digit(part: str, today: date) -> str | None:
    raw = part.encode()
    # Bytes of digits are 48 higher than their values; the weights' sum takes that off again.
    odd, even = raw[-1::-2], raw[-2::-2]
    total = sum(odd) + 3 * sum(even) - 48 * (len(odd) + 3 * len(even))
    return BAD_CHECK if total % 10 else None


def _check_pair(part: str, today: date) -> str | None:
    if len(part) < 3:
        return BAD_LENGTH
    return None if check_pair(part[:-2]) == part[-2:] else BAD_CHECK


def _company_prefix(part: str, today: date) -> str | None:
    if len(part) < _FIRST_DIGITS:
        return BAD_LENGTH
    return None if part[:_FIRST_DIGITS].isdigit() else BAD_CHARSET


def _company_prefix_second(part: str, today: date) -> str | None:
    return _company_prefix(part[1:], today)


def _date_or_month(part: str, today: date) -> str | None:
    return None if day_of(part, today) else BAD_DATE


def _date(part: str, today: date) -> str | None:
    return None if strict_day(part, today) else BAD_DATE


def _long_date(part: str, today: date) -> str | None:
    return None if long_day(part) else BAD_DATE


def _below(limit: int, code: str) -> Check:
    return lambda part, today: None if int(part) < limit else code


def _clock(part: str, today: date) -> str | None:
    return None if int(part[:2]) < 24 and int(part[2:]) < 60 else BAD_DATE


def _one_of(allowed: frozenset[str]) -> Check:
    return lambda part, today: None if part in allowed else BAD_CHARSET


def _percent_coded(part: str, today: date) -> str | None:
    hexadecimal = frozenset("0123456789ABCDEFabcdef")
    for piece in part.split("%")[1:]:
        if len(piece) < 2 or not hexadecimal.issuperset(piece[:2]):
            return BAD_CHARSET
    return None


def _package_type(part: str, today: date) -> str | None:
    # UNECE recommendation 21 lists the codes; only their form is tested, so none is refused wrongly
    return None if part.isalnum() and part.upper() == part else BAD_CHARSET


def _place_of_total(part: str, today: date) -> str | None:
    place, slash, total = part[0], part[1], part[2]
    fine = slash == "/" and place.isdigit() and total.isdigit() and "0" < place <= total
    return None if fine else BAD_CHARSET


def _piece_of_total(part: str, today: date) -> str | None:
    return None if "00" < part[:2] <= part[2:] else BAD_CHARSET


def _not_zero(part: str, today: date) -> str | None:
    return None if part.strip("0") else BAD_CHARSET


def _no_leading_zero(part: str, today: date) -> str | None:
    return BAD_CHARSET if part[0] == "0" and len(part) > 1 else None


def _has_letter(part: str, today: date) -> str | None:
    return BAD_CHARSET if part.isdigit() else None


def _up_to(limit: int) -> Check:
    return lambda part, today: None if int(part) <= limit else BAD_CHARSET


def _iban(part: str, today: date) -> str | None:
    """Test an account number by ISO 13616: remainder 1 modulo 97, letters counted from 10."""
    if len(part) <= 4:
        return BAD_LENGTH
    allowed = frozenset(_DIGITS + _UPPER)
    if not allowed.issuperset(part) or part[:2] not in COUNTRY_LETTERS or not part[2:4].isdigit():
        return BAD_CHARSET
    number = "".join(str(int(character, 36)) for character in part[4:] + part[:4])
    return None if int(number) % 97 == 1 else BAD_CHECK


CHECKS: Final[dict[str, Check]] = {
    "check-digit": _check_digit,
    "check-pair": _check_pair,
    "company-prefix": _company_prefix,
    "company-prefix-second": _company_prefix_second,
    "date-or-month": _date_or_month,
    "date": _date,
    "long-date": _long_date,
    "clock": _clock,
    "hour": _below(24, BAD_DATE),
    "minute": _below(60, BAD_DATE),
    "second": _below(60, BAD_DATE),
    "currency": _one_of(CURRENCY_NUMBERS),
    "country": _one_of(COUNTRY_NUMBERS),
    "country-or-999": _one_of(COUNTRY_NUMBERS | {"999"}),
    "country-letters": _one_of(COUNTRY_LETTERS),
    "percent-coded": _percent_coded,
    "yes-no": _one_of(frozenset("01")),
    "minus-sign": _one_of(frozenset("-")),
    "importer-index": _one_of(frozenset("-_" + _DIGITS + _UPPER + _LOWER)),
    "package-type": _package_type,
    # 01-10 and 80-99: GS1 General Specifications, AIDC media type; from memory
    "media-type": lambda part, today: None if "01" <= part <= "10" or part >= "80" else BAD_CHARSET,
    "sex": _one_of(frozenset("0129")),
    "place-of-total": _place_of_total,
    "not-zero": _not_zero,
    "winding": _one_of(frozenset("019")),
    "zero": _one_of(frozenset("0")),
    "piece-of-total": _piece_of_total,
    "iban": _iban,
    "no-leading-zero": _no_leading_zero,
    "has-letter": _has_letter,
    # Degrees in ten-millionths, counted from the pole and from the date line
    "latitude": _up_to(1_800_000_000),
    "longitude": _up_to(3_600_000_000),
    "coupon": coupon,
    "coupon-offer": coupon_offer,
}
