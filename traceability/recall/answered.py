"""What an answer holds: rows on their shelves, what is in stock, how much of the record speaks.

Rows hold ids, times and codes; names of people and places are looked up for the rows that are
shown. So an answer over thousands of circuits stays small, and no patient's text is in it.
"""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from traceability.domain.exposure import Shelf
from traceability.domain.notice_scope import Scope, scope_json
from traceability.domain.spans import Span
from traceability.recall.cut import Cut
from traceability.recall.question import ProductNamed
from traceability.storage.ledger import canonical

__all__ = ["Answer", "CircuitRow", "Coverage", "MetRow", "PartRow", "PatientRow", "StockRow"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """A part, run part or machine that put a row on its shelf."""

    part_id: UUID
    """Of the piece; of the use, for a machine."""
    slot: str
    """Place in the circuit; empty for a run part or a machine."""
    ordinal: int
    kind: str
    product_id: UUID | None
    lot: str | None
    serial: str | None
    known: str
    """How it is known; see `domain.parts`."""
    state: str
    start: datetime
    end: datetime | None
    shelf: Shelf
    """Of the part alone; together with others the row may stand higher."""
    reasons: tuple[str, ...]
    body_site: str = ""
    """Where a run part lies; the place of a machine that stood in the same place."""
    leaves: bool = False
    """Used while priming only."""
    dropped: bool = False
    """It was discarded before the prime had ended."""
    stays: bool = False
    """A fluid: it stays in the circuit until its end, whatever happens to the bag."""
    may_be: tuple[tuple[UUID, str], ...] = ()
    """Products and lots it can be, where the stock book narrows them; a few at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MetRow:
    """One claim of a run on a circuit that is not excluded."""

    run_id: UUID
    run: str
    taken_at: datetime
    flow_from: datetime | None
    end: datetime | None
    disputed: bool
    transferred: bool
    shelf: Shelf
    reasons: tuple[str, ...]
    """Why it cannot be excluded; of an excluded one, why although the circuit is not."""
    sure: tuple[Span, ...]
    possible: tuple[Span, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitRow:
    """One circuit that is not excluded."""

    site_id: UUID
    circuit_id: UUID
    number: str
    shelf: Shelf
    reasons: tuple[str, ...]
    """Why it cannot be excluded, sorted; empty on other shelves."""
    parts: tuple[PartRow, ...]
    """What put it there, the surest first; empty where its contents are not recorded."""
    met: tuple[MetRow, ...]
    """Runs it was on, or may have been, in order of time; empty: never on a patient."""
    going_on: bool
    """A patient may be meeting it now."""
    begun_at: datetime

    @property
    def run_ids(self) -> tuple[UUID, ...]:
        """Ids of the runs it was on, in order of time, each once."""
        return tuple(dict.fromkeys(each.run_id for each in self.met))


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientRow:
    """One patient that is not excluded, with all runs; or a run whose patient nobody has named."""

    site_id: UUID
    patient_id: UUID | None
    run_ids: tuple[UUID, ...]
    runs: tuple[str, ...]
    """Numbers of the runs, in the same order."""
    circuit_ids: tuple[UUID, ...]
    """Circuits through which it was met, or may have been."""
    shelf: Shelf
    reasons: tuple[str, ...]
    parts: tuple[PartRow, ...]
    """Run parts and machines that speak of this patient; those of circuits stand there."""
    sure: tuple[Span, ...]
    possible: tuple[Span, ...]
    """Contains `sure`."""
    continues_beyond_our_record: bool
    going_on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StockRow:
    """Pieces on a shelf, by the book."""

    site_id: UUID
    product_id: UUID
    lot_id: UUID | None
    lot: str | None
    place_id: UUID | None
    quantity: int
    """Units of use; not above zero: the book owes a count."""
    shelf: Shelf
    reasons: tuple[str, ...]
    on_hold: bool
    """The lot or the product is on hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How much of the record stands behind the answer, as of its cut."""

    circuits: int
    complete: int
    """Circuits in which every part of the kind asked for has what the scope asks for."""
    with_gap: int
    """Circuits with a part that may be asked for and whose lot, maker or serial is not known."""
    unknown: int
    """Circuits whose contents are not recorded."""
    runs: int
    parts: int
    """Parts of the kinds asked for."""
    parts_with_lot: int
    first_at: datetime | None
    """Beginning of the first circuit on record; None: there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Who was exposed, who may have been, what is left, and how much of the record says so."""

    scope: Scope
    products: tuple[ProductNamed, ...]
    """The products that the scope names, as the record knows them."""
    kinds: frozenset[str]
    """Kinds of parts that were looked at for gaps; empty: all."""
    cut: Cut
    asked_at: datetime
    circuits: tuple[CircuitRow, ...]
    """Confirmed first, then inferred, then what cannot be excluded; on a patient now first."""
    patients: tuple[PatientRow, ...]
    stock: tuple[StockRow, ...]
    stock_left: Mapping[tuple[UUID, str], tuple[int, int] | None]
    """Least and most units left by product and lot asked for; None where the book cannot say."""
    excluded: int
    """Circuits on the fourth shelf."""
    runs_excluded: int
    """Runs that no row of a patient names."""
    coverage: Coverage
    contradicted: tuple[str, ...]
    """Kinds whose stock book contradicts itself; a task to mend it."""
    not_narrowed: tuple[str, ...]
    """Kinds asked for whose stock book is not complete: nothing was narrowed by counting."""

    @property
    def known_at(self) -> datetime:
        """The moment of which it speaks: when it was asked, or the last entry it was cut at."""
        return self.asked_at if self.cut.latest else self.cut.recorded_at or self.asked_at

    @property
    def run_ids(self) -> frozenset[UUID]:
        """All runs that the answer names, on whatever shelf."""
        of_circuits = (each.run_id for row in self.circuits for each in row.met)
        return frozenset((*of_circuits, *(run for row in self.patients for run in row.run_ids)))

    def circuits_on(self, shelf: Shelf) -> tuple[CircuitRow, ...]:
        """Return the circuits of one shelf."""
        return tuple(row for row in self.circuits if row.shelf is shelf)

    def patients_on(self, shelf: Shelf) -> tuple[PatientRow, ...]:
        """Return the patients of one shelf."""
        return tuple(row for row in self.patients if row.shelf is shelf)

    @property
    def digest(self) -> str:
        """Sixteen hex digits over all that the answer says of circuits, patients and coverage.

        Two prints can be compared, also one of today with one as of that entry made later: stock is
        told as it stands when it is asked, so it is no part of it.
        """
        head = {
            "scope": scope_json(self.scope),
            "number": self.cut.number,
            "left": sorted([str(key), left] for key, left in self.stock_left.items()),
            "excluded": [self.excluded, self.runs_excluded],
            "coverage": [
                self.coverage.circuits,
                self.coverage.with_gap,
                self.coverage.unknown,
                self.coverage.runs,
                self.coverage.parts,
                self.coverage.parts_with_lot,
            ],
        }
        digest = hashlib.sha256(canonical(head).encode("ascii"))
        # Tens of thousands of parts: written out plainly, a line a row.
        for circuit in self.circuits:
            digest.update(_said_of_circuit(circuit).encode())
        for patient in self.patients:
            digest.update(_said_of_patient(patient).encode())
        return digest.hexdigest()[:16]


def _said_of_circuit(row: CircuitRow) -> str:
    met = ";".join(
        f"{each.run_id} {each.shelf} {each.reasons} {_ends(each.sure)} {_ends(each.possible)}"
        for each in row.met
    )
    parts = _said_of_parts(row.parts)
    return f"{row.circuit_id} {row.shelf} {row.reasons} {parts} {met}\n"


def _said_of_patient(row: PatientRow) -> str:
    runs, circuits = " ".join(map(str, row.run_ids)), " ".join(map(str, row.circuit_ids))
    times = f"{_ends(row.sure)} {_ends(row.possible)}"
    parts = _said_of_parts(row.parts)
    return f"{row.patient_id} {runs} {circuits} {row.shelf} {row.reasons} {parts} {times}\n"


def _said_of_parts(parts: Iterable[PartRow]) -> str:
    return ";".join(
        f"{part.part_id} {part.start} {part.end} {part.lot!r} {part.shelf}" for part in parts
    )


def _ends(spans: Iterable[Span]) -> str:
    return ",".join(f"{one.start}/{one.end}" for one in spans)
