"""Enters a story's facts into a store, each by the act that a person would use, at its own hour.

The clock shows when the fact was entered; the act is told when it happened. What the file calls by
name gets the record's own id, and the names are kept for the answer.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Final, TypeAlias
from uuid import UUID

from traceability.actions.lists.products import SetProduct, set_product
from traceability.actions.once import Done, Sent, Site
from traceability.actions.prime.late import LatePart
from traceability.actions.run.take import TakeCircuit, take_circuit
from traceability.cli.stories.form import Given
from traceability.domain.moments import Manner
from traceability.security.roles import service_device

__all__ = ["CIRCUIT_TYPE", "ENTERS", "Entering", "enters"]

CIRCUIT_TYPE: Final = "As told"
"""A type without places of its own: a story names parts, not where they sit."""


@dataclass(slots=True)
class Entering:
    """One story on its way into one store."""

    site: Site
    now: datetime
    circuits: dict[str, UUID] = field(default_factory=dict)
    """By the file's name."""
    numbers: dict[UUID, str] = field(default_factory=dict)
    products: dict[tuple[str, str | None], UUID] = field(default_factory=dict)
    places: dict[tuple[str, str], tuple[str, int]] = field(default_factory=dict)
    """Where a part sits, by the file's names of circuit and part."""
    parts: dict[tuple[str, str], str] = field(default_factory=dict)
    """Ids of parts, by fact and name."""
    uses: dict[str, UUID] = field(default_factory=dict)
    """Uses of machines, by the file's name."""
    entered: dict[str, list[Done]] = field(default_factory=dict)
    """What the acts of each fact did, in order."""

    def __post_init__(self) -> None:
        """Let the site's clock be the story's."""
        self.site = replace(self.site, clock=lambda: self.now)

    def sent(self) -> Sent:
        """Return who sends: the service itself, for the machine's own user."""
        return Sent(
            device_id=service_device(self.site.id),
            actor_id=None,
            request_id=self.site.new_id(self.now),
        )

    def product(self, item: str, maker: str | None) -> UUID:
        """Return the product of an item and a maker, or of an item whose maker is not recorded."""
        if (item, maker) not in self.products:
            asked = SetProduct(
                sent=self.sent(),
                standard="none",
                identifier=f"{item}|{maker or ''}",
                name=item,
                maker=maker or "",
                maker_not_recorded=maker is None,
                part_kind=item,
                substance=item,
                circuit_type=CIRCUIT_TYPE,
            )
            subject = set_product(asked, site=self.site).subject
            assert subject is not None  # noqa: S101 - a product always has its id
            self.products[item, maker] = subject
        return self.products[item, maker]

    def circuit(self, name: str, fact: Given) -> UUID:
        """Return the circuit; one that nobody has entered yet is taken by the tag it bears."""
        if name not in self.circuits:
            self.take(name, fact)
        return self.circuits[name]

    def take(self, name: str, fact: Given) -> Done:
        """Take a circuit for a run of its own."""
        known = self.circuits.get(name)
        asked = TakeCircuit(
            sent=self.sent(),
            number="" if known is None else self.numbers[known],
            tag_text=name if known is None else "",
            at=fact["at"],
            manner=Manner.QUEUED,
        )
        done = take_circuit(asked, site=self.site)
        self.know(name, done)
        return done

    def know(self, name: str, done: Done) -> None:
        """Keep which circuit the file's name stands for."""
        assert done.subject is not None  # noqa: S101 - acts on circuits name theirs
        self.circuits[name] = done.subject
        self.numbers[done.subject] = str(done.facts["number"])

    def late_part(self, circuit: str, given: Given) -> LatePart:
        """Return a part as an act takes it. Its name in the file is the name of its place."""
        place = self.places.setdefault((circuit, given["p"]), (given["p"], 1))
        return LatePart(
            slot=place[0],
            ordinal=place[1],
            kind=given["item"],
            product_id=self.product(given["item"], given["maker"]),
            lot_text=given["lot"],
            serial=given["serial"],
            box=given["box"],
        )


Enter: TypeAlias = Callable[[Entering, Given], Iterator[Done]]

ENTERS: Final[dict[str, Enter]] = {}


def enters(kind: str) -> Callable[[Enter], Enter]:
    """Register the function that enters facts of this type."""

    def register(function: Enter) -> Enter:
        ENTERS[kind] = function
        return function

    return register
