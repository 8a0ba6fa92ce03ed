"""The circuits of a trace with the runs they were on, and the parts asked about in them.

When a part can have met a patient is judged by the rules of an answer: the times of a part's use
and of a claim are those of `gathering` and `known_meetings`.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import ColumnElement, Row, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Phase
from traceability.domain.spans import Span, join, meet, span
from traceability.domain.trace import Sure
from traceability.recall.cut import Cut
from traceability.recall.gathering import part_times
from traceability.recall.known_meetings import Claim, claims_on, runs_named
from traceability.recall.record import blocks
from traceability.storage.base import believed_at
from traceability.storage.circuits import Circuit, CircuitPhase, Part, Prime
from traceability.storage.items import Lot

ENDED: Final = {Phase.ENDED, Phase.DISCARDED, Phase.TRANSFERRED_OUT, Phase.KEPT}


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitTraced:
    """A circuit as it was known at the cut."""

    id: UUID
    number: str
    circuit_type: str
    begun_at: datetime
    end: datetime | None
    """None while it has not ended."""
    claims: tuple[Claim, ...]
    runs: Mapping[UUID, str]
    """Numbers of the runs of its claims."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceIn:
    """A part in one circuit, for some time."""

    circuit_id: UUID
    slot: str
    ordinal: int
    kind: str
    state: str
    product_id: UUID | None
    lot_id: UUID | None
    lot: str | None
    serial: str | None
    start: datetime
    end: datetime | None
    disputed: bool
    possible: tuple[Span, ...]
    certain: tuple[Span, ...]


def circuits_traced(session: Session, ids: Iterable[UUID], cut: Cut) -> dict[UUID, CircuitTraced]:
    """Return these circuits by id, with their runs."""
    every = list(ids)
    claims = claims_on(session, every, cut)
    runs = {claim.run_id for each in claims.values() for claim in each}
    names = {key: number for key, (_, number) in runs_named(session, runs, cut).items()}
    found: dict[UUID, CircuitTraced] = {}
    for block in blocks(every):
        over = _ends(session, block, cut)
        rows = select(Circuit.id, Circuit.number, Circuit.circuit_type, Circuit.begun_at).where(
            Circuit.site_id.in_(cut.sites), Circuit.id.in_(block)
        )
        for row in session.execute(rows):
            mine = tuple(claims.get(row.id, ()))
            found[row.id] = CircuitTraced(
                id=row.id,
                number=row.number,
                circuit_type=row.circuit_type,
                begun_at=row.begun_at,
                end=over.get(row.id),
                claims=mine,
                runs={claim.run_id: names.get(claim.run_id, "") for claim in mine},
            )
    return found


def _ends(session: Session, block: Sequence[UUID], cut: Cut) -> dict[UUID, datetime]:
    rows = select(CircuitPhase.circuit_id, CircuitPhase.valid_from, CircuitPhase.phase).where(
        CircuitPhase.site_id.in_(cut.sites),
        CircuitPhase.circuit_id.in_(block),
        CircuitPhase.valid_to.is_(None),
        believed_at(CircuitPhase, cut.number),
    )
    return {row.circuit_id: row.valid_from for row in session.execute(rows) if row.phase in ENDED}


_COLUMNS: Final[tuple[Any, ...]] = (
    Part.circuit_id,
    Part.part_id,
    Part.slot,
    Part.ordinal,
    Part.kind,
    Part.state,
    Part.known,
    Part.product_id,
    Part.lot_id,
    Part.serial,
    Part.expiry,
    Part.valid_from,
    Part.valid_to,
    Part.leaves,
    Part.stays,
    Part.disputed,
    Lot.text,
)


def pieces_in(
    session: Session, circuit_ids: Sequence[UUID], cut: Cut, *where: ColumnElement[bool]
) -> list[PieceIn]:
    """Return the parts of these circuits, or those of them that a condition asks for."""
    found: list[PieceIn] = []
    for block in blocks(circuit_ids):
        ended = select(Prime.circuit_id, Prime.valid_from).where(
            Prime.site_id.in_(cut.sites),
            Prime.circuit_id.in_(block),
            Prime.valid_to.is_(None),
            believed_at(Prime, cut.number),
        )
        primed = {row.circuit_id: row.valid_from for row in session.execute(ended)}
        rows = (
            select(*_COLUMNS)
            .outerjoin(Lot, (Lot.site_id == Part.site_id) & (Lot.id == Part.lot_id))
            .where(
                Part.site_id.in_(cut.sites),
                Part.circuit_id.in_(block),
                believed_at(Part, cut.number),
                *where,
            )
        )
        found += [_piece(row, primed.get(row.circuit_id)) for row in session.execute(rows)]
    return found


def _piece(row: Row[Any], primed_at: datetime | None) -> PieceIn:
    end, certain = part_times(row, primed_at)
    possible = stretch(row.valid_from, end)
    return PieceIn(
        circuit_id=row.circuit_id,
        slot=row.slot,
        ordinal=row.ordinal,
        kind=row.kind,
        state=row.state,
        product_id=row.product_id,
        lot_id=row.lot_id,
        lot=row.text,
        serial=row.serial,
        start=row.valid_from,
        end=end,
        disputed=row.disputed,
        possible=possible,
        certain=() if row.disputed else possible if certain is None else certain,
    )


def met(claim: Claim, pieces: Iterable[PieceIn]) -> tuple[tuple[Span, ...], tuple[Span, ...]]:
    """Return when the patient of a claim met any of these: for sure, and possibly."""
    if claim.came_back:
        return (), ()
    may_flow = stretch(claim.possible_from, claim.end)
    flows = () if claim.doubts else may_flow
    every = list(pieces)
    sure = join(each for piece in every for each in meet(piece.certain, flows))
    possible = join(each for piece in every for each in meet(piece.possible, may_flow))
    return sure, possible


def claim_sure(claim: Claim, pieces: Sequence[PieceIn] | None) -> Sure:
    """Return how sure it is that a run met the circuit, or what was asked about in it."""
    if claim.came_back:
        return Sure.APART
    if pieces is None:
        return Sure.POSSIBLE if claim.doubts else Sure.SURE
    sure, possible = met(claim, pieces)
    return Sure.SURE if sure else Sure.POSSIBLE if possible else Sure.APART


def stretch(start: datetime, end: datetime | None) -> tuple[Span, ...]:
    """Return the stretch of time; nothing where it began and ended in the same moment."""
    made = span(start, end)
    return () if made is None else (made,)
