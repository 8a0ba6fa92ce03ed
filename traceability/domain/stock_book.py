"""The stock book: from which place a used piece is booked off, and why a piece leaves unused.

Nobody says at the trolley from which shelf a piece was taken, so the book follows one rule and a
count sets it right. Source: common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from uuid import UUID

__all__ = ["Booked", "Doubt", "OutReason", "doubts_of", "taken_from"]


class OutReason(StrEnum):
    """Why pieces leave the shelf without going into a circuit."""

    BROKEN = "broken"
    EXPIRED = "expired"
    LENT = "lent"
    RETURNED = "returned"
    PRACTICE = "practice"
    OTHER = "other"


class Doubt(StrEnum):
    """What is said when a lot is booked in; none of it stops the booking."""

    ON_HOLD = "stock-on-hold"
    EXPIRED = "stock-expired"
    LOT_ALIKE = "stock-lot-alike"
    OTHER_EXPIRY = "stock-other-expiry"
    NO_EXPIRY = "stock-no-expiry"
    NO_LOT = "stock-no-lot"


@dataclass(frozen=True, slots=True, kw_only=True)
class Booked:
    """What the book says of one lot in one place."""

    place_id: UUID | None
    """None: no place was said."""
    place_kind: str
    sort: int
    name: str
    quantity: int


def taken_from(levels: Iterable[Booked]) -> UUID | None:
    """Return the place that a used piece of a lot is booked off.

    One that holds the lot by the book comes before one that is empty, a trolley before a store,
    then the unit's own order of places. None: the lot stands in no place of the book.
    """
    placed = [level for level in levels if level.place_id is not None]
    if not placed:
        return None
    first = min(
        placed,
        key=lambda o: (o.quantity <= 0, o.place_kind != "trolley", o.sort, o.name, str(o.place_id)),
    )
    return first.place_id


def doubts_of(
    *,
    today: date,
    expiry: date | None,
    known_expiry: date | None,
    lot: str | None,
    on_hold: bool,
    alike: bool,
) -> tuple[Doubt, ...]:
    """Return what speaks against using pieces that are booked in, the most dangerous first.

    Args:
        today: the unit's local day.
        expiry: as read from these pieces; None: none was read.
        known_expiry: what the record has for the lot; None: nothing.
        lot: as read; None: the pieces carry none.
        on_hold: the lot or its product is on hold.
        alike: another lot of the product has a text that looks the same.
    """
    last = expiry or known_expiry
    checks = {
        Doubt.ON_HOLD: on_hold,
        Doubt.EXPIRED: last is not None and last < today,
        Doubt.OTHER_EXPIRY: expiry is not None and known_expiry not in {None, expiry},
        Doubt.LOT_ALIKE: alike,
        Doubt.NO_LOT: lot is None,
        Doubt.NO_EXPIRY: last is None,
    }
    return tuple(doubt for doubt, applies in checks.items() if applies)
