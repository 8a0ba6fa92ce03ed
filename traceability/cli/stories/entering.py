"""Enters a story's facts into a store, each by the act that a person would use, at its own hour.

The clock shows when the fact was entered; the act is told when it happened. What the file calls by
name gets the record's own id, and the names are kept for the answer.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final, TypeAlias
from uuid import UUID, uuid5

from traceability.actions.lists.products import SetProduct, set_product
from traceability.actions.once import Done, Sent, Site
from traceability.actions.prime.late import LatePart
from traceability.actions.run.take import TakeCircuit, take_circuit
from traceability.cli.stories.form import Given
from traceability.domain.keys import lot_key
from traceability.domain.moments import Manner
from traceability.domain.shelves import facts as told
from traceability.recall.told import told_facts
from traceability.security.roles import service_device

__all__ = ["CIRCUIT_TYPE", "ENTERS", "Entering", "enters", "number_of"]

CIRCUIT_TYPE: Final = "As told"
"""A type without places of its own: a story names parts, not where they sit."""


@dataclass(slots=True)
class Entering:
    """One story on its way into one store."""

    site: Site
    now: datetime
    facts: Mapping[str, Given] = field(default_factory=dict)
    """The file's facts, by id."""
    circuits: dict[str, UUID] = field(default_factory=dict)
    """By the file's name."""
    tags: dict[UUID, str] = field(default_factory=dict)
    """Numbers of circuits, by id."""
    products: dict[tuple[str, str | None], UUID] = field(default_factory=dict)
    places: dict[tuple[str, str], tuple[str, int]] = field(default_factory=dict)
    """Where a part sits, by the file's names of circuit and part."""
    names: dict[tuple[str, str], str] = field(default_factory=dict)
    """What the record calls a part, by the file's names of circuit and part."""
    entered: dict[str, list[Done]] = field(default_factory=dict)
    """What the acts of each fact did, in order."""
    waiting: dict[str, list[Given]] = field(default_factory=dict)
    """Corrections of facts that are not entered yet, by the fact's id."""

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
            number="" if known is None else self.tags[known],
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
        self.tags[done.subject] = str(done.facts["number"])

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

    def use(self, name: str) -> UUID:
        """Return the id of a machine's use by the file's name: its end may be entered first."""
        return uuid5(self.site.id, f"use {name}")

    def read_back(self) -> list[told.Fact]:
        """Return what the record holds by now."""
        with self.site.sessions() as session:
            return list(told_facts(session, self.site.id))

    def numbers(self, fact_id: str) -> set[int]:
        """Return the numbers of all entries that a fact made."""
        done = self.entered.get(fact_id, ())
        return {number for each in done for number in range(each.first_no, each.last_no + 1)}

    def part_name(self, circuit: str, part: str) -> str:
        """Return what the record calls a part; of one that nobody has entered, its place."""
        if (circuit, part) not in self.names:
            self._learn_names()
        slot, ordinal = self.places.get((circuit, part), (part, 1))
        unknown = f"{self.circuits.get(circuit, circuit)}/{slot}/{ordinal}"
        return self.names.get((circuit, part), unknown)

    def _learn_names(self) -> None:
        by_number = {number_of(fact): fact for fact in self.read_back()}
        for fact_id in self.entered:
            given = self.facts[fact_id]
            for number in self.numbers(fact_id):
                match by_number.get(number):
                    case told.Prime(parts=parts) | told.ForeignList(parts=parts):
                        pairs = list(zip(given["parts"], parts, strict=False))
                    case told.Swap(part_in=told.PartIn() as part):
                        pairs = [(given["part_in"], part)]
                    case _:
                        continue
                for written, kept in pairs:
                    self.names.setdefault((given["circuit"], written["p"]), kept.p)

    def row(self, circuit: str, given: Given) -> dict[str, Any]:
        """Return a part as a body holds it, for a correction that names it anew."""
        product = self.product(given["item"], given["maker"])
        slot, ordinal = self.places.setdefault((circuit, given["p"]), (given["p"], 1))
        return {
            "part": self.part_name(circuit, given["p"]),
            "slot": slot,
            "ordinal": ordinal,
            "kind": given["item"],
            "state": "recorded" if given["lot"] or given["serial"] else "lot-not-recorded",
            "known": "typed",
            "product": str(product),
            "lot": given["lot"],
            "lot_id": str(lot_key(product, given["lot"])) if given["lot"] else None,
            "serial": given["serial"],
            "box": given["box"],
        }


def number_of(fact: told.Fact) -> int:
    """Return the number of the entry that told a fact."""
    return int(fact.id.partition("/")[0])


Enter: TypeAlias = Callable[[Entering, Given], Iterator[Done]]

ENTERS: Final[dict[str, Enter]] = {}


def enters(kind: str) -> Callable[[Enter], Enter]:
    """Register the function that enters facts of this type."""

    def register(function: Enter) -> Enter:
        ENTERS[kind] = function
        return function

    return register
