"""What one prime takes from the shelf, by the sheet of its circuit type.

A need is "five taps", whoever makes them: several products can serve one need. What the pack brings
comes with the pack, and what is only ticked is not looked for on the shelf.
Source: common practice, no source; settled in review with people of the trade.
"""

from dataclasses import dataclass

from traceability.domain.sheets import Need, Sheet, Slot, Where
from traceability.domain.trolley import FLUID_KIND, PACK_KIND, same_words

__all__ = ["Fit", "PrimeNeed", "comes_with_the_pack", "fits", "needs_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PrimeNeed:
    """So many pieces of one kind for one prime."""

    key: str
    """Names the need within its circuit type."""
    kind: str
    count: int
    substance: str
    """For fluids: substance and strength in full; else empty."""
    volume_ml: int | None
    """For fluids: the volume of one bag; None where any will do."""
    circuit_type: str
    """The circuit type that is primed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """What of a product decides whether it can serve a need."""

    kind: str
    substance: str
    volume_ml: int | None
    circuit_type: str
    """The one circuit type it is for; empty: any."""


def comes_with_the_pack(slot: Slot) -> bool:
    """Tell whether the part in this place lies in the circuit pack and not on the shelf."""
    return slot.inside_pack and slot.where is not Where.PACK


def needs_of(sheet: Sheet) -> tuple[PrimeNeed, ...]:
    """Return what one prime takes, in the order of the sheet; places of one kind are added up."""
    found: dict[str, PrimeNeed] = {}
    for slot in sheet.slots:
        if slot.need is Need.TICK or comes_with_the_pack(slot):
            continue
        fluid = slot.kind == FLUID_KIND
        volume = slot.volume_ml if fluid else None
        substance = slot.substance if fluid else ""
        key = f"{slot.kind} {''.join(substance.split()).casefold()} {volume or ''}".strip()
        before = found[key].count if key in found else 0
        found[key] = PrimeNeed(
            key=key,
            kind=slot.kind,
            count=before + slot.count,
            substance=substance,
            volume_ml=volume,
            circuit_type=sheet.circuit_type,
        )
    return tuple(found.values())


def fits(need: PrimeNeed, product: Fit) -> bool:
    """Tell whether a piece of the product can serve the need.

    A smaller bag does not stand for a larger one, and a pack serves its own circuit type alone.
    """
    if product.kind != need.kind:
        return False
    if product.circuit_type != need.circuit_type and (
        product.circuit_type or need.kind == PACK_KIND
    ):
        return False
    if need.kind != FLUID_KIND:
        return True
    large = need.volume_ml is None or product.volume_ml is None
    return same_words(need.substance, product.substance) and (
        large or (product.volume_ml or 0) >= (need.volume_ml or 0)
    )
