"""The answer itself: shelves with reasons, coverage, cut-off; the same for the same number."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.exposure import Shelf
from traceability.domain.spans import Span
from traceability.recall import exposure
from traceability.recall.circuits_seen import circuits, patients_of
from traceability.recall.cut import Cut, cut_at
from traceability.recall.judge_parts import judged_parts
from traceability.recall.on_runs import PieceRow, piece_rows
from traceability.recall.open_primes import open_primes
from traceability.recall.question import Question
from traceability.recall.sort_shelves import CircuitRow, Evidence, Judged, RunRow, circuit_row
from traceability.storage.ledger import canonical


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How much of the record stands behind the answer."""

    circuits: int
    complete: int
    """Circuits in which every part of the kind asked for has its lot."""
    with_gap: int
    """Circuits with a part that may be asked for and whose lot, or serial, is not known."""
    unknown: int
    """Circuits whose contents are not recorded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Which circuits contain it, where each is, and which runs met it, when."""

    question: Question
    cut: Cut
    asked_at: datetime
    """When it was asked; see `known_at` for the moment of which it speaks."""
    kinds: frozenset[str]
    """Kinds of parts that were looked at for gaps; empty: all."""
    confirmed: tuple[CircuitRow, ...]
    cannot_be_excluded: tuple[CircuitRow, ...]
    excluded: int
    coverage: Coverage
    patients: Mapping[UUID, UUID]
    """Patient ids by run; whoever may see patients looks their texts up."""
    pieces: tuple[PieceRow, ...] = ()
    """Run parts and machines: what met a patient without being in a circuit; confirmed first."""

    @property
    def rows(self) -> tuple[CircuitRow, ...]:
        """All rows, confirmed first."""
        return (*self.confirmed, *self.cannot_be_excluded)

    def pieces_on(self, shelf: Shelf | str) -> tuple[PieceRow, ...]:
        """Return the run parts and machines of one shelf."""
        return tuple(row for row in self.pieces if row.shelf == shelf)

    @property
    def run_ids(self) -> frozenset[UUID]:
        """All runs that the answer names, on whatever shelf."""
        of_circuits = (run.run.run_id for row in self.rows for run in (*row.runs, *row.spared))
        of_pieces = (row.piece.run_id for row in self.pieces)
        return frozenset((*of_circuits, *(each for each in of_pieces if each is not None)))

    @property
    def known_at(self) -> datetime:
        """The moment of which it speaks: now, or the last entry it was cut at."""
        return self.asked_at if self.cut.latest else self.cut.recorded_at or self.asked_at

    @property
    def on_patient_now(self) -> tuple[CircuitRow, ...]:
        """Circuits of the answer that are on a patient with it, or may be, at that moment."""
        return tuple(row for row in self.rows if row.going_on)

    @property
    def digest(self) -> str:
        """Sixteen hex digits over everything the answer says; two prints can be compared."""
        said = {
            "lots": [lot.id for lot in self.question.lots],
            "units": [unit.id for unit in self.question.units],
            "products": [product.id for product in self.question.products],
            "kinds": sorted(self.kinds),
            "number": self.cut.number,
            "rows": [self._said(row) for row in self.rows],
            "excluded": self.excluded,
            "coverage": [
                self.coverage.circuits,
                self.coverage.with_gap,
                self.coverage.unknown,
            ],
        }
        if self.pieces:
            said["pieces"] = [self._said_of_piece(row) for row in self.pieces]
        return hashlib.sha256(canonical(said).encode("ascii")).hexdigest()[:16]

    def _said(self, row: CircuitRow) -> list[object]:
        return [
            row.circuit.id,
            row.shelf,
            row.reasons,
            row.circuit.phase,
            row.circuit.place_id,
            [[part.recorded_no, part.line] for part in row.parts],
            [self._said_of_run(run) for run in (*row.runs, *row.spared)],
        ]

    def _said_of_piece(self, row: PieceRow) -> list[object]:
        piece = row.piece
        return [
            piece.recorded_no,
            piece.line,
            piece.run_id,
            self.patients.get(piece.run_id) if piece.run_id else None,
            row.shelf,
            row.reasons,
            _ends(row.exposure.sure),
            _ends(row.exposure.possible),
        ]

    def _said_of_run(self, run: RunRow) -> list[object]:
        return [
            run.run.run_id,
            self.patients.get(run.run.run_id),
            run.shelf,
            run.reasons,
            _ends(run.exposure.sure),
            _ends(run.exposure.possible),
        ]


def _ends(spans: tuple[Span, ...]) -> list[list[datetime | None]]:
    return [[one.start, one.end] for one in spans]


def answer(
    session: Session,
    question: Question,
    *,
    now: datetime,
    as_of_no: int | None = None,
    as_of: datetime | None = None,
) -> Answer:
    """Return the answer as of a ledger number or a clock time; neither means as of now.

    All reads happen in the session's one transaction, so that they see one state.
    """
    cut = cut_at(session, as_of_no, as_of)
    judged, kinds = judged_parts(session, question, cut)
    of_circuit: dict[UUID, list[Judged]] = {}
    for one in judged:
        of_circuit.setdefault(one.part.circuit_id, []).append(one)
    unknown = set(exposure.unknown_contents(session, cut))
    primes = open_primes(session, kinds, cut)
    whole = _whole(unknown, primes)
    seen = circuits(session, {*of_circuit, *whole}, cut)
    rows = sorted(
        (
            circuit_row(
                Evidence(
                    circuit=circuit,
                    parts=of_circuit.get(circuit_id, []),
                    whole=whole.get(circuit_id, frozenset()),
                )
            )
            for circuit_id, circuit in seen.items()
        ),
        key=_order,
    )
    total = exposure.circuits_begun(session, cut)
    gaps = {one.part.circuit_id for one in judged if one.reasons & GAPS}
    gaps |= set(primes)
    runs = {run.run.run_id for row in rows for run in (*row.runs, *row.spared)}
    pieces = piece_rows(session, question, kinds, cut)
    runs |= {row.piece.run_id for row in pieces if row.piece.run_id is not None}
    return Answer(
        question=question,
        cut=cut,
        asked_at=now,
        kinds=kinds,
        confirmed=tuple(row for row in rows if row.shelf is Shelf.CONFIRMED),
        cannot_be_excluded=tuple(row for row in rows if row.shelf is not Shelf.CONFIRMED),
        excluded=total - len(rows),
        coverage=Coverage(
            circuits=total,
            complete=total - len(gaps - unknown) - len(unknown),
            with_gap=len(gaps - unknown),
            unknown=len(unknown),
        ),
        patients=patients_of(session, runs, cut),
        pieces=pieces,
    )


GAPS = frozenset(
    {"inner_lot_not_known", "lot_not_recorded", "maker_not_recorded", "serial_not_recorded"}
)
"""Reasons that mean that something was not recorded; the others are doubts about what was."""


def _whole(unknown: set[UUID], primes: list[UUID]) -> dict[UUID, frozenset[str]]:
    """Return the circuits that are open in all their time, each with its reasons."""
    found = {circuit_id: frozenset({"contents_unknown"}) for circuit_id in unknown}
    return found | {circuit_id: frozenset({"prime_not_ended"}) for circuit_id in primes}


def _order(row: CircuitRow) -> tuple[bool, float, str]:
    """Who is on a patient with it now first, then the newest."""
    return (not row.going_on, -row.circuit.begun_at.timestamp(), row.circuit.number)
