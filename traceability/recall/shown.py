"""The rows of an answer that are shown, with what stands beside them: where each circuit is now.

An answer may hold thousands of rows; only those of one page are looked up.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.exposure import Shelf
from traceability.recall.answered import Answer, CircuitRow, PatientRow, StockRow
from traceability.recall.circuits_seen import CircuitSeen, circuits
from traceability.recall.record import blocks
from traceability.storage.items import Product
from traceability.storage.site import Place

__all__ = ["ON_A_PAGE", "Shown", "all_circuits", "shown"]

ON_A_PAGE: Final = 40
"""Rows of one shelf that are shown at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One page of an answer."""

    circuits: Mapping[Shelf, Sequence[CircuitRow]]
    patients: Mapping[Shelf, Sequence[PatientRow]]
    starts: Mapping[str, int]
    """Number of the first row of each list, from 0: "circuits confirmed", "patients inferred"."""
    seen: Mapping[UUID, CircuitSeen]
    places: Mapping[UUID, str]
    products: Mapping[UUID, str]
    stock: Sequence[StockRow]

    def circuit_numbers(self, row: PatientRow) -> list[str]:
        """Return the numbers of a patient's circuits that are on this page."""
        return [self.seen[key].number for key in row.circuit_ids if key in self.seen]


def shown(session: Session, answer: Answer, starts: Mapping[str, int]) -> Shown:
    """Return the rows from `starts` on, shelf by shelf."""
    rows = {
        shelf: _page(answer.circuits_on(shelf), starts.get(f"circuits {shelf}", 0))
        for shelf in Shelf
    }
    people = {
        shelf: _page(answer.patients_on(shelf), starts.get(f"patients {shelf}", 0))
        for shelf in Shelf
    }
    wanted = {row.circuit_id for each in rows.values() for row in each}
    wanted |= {key for each in people.values() for row in each for key in row.circuit_ids[:8]}
    return Shown(
        circuits=rows,
        patients=people,
        starts=starts,
        seen=circuits(session, wanted, answer.cut),
        places=_names(session, Place, {row.place_id for row in answer.stock if row.place_id}),
        products=_names(session, Product, {row.product_id for row in answer.stock}),
        stock=answer.stock,
    )


def all_circuits(session: Session, answer: Answer) -> Iterator[tuple[CircuitRow, CircuitSeen]]:
    """Yield every circuit of the answer with where it stands, some hundred at a time."""
    for block in blocks(answer.circuits):
        seen = circuits(session, [row.circuit_id for row in block], answer.cut)
        for row in block:
            yield row, seen[row.circuit_id]


T = TypeVar("T")


def _page(rows: Sequence[T], start: int) -> Sequence[T]:
    return rows[start : start + ON_A_PAGE]


def _names(session: Session, table: type[Place] | type[Product], ids: set[UUID]) -> dict[UUID, str]:
    found: dict[UUID, str] = {}
    for block in blocks(sorted(ids)):
        rows = select(table.id, table.name).where(table.id.in_(block))
        found |= {row.id: row.name for row in session.execute(rows)}
    return found
