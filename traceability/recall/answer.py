"""The answer itself: shelves with reasons, coverage, cut-off; the same for the same number."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.exposure import Shelf
from traceability.recall import exposure as rows
from traceability.recall.exposure import Cut, PartSeen
from traceability.recall.question import Question
from traceability.recall.sort_shelves import CircuitRow, Evidence, circuit_row


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How much of the record stands behind the answer."""

    circuits: int
    complete: int
    """Circuits in which every part of the kind asked for has its lot."""
    with_gap: int
    unknown: int
    """Circuits whose contents are not recorded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Which circuits contain it, where each is, and which runs met it, when."""

    question: Question
    cut: Cut
    asked_at: datetime
    confirmed: tuple[CircuitRow, ...]
    cannot_be_excluded: tuple[CircuitRow, ...]
    excluded: int
    coverage: Coverage
    patients: dict[UUID, UUID]
    """Patient ids by run; whoever may see patients looks their texts up."""

    @property
    def rows(self) -> tuple[CircuitRow, ...]:
        """All rows, confirmed first."""
        return (*self.confirmed, *self.cannot_be_excluded)

    @property
    def on_patient_now(self) -> tuple[CircuitRow, ...]:
        """Circuits of the answer that are on a patient, or taken, now."""
        return tuple(row for row in self.rows if any(run.run.end is None for run in row.runs))

    @property
    def digest(self) -> str:
        """Sixteen hex digits over everything the answer says; two prints can be compared."""
        said = repr(
            (
                [lot.id for lot in self.question.lots],
                [product.id for product in self.question.products],
                self.cut.number,
                [(row.circuit.id, row.shelf, row.reasons, row.runs) for row in self.rows],
                self.excluded,
                self.coverage,
            )
        )
        return hashlib.sha256(said.encode()).hexdigest()[:16]


def answer(
    session: Session, question: Question, *, now: datetime, as_of_no: int | None = None
) -> Answer:
    """Return the answer as of a ledger number, or as of now."""
    cut = rows.cut_at(session, as_of_no)
    if question.lots:
        sure = rows.parts_of_lots(session, [lot.id for lot in question.lots], cut)
        alike = rows.parts_of_lots(session, rows.lots_alike(session, question, cut), cut)
    else:
        sure, alike = rows.parts_of_products(session, question, cut), []
    gaps = rows.parts_with_gaps(session, question, cut)
    unknown = rows.unknown_contents(session, cut)
    if not question.lots:
        # Asked for every lot of a product: a piece of it without a lot is one of them.
        sure += [part for part in gaps if part.product_id is not None]
        gaps = [part for part in gaps if part.product_id is None]
    of_sure, of_alike = _by_circuit(sure), _by_circuit(alike)
    of_gaps = _by_circuit(gaps)
    ids = {*of_sure, *of_alike, *of_gaps, *unknown}
    seen = rows.circuits(session, ids, cut)
    judged = sorted(
        (
            circuit_row(
                Evidence(
                    circuit=circuit,
                    sure=of_sure.get(circuit_id, []),
                    open=of_gaps.get(circuit_id, []),
                    alike=of_alike.get(circuit_id, []),
                )
            )
            for circuit_id, circuit in seen.items()
        ),
        key=_order,
    )
    confirmed = tuple(row for row in judged if row.shelf is Shelf.CONFIRMED)
    open_rows = tuple(row for row in judged if row.shelf is not Shelf.CONFIRMED)
    total = rows.circuits_begun(session, cut)
    with_gap = len(set(of_gaps) - set(unknown))
    runs = {run.run.run_id for row in judged for run in row.runs}
    return Answer(
        question=question,
        cut=cut,
        asked_at=now,
        confirmed=confirmed,
        cannot_be_excluded=open_rows,
        excluded=total - len(judged),
        coverage=Coverage(
            circuits=total,
            complete=total - with_gap - len(unknown),
            with_gap=with_gap,
            unknown=len(unknown),
        ),
        patients=rows.patients_of(session, runs, cut),
    )


def _order(row: CircuitRow) -> tuple[bool, float, str]:
    """Who is on a patient now first, then the newest."""
    now_on = any(run.run.end is None for run in row.runs)
    return (not now_on, -row.circuit.begun_at.timestamp(), row.circuit.number)


def _by_circuit(parts: Iterable[PartSeen]) -> dict[UUID, list[PartSeen]]:
    found: dict[UUID, list[PartSeen]] = {}
    for part in parts:
        found.setdefault(part.circuit_id, []).append(part)
    return found
