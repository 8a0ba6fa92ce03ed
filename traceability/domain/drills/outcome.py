"""What a drill of the service hands to the act that records it."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import UUID

__all__ = ["Drawn", "LotOutcome"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotOutcome:
    """What was found of one lot."""

    product_id: UUID
    lot_id: UUID
    whole: bool
    """From receipt to end; False: from use to end. A lot may have an outcome of each."""
    units: int
    reconciled: int
    where: Mapping[str, int]
    """Units by class, `Whereabouts`; those without any left out."""
    points: Mapping[str, int]
    """Open points by `Code`, in units."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Which lots were picked, how, and what was found of each."""

    seed: str
    since_no: int
    """Lots with entries of this number or later were picked first."""
    cut_no: int
    """The last entry that was known."""
    wanted: int
    candidates: int
    lots: tuple[LotOutcome, ...]
