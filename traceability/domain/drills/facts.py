"""What the record says of one lot, as the drill takes it: receipts, shelves, ways out, uses."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from uuid import UUID

from traceability.domain.circuits import Phase

__all__ = ["CircuitLife", "LotRecord", "OnShelf", "PatientKnown", "Received", "RunLife", "Use"]


class PatientKnown(StrEnum):
    """Whether a run's patient is known; who it is does not enter a drill."""

    YES = "yes"
    TEMPORARY = "temporary"
    """Only a temporary identity was given."""
    NO = "no"


@dataclass(frozen=True, slots=True, kw_only=True)
class Received:
    """So many units of use came in."""

    at: datetime
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OnShelf:
    """What the book has of the lot in one place."""

    place: str
    """Empty: no place was said."""
    quantity: int
    """Units of use; below zero where more was used than was booked in there."""
    counted_at: datetime | None
    """When somebody counted it last; None: never."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLife:
    """A circuit's, or a piece's, time with a run."""

    number: str
    taken_at: datetime
    flow_from: datetime | None
    """None: not recorded, or there was none."""
    off_at: datetime | None
    over: bool
    """The run itself has ended."""
    patient: PatientKnown


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitLife:
    """What became of a circuit."""

    number: str
    foreign: bool
    """Primed elsewhere: its signatures are not ours to ask for."""
    begun_at: datetime
    primed_at: datetime | None
    signatures: int
    phase: Phase
    phase_since: datetime
    supported: bool
    """A phase of it says that it came off a patient, or left for another hospital with one."""
    runs: tuple[RunLife, ...]
    """Undisputed claims only, first taken first."""

    @property
    def flow_from(self) -> datetime | None:
        """The first moment at which blood flowed through it, as far as is recorded."""
        return min((run.flow_from for run in self.runs if run.flow_from), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """One piece of the lot that went into a circuit, or lay in a run's patient."""

    piece: UUID
    place: str
    """Where in the circuit or the body; empty: not known."""
    at: datetime
    out_at: datetime | None
    """When it was taken out again, before the circuit's own end."""
    from_shelf: bool
    """A receipt of it is to be expected: it did not come inside a pack, nor with a circuit that
    was primed elsewhere."""
    leaves: bool
    """Used while priming only: it ends with the prime."""
    expiry_known: bool
    disputed: bool
    entry: int
    """Number of the ledger's entry that says so; its page is where it is set right."""
    circuit: CircuitLife | None
    run: RunLife | None
    """For a piece that lies in a patient and in no circuit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LotRecord:
    """All that is on record of one lot."""

    lot_id: UUID
    text: str
    product_id: UUID
    product: str
    counted: bool
    """False: ward stock, whose number is not counted here."""
    booked_from: datetime | None
    """When the stock book of its product began; None: nothing of it was ever booked in."""
    received: tuple[Received, ...]
    shelves: tuple[OnShelf, ...]
    taken_out: int
    """Units that left the shelf with a reason and went into no circuit."""
    uses: tuple[Use, ...]
