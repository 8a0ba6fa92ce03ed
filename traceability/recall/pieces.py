"""A run part or a machine as an answer sees it."""

from dataclasses import dataclass
from datetime import datetime
from typing import TypeAlias
from uuid import UUID

from traceability.domain.parts import PartState


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceSeen:
    """A run part or a machine, for some time."""

    run_id: UUID | None
    """None: a machine at a circuit that was on no run meanwhile."""
    run: str
    circuit: str
    """Number of the circuit that a machine served; empty: it served the run itself."""
    machine: bool
    kind: str
    state: PartState
    known: str
    product_id: UUID | None
    lot_id: UUID | None
    lot: str | None
    serial: str | None
    body_site: str
    """Where a run part lies; empty for a machine."""
    start: datetime
    end: datetime | None
    disputed: bool
    recorded_no: int
    line: int


Judged: TypeAlias = tuple[PieceSeen, frozenset[str]]
"""A piece, and what leaves it open whether it is asked for; nothing if it certainly is."""
