"""Build sheets: what a circuit type consists of, in the order in which blood meets the parts.

A sheet is data that a unit edits; each change is a new version, and a circuit keeps the version it
was primed with. A slot is a *place* in the circuit ("Tap before the oxygenator"), because parts
that have been unwrapped carry no code. Source: common practice, no source.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Final

from traceability.domain.events import Plain


class Need(StrEnum):
    """What has to be recorded for a slot to be complete."""

    SERIAL = "serial"
    LOT = "lot"
    TICK = "tick"
    """Fitted or not; no lot is asked for, and coverage does not count it."""


class Where(StrEnum):
    """Where on the blood path, or beside it, a slot lies."""

    PACK = "pack"
    DRAINAGE = "drainage"
    PUMP = "pump"
    LINK = "link"
    OXYGENATOR = "oxygenator"
    GAS = "gas"
    RETURN = "return"
    FLUID = "fluid"
    TRAY = "tray"


SUCTION: Final = frozenset({Where.DRAINAGE})
"""Between drainage and pump inlet air is drawn in: no taps, no open ports."""


LONGEST_COATING: Final = 40
"""Characters; one line of the circuit tag."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """One place of the sheet, for `count` parts of one kind."""

    id: str
    """Short and stable within the circuit type; lower-case letters, digits, hyphens."""
    name: str
    kind: str
    """Kind of part that belongs here; products carry the same word."""
    where: Where
    count: int = 1
    need: Need = Need.LOT
    inside_pack: bool = False
    """The circuit pack brings it: a pack scan fills the slot, inner lot not known."""
    leaves: bool = False
    """Used while priming only; it ends with the prime. The fluid it carried does not."""
    substance: str = ""
    """For fluids: substance and strength in full, "Sodium chloride 0.9 %"."""
    volume_ml: int | None = None
    """For fluids: the volume of one bag."""

    @property
    def is_counted(self) -> bool:
        """Whether its parts stand in the count of what is recorded."""
        return self.need is not Need.TICK and self.where is not Where.PACK

    @property
    def stays(self) -> bool:
        """Whether what it brings is in the circuit to its end, whatever becomes of the bag."""
        return self.where is Where.FLUID and not self.leaves


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One version of a circuit type's sheet."""

    circuit_type: str
    """The type's name as spoken: "Adult 3/8"."""
    version: int
    way: str
    """How it is primed: "wet-closed", "wet-open" or "dry"."""
    fill_ml: int
    """Volume usually filled, in millilitres."""
    slots: tuple[Slot, ...]
    coating: str = ""
    """What the blood side is coated with, as the makers of the parts call it; "uncoated" where it
    is not; empty where the sheet does not say."""

    def slot(self, slot_id: str) -> Slot | None:
        """Return the slot of that id."""
        return next((slot for slot in self.slots if slot.id == slot_id), None)

    @property
    def counted(self) -> int:
        """How many parts the count "16 of 18 recorded" is out of: no ticks, and not the pack."""
        return sum(slot.count for slot in self.slots if slot.is_counted)


def sheet_body(sheet: Sheet) -> dict[str, object]:
    """Return the sheet as the plain values that an event's body holds."""
    return {**asdict(sheet), "slots": [asdict(slot) for slot in sheet.slots]}


def read_sheet(body: Mapping[str, Plain]) -> Sheet:
    """Return the sheet of an event's body or a file.

    Raises:
        ValueError: a slot without what it needs, two slots of one id, a word that is not known.
    """
    try:
        slots = tuple(_slot(row) for row in _rows(body["slots"]))
        sheet = Sheet(
            circuit_type=str(body["circuit_type"]),
            version=int(str(body["version"])),
            way=str(body["way"]),
            fill_ml=int(str(body["fill_ml"])),
            slots=slots,
            coating=str(body.get("coating") or ""),
        )
    except KeyError as missing:
        raise ValueError(f"{missing.args[0]} is missing") from None
    require_sound(sheet)
    return sheet


def require_sound(sheet: Sheet) -> None:
    """Check what no single slot can show.

    Raises:
        ValueError: says which slot and why.
    """
    if len(sheet.coating) > LONGEST_COATING:
        raise ValueError(f"coating: at most {LONGEST_COATING} characters, for it stands on the tag")
    ids = [slot.id for slot in sheet.slots]
    for slot_id in ids:
        if ids.count(slot_id) > 1:
            raise ValueError(f"two places are called {slot_id}")
    for slot in sheet.slots:
        if not slot.id or not set(slot.id) <= set("abcdefghijklmnopqrstuvwxyz0123456789-"):
            raise ValueError(f"{slot.id!r}: use lower-case letters, digits and hyphens")
        if not 1 <= slot.count <= 40:  # noqa: PLR2004 - more beads than that cannot be drawn
            raise ValueError(f"{slot.id}: count must be 1 to 40")
        if slot.where in SUCTION and slot.kind in OPEN_PORT_KINDS:
            raise ValueError(f"{slot.id}: no taps and no open ports on the suction side")
        if slot.kind == "fluid" and not slot.substance:
            raise ValueError(f"{slot.id}: name the substance and strength in full")


BLOOD_KIND: Final = "blood"
"""Kind of a blood component that goes into the prime: hours, not days, then limit the circuit."""

FLUID_KIND: Final = "fluid"
"""Kind of what the circuit is filled with."""

OPEN_PORT_KINDS: Final = frozenset({"tap", "connector-port"})
"""Kinds that can let air in; never between drainage and pump inlet (common practice, no source)."""


def _rows(value: Plain) -> Iterable[Mapping[str, Plain]]:
    if not isinstance(value, (list, tuple)):
        raise ValueError("slots must be a list")
    for row in value:
        if not isinstance(row, Mapping):
            raise ValueError("a slot must be an object")
        yield row


def _slot(row: Mapping[str, Plain]) -> Slot:
    volume = row.get("volume_ml")
    return Slot(
        id=str(row["id"]),
        name=str(row["name"]),
        kind=str(row["kind"]),
        where=Where(str(row["where"])),
        count=int(str(row.get("count", 1))),
        need=Need(str(row.get("need", "lot"))),
        inside_pack=row.get("inside_pack") is True,
        leaves=row.get("leaves") is True,
        substance=str(row.get("substance") or ""),
        volume_ml=None if volume is None else int(str(volume)),
    )
