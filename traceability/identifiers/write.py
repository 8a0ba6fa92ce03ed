"""Writing GS1 element strings for our own labels, and the text printed below the symbol.

Sources: GS1 General Specifications, section 7.8 (separators; predefined lengths first saves them)
and section 7.9 (check digits).
"""

from collections.abc import Iterable
from datetime import date
from typing import Final

from .checks import IdentifierError, gs1_check
from .gs1 import GS, partner_faults
from .gs1_table import TABLE
from .reading import Element

__all__ = ["CannotWrite", "gtin_14", "write_bracketed", "write_element_string"]

_ANY_CENTURY: Final = date(2000, 1, 1)
"""Days are tested as such; 2000 is a leap year, and so is every fourth two-digit year of it."""


class CannotWrite(IdentifierError):
    """Elements that would not be a valid symbol.

    Attributes:
        code: the reason code, as in readings.
        identifier: the element at fault.
    """

    def __init__(self, code: str, identifier: str) -> None:
        """Keep both apart from any wording."""
        super().__init__(code, identifier)
        self.code = code
        self.identifier = identifier


def gtin_14(digits: str) -> str:
    """Return a GTIN of 7, 11, 12 or 13 digits without check digit as 14 digits with one.

    Raises:
        WrongCharacter: something that is no ASCII digit.
    """
    return (digits + gs1_check(digits)).zfill(14)


def write_element_string(elements: Iterable[Element], *, today: date = _ANY_CENTURY) -> str:
    """Return the characters to encode behind FNC1, separator as U+001D.

    Elements of predefined length come first, in their given order, then the others; a separator
    stands behind each of those but the last. An element given twice with one value is written
    once.

    Raises:
        CannotWrite: an unknown identifier, a value against the table, a repeated identifier with
            another value, a forbidden pair or a missing partner.
    """
    ordered = _verified(elements, today)
    parts = []
    for number, (identifier, value) in enumerate(ordered, start=1):
        last = number == len(ordered)
        parts.append(identifier + value + ("" if TABLE[identifier].fixed or last else GS))
    return "".join(parts)


def write_bracketed(elements: Iterable[Element], *, today: date = _ANY_CENTURY) -> str:
    """Return the text to print below the symbol, identifiers in brackets.

    Raises:
        CannotWrite: as `write_element_string`.
    """
    return "".join(f"({identifier}){value}" for identifier, value in _verified(elements, today))


def _verified(elements: Iterable[Element], today: date) -> list[Element]:
    present: dict[str, str] = {}
    for identifier, value in elements:
        entry = TABLE.get(identifier)
        if entry is None:
            raise CannotWrite("unknown-identifier", identifier)
        code = entry.verify(value, today) if value.isascii() else "bad-charset"
        if code is not None:
            raise CannotWrite(code, identifier)
        if present.setdefault(identifier, value) != value:
            raise CannotWrite("repeated-conflict", identifier)
    for fault in partner_faults(present):
        raise CannotWrite(fault.code, fault.identifier or "")
    return sorted(present.items(), key=lambda element: not TABLE[element[0]].fixed)
