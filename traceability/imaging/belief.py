"""Whether a text that was read is believed: by what checks itself in the symbol and in the text."""

from datetime import date
from enum import Enum, auto
from typing import Final

from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Standard, Status
from traceability.imaging.looks import LINEAR

ANY_DAY: Final = date(2000, 1, 1)
"""Check digits do not depend on the day."""
WRONG_ITF: Final = "]I0"
"""An ITF whose last digit is no check digit of the others, so no ITF-14 as printed on cartons."""


class Belief(Enum):
    """How far one look alone is believed."""

    CONFIRMED = auto()
    """The symbol's own check holds, and another check in the text does too."""
    ALONE = auto()
    """Nothing speaks against it; a second look has to see the same."""
    CONTRADICTED = auto()
    """A check in the text fails; however often it is seen, a person must compare."""


def belief(text: str, symbology_identifier: str) -> Belief:
    """Return how far this text, read once in such a symbol, is believed.

    Matrix symbols correct themselves (Reed-Solomon), so what fits is confirmed. Code 128 has one
    check character, 1 in 103 misreads pass it: with a check digit in the text as well, it is
    confirmed. EAN-13 and ITF-14 have but that digit, Code 39 none of its own.
    """
    if symbology_identifier == WRONG_ITF:
        return Belief.CONTRADICTED
    read = interpret(text, symbology_identifier=symbology_identifier, today=ANY_DAY)
    if any(fault.code == "bad-check-digit" for fault in read.faults):
        return Belief.CONTRADICTED
    kind = symbology_identifier[:2]
    if kind not in LINEAR:
        return Belief.CONFIRMED
    checked = read.status is Status.OK and (
        read.standard is Standard.HIBC or any(name == "01" for name, _ in read.elements)
    )
    return Belief.CONFIRMED if kind == "]C" and checked else Belief.ALONE
