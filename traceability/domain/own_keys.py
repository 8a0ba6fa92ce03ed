"""Our own symbols as GS1 keys, for a unit that has numbers of its own from GS1.

The key carries the private text (`domain.tags`) whole, but for its first two letters, so whatever
reads it finds what it would find by the private form: no list of numbers is kept, and a unit that
changes its prefix still reads its old tags. None of these keys is a product's.

| what | key | identifier |
|---|---|---|
| circuit tag, machine | individual asset (GIAI): prefix, then the text | 8004 |
| place | the unit's location number (GLN), and the text as its extension | 414, 254 |
| down-time form | the unit's document type (GDTI), and the text as serial | 253 |
| badge | service relation of a provider (GSRN): 18 digits, given out as the badge's code | 8017 |

Parts that the unit gives an item number of its own carry it as such (`domain.part_labels`). An act
card stands for nothing that has a key, nor does a lot of an item without a number: both stay
private.

Sources: GS1 General Specifications, release 24 or later, chapter 2 (which key for what: assets,
locations, service relations, documents) and chapter 3 (the identifiers), from memory; lengths,
characters and partners of identifiers from the GS1 syntax dictionary (`identifiers/gs1_table.csv`).
"""

import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from traceability.identifiers.checks import gs1_check
from traceability.identifiers.write import CannotWrite, write_element_string

GSRN_DIGITS: Final = 18
_OURS: Final = (
    re.compile(r"8004[0-9]{4,12}(?P<own>[1U]\..+)"),
    re.compile(r"414(?P<key>[0-9]{13})254(?P<own>P\..+)"),
    re.compile(r"253(?P<key>[0-9]{13})(?P<own>D\..+)"),
)
_BADGE: Final = re.compile(r"8017([0-9]{18})")
_PRIVATE: Final = re.compile(r"CT([1UPD])\..+")
_PRIVATE_BADGE: Final = re.compile(r"CTB\.([0-9]{18})\..")


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnKeys:
    """The numbers that GS1, or the hospital that has them from GS1, gave this unit; "" where none.

    Under its prefix and its document type nobody else may give out numbers.
    """

    prefix: str = ""
    """GS1 company prefix, 4 to 12 digits."""
    location: str = ""
    """The unit's GLN, 13 digits."""
    document_type: str = ""
    """GDTI of down-time forms without its serial, 13 digits."""

    def carrying(self, text: str) -> str:
        """Return the GS1 element string that carries a text of ours, or the text itself.

        It stays itself where the unit has no number for its kind, or the key has no room for it.
        """
        badge = _PRIVATE_BADGE.fullmatch(text)
        if badge:
            return _written([("8017", badge[1])]) or text
        found = _PRIVATE.fullmatch(text)
        if found is None:
            return text
        own = text.removeprefix("CT")
        if found[1] in "1U":
            elements = [("8004", self.prefix + own)] if self.prefix else []
        elif found[1] == "P":
            elements = [("414", self.location), ("254", own)] if self.location else []
        else:
            elements = [("253", self.document_type + own)] if self.document_type else []
        return _written(elements) or text

    def badge_code(self, otherwise: Callable[[], str]) -> str:
        """Return the code of a new badge: a random GSRN under the prefix, else of `otherwise`.

        An 18-digit code is kept and looked up as such, so no later prefix changes whose it is.
        """
        if not self.prefix:
            return otherwise()
        room = GSRN_DIGITS - 1 - len(self.prefix)
        digits = self.prefix + f"{secrets.randbelow(10**room):0{room}d}"
        code = digits + gs1_check(digits)
        return code if _written([("8017", code)]) else otherwise()


PRIVATE: Final = OwnKeys()
"""A unit without numbers of its own."""


def carried(bare: str) -> str | None:
    """Return the private text in a GS1 element string in capitals; None: it is none of ours.

    A badge's comes without its check character, for the key has one of its own.
    """
    badge = _BADGE.fullmatch(bare)
    if badge:
        return f"CTB.{badge[1]}" if _checks(badge[1]) else None
    for form in _OURS:
        found = form.fullmatch(bare)
        if found and _checks(found.groupdict().get("key") or ""):
            return f"CT{found['own']}"
    return None


def _checks(key: str) -> bool:
    return not key or gs1_check(key[:-1]) == key[-1]


def _written(elements: list[tuple[str, str]]) -> str:
    try:
        return write_element_string(elements) if elements else ""
    except CannotWrite:
        return ""
