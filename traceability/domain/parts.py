"""What a part in a circuit can be, and how it is known.

*Not recorded*, *not readable* and *not fitted* are values, never blanks. Source: common practice,
no source; settled in review with people of the trade.
"""

from enum import StrEnum
from typing import Final


class PartState(StrEnum):
    """What the record says of one place in a circuit."""

    RECORDED = "recorded"
    INSIDE_PACK = "inside-pack"
    """The pack brought it; its own lot is not known."""
    LOT_NOT_READABLE = "lot-not-readable"
    """The part is in; nobody could read its lot."""
    LOT_NOT_RECORDED = "lot-not-recorded"
    """The part is in; nobody recorded its lot."""
    NOT_FITTED = "not-fitted"
    """The part is not in."""
    TICKED = "ticked"
    """Fitted; no lot is asked for."""


class Known(StrEnum):
    """How a fact is known."""

    SCANNED = "scanned"
    PHOTO = "photo"
    TYPED = "typed"
    COUNTED = "counted"
    """Counted by hand from a carton that was scanned once."""
    PACK = "pack"
    """Inside a pack that was scanned."""
    STATED = "stated"
    """Stated by another hospital."""
    SAID = "said"
    """A person said so by an act: a tick, not readable, not fitted."""


UNKNOWN_KIND: Final = "kind-not-known"
"""Kind of a part of which nobody could read or say what it is: it may be of any kind."""

GAPS: Final = (PartState.INSIDE_PACK, PartState.LOT_NOT_READABLE, PartState.LOT_NOT_RECORDED)
"""States in which a part is in the circuit and its own lot is not known."""
