"""All that is known at a ledger number and can matter to a scope, as the rules take it.

A situation holds only circuits that may be asked for: every other one is certainly excluded.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.notice_scope import Scope
from traceability.domain.shelves.facts import Ruling
from traceability.domain.shelves.reasons import Reason
from traceability.domain.shelves.situation import CircuitKnown, Connection, Situation
from traceability.recall.asked import ANY_KIND, Compiled, compiled
from traceability.recall.cut import Cut
from traceability.recall.gathering import Gathered, circuit_name, run_name
from traceability.recall.known_book import books, carton_notices, free_lines, receipts, rulings
from traceability.recall.known_machines import gather_machines
from traceability.recall.known_meetings import Claim, claims_on, patients_of
from traceability.recall.known_parts import gather_parts
from traceability.recall.known_run_parts import gather_run_parts
from traceability.recall.lots_in_scope import wanted
from traceability.recall.narrowed import narrowed
from traceability.recall.open_primes import open_primes
from traceability.recall.record import blocks, unknown_contents
from traceability.storage.circuits import Circuit
from traceability.storage.items import Product
from traceability.storage.notices import CartonNotice

__all__ = ["Begun", "Known", "known"]

ALWAYS: Final = datetime(1900, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Begun:
    """A circuit that may be asked for."""

    site_id: UUID
    id: UUID
    number: str
    begun_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """The situation, with the rows behind it."""

    asked: Compiled
    situation: Situation
    gathered: Gathered
    circuits: Mapping[UUID, Begun]
    claims: Mapping[UUID, list[Claim]]
    patients: Mapping[UUID, UUID]
    """Patient by run, merges followed."""
    runs: frozenset[UUID]
    """All runs that were met, through circuits or on their own."""


def known(session: Session, scope: Scope, cut: Cut, zone: ZoneInfo) -> Known:
    """Return what is known at the cut and can matter to the scope."""
    asked = compiled(session, scope, cut)
    lines = receipts(session, asked, cut)
    look_for = wanted(session, asked, lines, cut)
    kinds = asked.kinds | (_pack_kinds(session, asked) if asked.kinds else frozenset())
    held = books(session, kinds, cut)
    look_for = replace(look_for, book_products=held.products)
    gathered = Gathered()
    if asked.asks_for_parts:
        left, held = narrowed(session, asked, look_for, held, cut)
        gathered = gather_parts(session, asked, look_for, held.kinds, left, cut)
        gather_run_parts(session, asked, look_for, gathered, cut)
    register = gather_machines(session, asked, gathered, cut)
    hidden = _hidden(session, asked, cut)
    ids = {seen.circuit_id for seen in gathered.seen if seen.circuit_id} | hidden.keys()
    begun = _begun(session, ids, cut)
    claims = claims_on(session, begun, cut)
    on_their_own = {seen.run_id for seen in gathered.seen if seen.run_id}
    runs = {claim.run_id for each in claims.values() for claim in each} | on_their_own
    patients = patients_of(session, runs, cut)
    of_product = {product.id: product.kind or ANY_KIND for product in asked.products}
    situation = Situation(
        zone=zone,
        items=held.items,
        receipts=tuple(line for each in lines.values() for line in each),
        uses=tuple(gathered.uses),
        connections=tuple(_connections(claims, on_their_own, patients)),
        circuits=tuple(_circuits(begun, hidden, on_their_own)),
        register=tuple(register),
        notices=tuple(carton_notices(session, of_product, cut)),
        rulings=tuple(_all_rulings(session, of_product, gathered, cut)),
        free={
            kind: tuple(free_lines(session, kind, lots, cut)) for kind, lots in held.free.items()
        },
    )
    return Known(
        asked=asked,
        situation=situation,
        gathered=gathered,
        circuits=begun,
        claims=claims,
        patients=patients,
        runs=frozenset(runs),
    )


def _pack_kinds(session: Session, asked: Compiled) -> frozenset[str]:
    """Return the kinds of packs that may have brought parts of the kinds asked for."""
    rows = (
        select(Product.kind)
        .join(
            CartonNotice,
            (CartonNotice.site_id == Product.site_id) & (CartonNotice.product_id == Product.id),
        )
        .where(CartonNotice.inner_product_id.in_([product.id for product in asked.products]))
    )
    return frozenset(session.scalars(rows.distinct()))


def _all_rulings(
    session: Session,
    of_product: Mapping[UUID, str],
    gathered: Gathered,
    cut: Cut,
) -> list[Ruling]:
    packs = {
        seen.product_id: use.part.item
        for use, seen in zip(gathered.uses, gathered.seen, strict=True)
        if seen.product_id is not None and seen.product_id not in of_product
    }
    return rulings(session, {**packs, **of_product}, cut)


def _hidden(session: Session, asked: Compiled, cut: Cut) -> dict[UUID, Reason]:
    """Return circuits that are open in all their time, each with what leaves it open."""
    primes = open_primes(session, asked.kinds, cut) if asked.asks_for_parts else []
    found = dict.fromkeys(primes, Reason.PRIME_NOT_ENDED)
    return found | dict.fromkeys(unknown_contents(session, cut), Reason.CONTENTS_UNKNOWN)


def _begun(session: Session, ids: Iterable[UUID], cut: Cut) -> dict[UUID, Begun]:
    found: dict[UUID, Begun] = {}
    for block in blocks(sorted(ids)):
        rows = select(Circuit.site_id, Circuit.id, Circuit.number, Circuit.begun_at).where(
            Circuit.site_id.in_(cut.sites), Circuit.id.in_(block)
        )
        for row in session.execute(rows):
            found[row.id] = Begun(
                site_id=row.site_id, id=row.id, number=row.number, begun_at=row.begun_at
            )
    return found


def _circuits(
    begun: Mapping[UUID, Begun], hidden: Mapping[UUID, Reason], runs: Iterable[UUID]
) -> Iterator[CircuitKnown]:
    for circuit in begun.values():
        name, why = circuit_name(circuit.id), hidden.get(circuit.id)
        if why is None:
            yield CircuitKnown(name=name)
        else:
            yield CircuitKnown(name=name, unknown_since=circuit.begun_at, why=why)
    for run_id in runs:
        yield CircuitKnown(name=run_name(run_id), of_run=True)


def patient_name(run_id: UUID, patients: Mapping[UUID, UUID]) -> str:
    """Return the name under which the rules know a run's patient; nobody's run is its own."""
    patient = patients.get(run_id)
    return f"run {run_id}" if patient is None else f"patient {patient}"


def _connections(
    claims: Mapping[UUID, list[Claim]], on_their_own: Iterable[UUID], patients: Mapping[UUID, UUID]
) -> Iterator[Connection]:
    for of_circuit in claims.values():
        for claim in of_circuit:
            if not claim.came_back:
                yield connection_of(claim, patient_name(claim.run_id, patients))
    for run_id in on_their_own:
        yield Connection(
            circuit=run_name(run_id),
            patient=patient_name(run_id, patients),
            start=ALWAYS,
            end=None,
        )


def connection_of(claim: Claim, patient: str) -> Connection:
    """Return a claim as the rules take it."""
    return Connection(
        circuit=circuit_name(claim.circuit_id),
        patient=patient,
        start=claim.possible_from,
        end=claim.end,
        transferred=claim.transferred,
        doubts=claim.doubts,
        certain=None,
    )
