"""What people told the record, fact by fact, before any correction is applied.

Each fact says when it happened (`at`) and when it was entered (`recorded_at`); both aware UTC.
None in a maker, lot, serial or box means "not recorded".
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

__all__ = [
    "CartonNotice",
    "Connect",
    "Contained",
    "Correction",
    "Discard",
    "Disconnect",
    "EquipOff",
    "EquipOn",
    "Fact",
    "ForeignIn",
    "ForeignList",
    "Item",
    "Kind",
    "Merge",
    "PartIn",
    "Prime",
    "Receipt",
    "Register",
    "Ruling",
    "StockOut",
    "Swap",
    "TransferOut",
]


class Kind(StrEnum):
    """What sort of product an item is."""

    PART = "part"
    PACK = "pack"
    """May contain other items, whose own lots nobody scanned."""
    FLUID = "fluid"
    """Stays in the circuit when its bag is taken down."""
    EQUIPMENT = "equipment"


@dataclass(frozen=True, slots=True, kw_only=True)
class Contained:
    """An item inside a pack."""

    item: str
    maker: str | None = None
    """None: by the maker of the pack."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A product, and whether its stock book can be reckoned with."""

    name: str
    kind: Kind = Kind.PART
    contains: tuple[Contained, ...] = ()
    book_complete: bool = False
    """True: every receipt and every stock out of it is known, so that counts may be used."""
    open_books: frozenset[str] = frozenset()
    """Makers whose book of it is not complete although the others' are."""
    book_fails: bool = False
    """The book is known to contradict itself: more of some lot was used than had come."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartIn:
    """One unit put into a circuit, as captured."""

    p: str
    """Its name within the circuit."""
    item: str
    maker: str | None = None
    lot: str | None = None
    serial: str | None = None
    box: str | None = None
    """Code of the outer box it came from."""
    expiry: date | None = None
    """Last day of use as read from it; None: as its deliveries say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """What all facts have."""

    id: str
    at: datetime
    recorded_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt(Fact):
    """Units of one lot came in."""

    item: str
    maker: str
    lot: str
    qty: int
    box: str | None = None
    made: date | None = None
    shipped: date | None = None
    expiry: date | None = None
    supplier: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOut(Fact):
    """Units left the shelf without being primed."""

    item: str
    maker: str | None
    lot: str | None
    qty: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Prime(Fact):
    """A circuit was made of parts."""

    circuit: str
    parts: tuple[PartIn, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap(Fact):
    """A part left, a part joined, or both."""

    circuit: str
    out: str | None = None
    part_in: PartIn | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Connect(Fact):
    """The circuit went on a patient."""

    circuit: str
    patient: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Disconnect(Fact):
    """It came off."""

    circuit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferOut(Fact):
    """It left with its patient; our record ends."""

    circuit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Discard(Fact):
    """It was thrown away; that changes no exposure."""

    circuit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignIn(Fact):
    """A circuit primed elsewhere arrived."""

    circuit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignList(Fact):
    """The sending hospital's list of its parts. They come from nobody's shelf here."""

    circuit: str
    complete: bool
    parts: tuple[PartIn, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Register(Fact):
    """A unit of equipment this hospital has."""

    item: str
    maker: str
    serial: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipOn(Fact):
    """A unit of equipment served a circuit from now on."""

    circuit: str
    p: str
    item: str
    maker: str | None = None
    serial: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipOff(Fact):
    """It serves no longer."""

    p: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CartonNotice(Fact):
    """A maker's statement of which inner lot is in which packs."""

    pack_item: str
    pack_maker: str
    pack_lots: tuple[str, ...]
    inner_item: str
    inner_lot: str
    sole: bool
    """Nothing else of that item is inside these packs."""
    complete: bool
    """No other packs hold this inner lot."""
    inner_maker: str | None = None
    """Whose inner item is meant; None: of whoever makes it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling(Fact):
    """A named person's decision that two texts mean one lot, or two."""

    item: str
    maker: str
    captured: str
    notice: str
    same: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Merge(Fact):
    """One patient identity becomes another."""

    source: str
    into: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction(Fact):
    """A later word on an earlier fact, or on one part in it."""

    of: str
    """Id of the fact; it may be a correction itself."""
    part: str | None = None
    changes: Mapping[str, object] | None = None
    """New values by field name."""
    void: bool = False
    """The fact never happened."""
