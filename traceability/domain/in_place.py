"""What the places of a circuit hold, what is missing, and what is likely to come next."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from traceability.domain.parts import PartState
from traceability.domain.sheets import Need, Sheet, Slot, Where


@dataclass(frozen=True, slots=True, kw_only=True)
class InPlace:
    """What one place of the circuit holds now."""

    slot: str
    ordinal: int
    state: PartState
    product_id: UUID | None = None
    kind: str = ""
    lot: str | None = None
    serial: str | None = None
    scanned_at: datetime | None = None
    """By the device's clock."""
    device_id: UUID | None = None


def free_places(
    slots: Iterable[Slot], filled: Sequence[InPlace], *, for_a_piece: bool = False
) -> list[tuple[str, int]]:
    """Return the places still to be filled, as (slot, ordinal).

    A half-known place comes first when the piece brings what it lacks: a serial or lot scanned
    from the inner part itself makes the pack's place whole.
    """
    held = {(each.slot, each.ordinal): each.state for each in filled}
    empty, half, asked = [], [], []
    for slot in slots:
        for ordinal in range(1, slot.count + 1):
            state = held.get((slot.id, ordinal))
            if state is None:
                empty.append((slot.id, ordinal))
            elif state is PartState.INSIDE_PACK:
                half.append((slot.id, ordinal))
            elif state in {
                PartState.LOT_NOT_READABLE,
                PartState.LOT_NOT_RECORDED,
                PartState.NOT_FITTED,
            }:
                asked.append((slot.id, ordinal))
    if not for_a_piece:
        return empty
    return half + empty + asked


def missing(sheet: Sheet, filled: Sequence[InPlace]) -> list[tuple[Slot, int]]:
    """Return what still has to be scanned, ticked or spoken for: each slot and how many."""
    free = free_places(sheet.slots, filled)
    counts = [(slot, sum(1 for slot_id, _ in free if slot_id == slot.id)) for slot in sheet.slots]
    return [(slot, count) for slot, count in counts if count]


def recorded_count(sheet: Sheet, filled: Sequence[InPlace]) -> int:
    """Return the first number of "16 of 18 recorded"; extra pieces do not count twice."""
    counted = {slot.id: slot.count for slot in sheet.slots if slot.is_counted}
    good = {PartState.RECORDED, PartState.INSIDE_PACK}
    return sum(
        1 for each in filled if each.state in good and each.ordinal <= counted.get(each.slot, 0)
    )


def suggested(sheet: Sheet, filled: Sequence[InPlace]) -> str:
    """Return the slot most likely to be picked up next: the pack, then taps and caps, then fill."""
    order = [Where.PACK, Where.PUMP, Where.OXYGENATOR, Where.DRAINAGE, Where.LINK, Where.GAS]
    order += [Where.RETURN, Where.TRAY, Where.FLUID]
    open_slots = [slot for slot, _ in missing(sheet, filled)]
    ranked = sorted(open_slots, key=lambda slot: (order.index(slot.where), slot.need is Need.TICK))
    return ranked[0].id if ranked else ""
