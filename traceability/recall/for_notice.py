"""A notice's scope, asked: the answer as the record of notices keeps it.

How an answer is computed is not known here: the function that does it is handed in.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Protocol
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import EQUIPMENT_KINDS
from traceability.domain.events import Plain
from traceability.domain.exposure import Shelf, strongest
from traceability.domain.known_rows import Key, KnownRow, Subject
from traceability.domain.notice_scope import Scope
from traceability.domain.spans import Span, join, span
from traceability.recall.answered import Answer, CircuitRow, PartRow, PatientRow, StockRow
from traceability.storage.equipment import EquipmentUse

__all__ = ["Answering", "Asking", "ask"]

MOST_LOTS: Final = 5
"""Lots or serials that a row carries for people to read; the circuit's page has them all."""
AT_ONCE: Final = 500
"""Ids in one question; both databases take more."""


class Answering(Protocol):
    """What computes an answer."""

    def __call__(
        self, session: Session, scope: Scope, *, now: datetime, as_of_no: int | None = None
    ) -> Answer:
        """Return the answer as of now, or as of a ledger number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """An answer in the form that is kept."""

    cut_no: int
    digest: str
    counts: Mapping[str, int]
    """ "circuit confirmed", "patient excluded", "units inferred" ...: how many."""
    coverage: Mapping[str, Plain]
    rows: tuple[KnownRow, ...]


def ask(
    session: Session,
    scope: Scope,
    answering: Answering,
    *,
    now: datetime,
    as_of_no: int | None = None,
) -> Asking:
    """Return what the scope's answer says."""
    return _kept(session, answering(session, scope, now=now, as_of_no=as_of_no))


def _kept(session: Session, answer: Answer) -> Asking:
    rows = [
        *map(_of_circuit, answer.circuits),
        *map(_of_patient, answer.patients),
        *_of_stock(answer.stock),
        *_of_machines(session, answer),
    ]
    return Asking(
        cut_no=answer.cut.number,
        digest=answer.digest,
        counts=_counts(answer, rows),
        coverage=_coverage(answer),
        rows=tuple(sorted(rows, key=lambda row: row.key)),
    )


def _of_circuit(row: CircuitRow) -> KnownRow:
    return KnownRow(
        key=Key(subject=Subject.CIRCUIT, ids=(row.circuit_id,)).text,
        shelf=row.shelf,
        reasons=row.reasons,
        possible=_times(row.parts),
        going_on=row.going_on,
        runs=row.run_ids,
        lots=_lots(row.parts),
    )


def _of_patient(row: PatientRow) -> KnownRow:
    named = row.patient_id is not None or not row.run_ids
    key = (
        Key(subject=Subject.PATIENT, ids=(row.patient_id,))
        if named
        else Key(subject=Subject.RUN, ids=(row.run_ids[0],))
    )
    return KnownRow(
        key=key.text,
        shelf=row.shelf,
        reasons=row.reasons,
        sure=row.sure,
        possible=row.possible,
        going_on=row.going_on,
        runs=row.run_ids,
        circuits=row.circuit_ids,
        lots=_lots(row.parts),
    )


def _of_stock(rows: Iterable[StockRow]) -> Iterator[KnownRow]:
    for row in rows:
        yield KnownRow(
            key=Key(subject=Subject.STOCK, ids=(row.product_id, row.lot_id, row.place_id)).text,
            shelf=row.shelf,
            reasons=row.reasons,
            quantity=row.quantity,
            lots=(row.lot,) if row.lot else (),
        )


def _of_machines(session: Session, answer: Answer) -> Iterator[KnownRow]:
    """Yield one row a machine of the register, whatever it served."""
    uses: dict[UUID, list[tuple[PartRow, CircuitRow | PatientRow]]] = {}
    met_by: tuple[CircuitRow | PatientRow, ...] = (*answer.circuits, *answer.patients)
    for row in met_by:
        for part in row.parts:
            if part.kind in EQUIPMENT_KINDS:
                uses.setdefault(part.part_id, []).append((part, row))
    of_machine: dict[UUID, list[tuple[PartRow, CircuitRow | PatientRow]]] = {}
    for use_id, machine_id in sorted(_machines(session, sorted(uses)).items()):
        of_machine.setdefault(machine_id, []).extend(uses[use_id])
    for machine_id, met in of_machine.items():
        parts = [part for part, _ in met]
        yield KnownRow(
            key=Key(subject=Subject.MACHINE, ids=(machine_id,)).text,
            shelf=strongest(part.shelf for part in parts),
            reasons=tuple(sorted({code for part in parts for code in part.reasons})),
            possible=_times(parts),
            going_on=any(row.going_on for _, row in met),
            lots=_lots(parts),
        )


def _machines(session: Session, use_ids: list[UUID]) -> dict[UUID, UUID]:
    found: dict[UUID, UUID] = {}
    for start in range(0, len(use_ids), AT_ONCE):
        rows = select(EquipmentUse.use_id, EquipmentUse.equipment_id).where(
            EquipmentUse.use_id.in_(use_ids[start : start + AT_ONCE]),
            EquipmentUse.superseded_no.is_(None),
            EquipmentUse.equipment_id.is_not(None),
        )
        found |= {row.use_id: row.equipment_id for row in session.execute(rows)}
    return found


def _times(parts: Iterable[PartRow]) -> tuple[Span, ...]:
    return join(one for part in parts if (one := span(part.start, part.end)))


def _lots(parts: Iterable[PartRow]) -> tuple[str, ...]:
    texts = dict.fromkeys(text for part in parts if (text := part.serial or part.lot))
    return tuple(texts)[:MOST_LOTS]


def _counts(answer: Answer, rows: Iterable[KnownRow]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for row in rows:
        subject = row.key.split(" ", 1)[0]
        # A run without a named patient is somebody's, and is counted with the patients.
        called = "patient" if subject == Subject.RUN else subject
        name = f"{called} {row.shelf}"
        counts[name] = counts.get(name, 0) + 1
        if row.quantity and row.quantity > 0:
            units = f"units {row.shelf}"
            counts[units] = counts.get(units, 0) + row.quantity
    counts[f"circuit {Shelf.EXCLUDED}"] = answer.excluded
    counts[f"patient {Shelf.EXCLUDED}"] = answer.runs_excluded
    return counts


def _coverage(answer: Answer) -> dict[str, Plain]:
    cover = answer.coverage
    return {
        "circuits": cover.circuits,
        "complete": cover.complete,
        "with_gap": cover.with_gap,
        "unknown": cover.unknown,
        "runs": cover.runs,
        "parts": cover.parts,
        "parts_with_lot": cover.parts_with_lot,
        "first_at": cover.first_at.isoformat() if cover.first_at else None,
        "contradicted": list(answer.contradicted),
        "not_narrowed": list(answer.not_narrowed),
        "left": [
            [str(product), lot, *(left or (None, None))]
            for (product, lot), left in sorted(
                answer.stock_left.items(), key=lambda each: (str(each[0][0]), each[0][1])
            )
        ],
    }
