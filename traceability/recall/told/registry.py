"""Which function tells what an event says, and what they remember between events."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, TypeAlias, TypedDict
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.events import Recorded
from traceability.domain.shelves.facts import Fact
from traceability.storage.items import Product
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent, recorded

__all__ = ["TELLERS", "Place", "Standing", "Stem", "Telling", "stem", "tells"]

Place: TypeAlias = tuple[str, str, int]
"""Circuit, slot and ordinal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What a place holds while the ledger is read."""

    name: str
    """Of the part."""
    fact: str
    """Id of the fact that put it there."""
    leaves: bool
    """Used while priming only."""


@dataclass(slots=True, kw_only=True)
class Telling:
    """One reading of a ledger: what has to be remembered from event to event."""

    session: Session
    site_id: UUID
    standing: dict[str, dict[tuple[str, int], Standing]] = field(default_factory=dict)
    """What the places of circuits hold that are being primed, by circuit, then slot and ordinal."""
    awaited: dict[Place, str] = field(default_factory=dict)
    """Names of parts that went out of a place before anyone had said that they were in: who says
    so later means these."""
    primed: dict[Place, str] = field(default_factory=dict)
    """Names of parts of primes entered late: a prime told again speaks of the same pieces."""
    names: dict[str, str] = field(default_factory=dict)
    """Names of parts whose id is not their name."""
    fact_of_part: dict[str, str] = field(default_factory=dict)
    """Facts that tell of a part, where the fact's id is not its event's number."""
    several: dict[int, list[str]] = field(default_factory=dict)
    """Facts of an event that tells more than one, or none of its own number."""

    def item(self, product_id: UUID | None) -> tuple[str, str | None]:
        """Return item and maker of a product as the list has them now; ("", None) for none."""
        product = None
        if product_id is not None:
            product = self.session.get(Product, (self.site_id, product_id))
        return ("", None) if product is None else (product.kind, product.maker or None)

    def kept(self, kept_id: UUID | None) -> str | None:
        """Return a text kept apart; None where there is none, or it was erased."""
        kept = None if kept_id is None else self.session.get(KeptApart, kept_id)
        return None if kept is None else kept.text

    def facts_of(self, number: int) -> list[str]:
        """Return the ids of the facts that an event told."""
        return self.several.get(number, [str(number)])

    def event(self, number: int) -> Recorded | None:
        """Return one entry as it was written; None where there is none."""
        stored = self.session.get(LedgerEvent, (self.site_id, number))
        return None if stored is None else recorded(stored)

    def part_name(self, part_id: str) -> str:
        """Return the name of a part."""
        return self.names.get(part_id, part_id)


class Stem(TypedDict):
    """What all facts have, by field."""

    id: str
    at: datetime
    recorded_at: datetime


def stem(event: Recorded, line: str = "") -> Stem:
    """Return what all facts have.

    When it happened is as it was entered: a time that the act moved because something else was
    recorded later than it stands here as people gave it. A time ahead of ours was never believed.
    """
    at = event.happened_at
    if event.body.get("device_at") is not None:
        at = min(at, event.moment("device_at"))
    number = f"{event.number}/{line}" if line else str(event.number)
    return {"id": number, "at": at, "recorded_at": event.recorded_at}


Teller: TypeAlias = Callable[[Telling, Recorded], Iterator[Fact]]

TELLERS: Final[dict[str, Teller]] = {}


def tells(*kinds: str) -> Callable[[Teller], Teller]:
    """Register the function for these kinds of events."""

    def register(teller: Teller) -> Teller:
        for kind in kinds:
            if kind in TELLERS:
                raise LookupError(f"two tellers of {kind}")
            TELLERS[kind] = teller
        return teller

    return register
