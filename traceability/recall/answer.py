"""Who was exposed, who may have been, who certainly was not, and how much of the record says so.

All reads happen in the session's one transaction, so that they see one state; the rules of
`domain.shelves` judge what was read. The same question at the same number has the same answer.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from traceability.domain.exposure import Shelf
from traceability.domain.notice_scope import Scope
from traceability.domain.shelves.answer import Row, answered_by, connection_row
from traceability.domain.shelves.findings import Finder, Finding
from traceability.domain.shelves.scope import Asked
from traceability.recall.answered import (
    Answer,
    CircuitRow,
    Coverage,
    MetRow,
    PartRow,
    PatientRow,
    StockRow,
)
from traceability.recall.coverage import coverage_of
from traceability.recall.cut import Cut, cut_at
from traceability.recall.gathering import Seen, circuit_name
from traceability.recall.in_stock import in_stock
from traceability.recall.known import Known, connection_of, known, patient_name
from traceability.recall.known_meetings import Claim, runs_named
from traceability.recall.no_pauses import no_pauses

__all__ = ["Answer", "CircuitRow", "Coverage", "PartRow", "PatientRow", "StockRow", "answer"]

SHELVES: Final = tuple(Shelf)
MOST_NAMED: Final = 4
"""Lots named of what an unrecorded part can be."""


def answer(
    session: Session,
    scope: Scope,
    *,
    zone: ZoneInfo,
    now: datetime,
    as_of_no: int | None = None,
    as_of: datetime | None = None,
) -> Answer:
    """Return the answer as of a ledger number or a clock time; neither means as of now.

    Args:
        session: one that reads.
        scope: what is asked.
        zone: of the unit: days of receipts are local days.
        now: when it is asked.
        as_of_no: the last ledger number that is believed.
        as_of: the last moment of entry that is believed.
    """
    with no_pauses():
        return _answer(session, scope, zone, now, cut_at(session, as_of_no, as_of))


def _answer(session: Session, scope: Scope, zone: ZoneInfo, now: datetime, cut: Cut) -> Answer:
    world = known(session, scope, cut, zone)
    finder = Finder(world.situation, tuple(each.clause for each in world.asked.clauses))
    found = answered_by(finder)
    numbers = runs_named(session, world.runs, cut)
    telling = _Telling(world, finder, numbers)
    circuits = sorted(telling.circuits(found.circuits), key=_circuit_order)
    patients = sorted(telling.patients(found.patients), key=_patient_order)
    named = {run for row in patients for run in row.run_ids}
    gaps = {UUID(name) for name in found.gaps}
    coverage = coverage_of(session, world.asked, gaps, cut)
    return Answer(
        scope=scope,
        products=world.asked.products,
        kinds=world.asked.kinds,
        cut=cut,
        asked_at=now,
        circuits=tuple(circuits),
        patients=tuple(patients),
        stock=tuple(in_stock(session, world, now, cut)),
        stock_left=dict(_left(finder, world)),
        excluded=coverage.circuits - len(circuits),
        runs_excluded=coverage.runs - len(named),
        coverage=coverage,
        contradicted=found.contradicted,
        not_narrowed=tuple(item for item in found.not_narrowed if item in world.asked.kinds),
    )


class _Telling:
    """Makes rows of what the rules found."""

    def __init__(self, world: Known, finder: Finder, runs: Mapping[UUID, tuple[UUID, str]]) -> None:
        self.world, self.finder, self.runs = world, finder, runs
        self.known = {circuit.name: circuit for circuit in world.situation.circuits}

    def number(self, run_id: UUID) -> str:
        return self.runs[run_id][1]

    def circuits(self, rows: Mapping[str, Row]) -> Iterator[CircuitRow]:
        for begun in self.world.circuits.values():
            row = rows[circuit_name(begun.id)]
            if row.shelf is Shelf.EXCLUDED:
                continue
            parts = self.parts(row.findings)
            met = tuple(self.met(claim, parts) for claim in self.world.claims.get(begun.id, ()))
            yield CircuitRow(
                site_id=begun.site_id,
                circuit_id=begun.id,
                number=begun.number,
                shelf=row.shelf,
                reasons=tuple(map(str, row.reasons)),
                parts=parts,
                met=met,
                going_on=any(span.end is None for each in met for span in each.possible),
                begun_at=begun.begun_at,
            )

    def met(self, claim: Claim, parts: tuple[PartRow, ...]) -> MetRow:
        row = Row(shelf=Shelf.EXCLUDED)
        if not claim.came_back:
            patient = patient_name(claim.run_id, self.world.patients)
            row = connection_row(self.finder, connection_of(claim, patient), self.known)
        reasons = tuple(map(str, row.reasons))
        if row.shelf is Shelf.EXCLUDED:
            reasons = tuple(sorted(_why_spared(claim, parts)))
        return MetRow(
            run_id=claim.run_id,
            run=self.number(claim.run_id),
            taken_at=claim.taken_at,
            flow_from=claim.flow_from,
            end=claim.end,
            disputed=claim.disputed,
            transferred=claim.transferred,
            shelf=row.shelf,
            reasons=reasons,
            sure=row.sure,
            possible=row.possible,
        )

    def patients(self, rows: Mapping[str, Row]) -> Iterator[PatientRow]:
        runs: dict[str, list[UUID]] = {}
        for run_id in self.world.runs:
            runs.setdefault(patient_name(run_id, self.world.patients), []).append(run_id)
        circuits = self._circuits_of_patients()
        for name, run_ids in runs.items():
            row = rows.get(name)
            if row is None or row.shelf is Shelf.EXCLUDED:
                continue
            ordered = sorted(run_ids, key=lambda run: (self.number(run), run))
            own = [f for f in row.findings if self.seen(f).circuit_id is None]
            yield PatientRow(
                site_id=self.runs[ordered[0]][0],
                patient_id=self.world.patients.get(ordered[0]),
                run_ids=tuple(ordered),
                runs=tuple(map(self.number, ordered)),
                circuit_ids=tuple(circuits.get(name, ())),
                shelf=row.shelf,
                reasons=tuple(map(str, row.reasons)),
                parts=self.parts(own),
                sure=row.sure,
                possible=row.possible,
                continues_beyond_our_record=row.continues_beyond_our_record,
                going_on=any(span.end is None for span in row.possible),
            )

    def _circuits_of_patients(self) -> dict[str, list[UUID]]:
        found: dict[str, list[UUID]] = {}
        for circuit_id, claims in self.world.claims.items():
            for claim in claims:
                if not claim.came_back:
                    of = found.setdefault(patient_name(claim.run_id, self.world.patients), [])
                    of += [circuit_id] if circuit_id not in of else []
        return found

    def seen(self, finding: Finding) -> Seen:
        return self.world.gathered.seen[finding.use.key]

    def parts(self, findings: Iterable[Finding]) -> tuple[PartRow, ...]:
        """Return the parts of a row, each once, the surest first."""
        by_use: dict[int, list[Finding]] = {}
        for finding in findings:
            by_use.setdefault(finding.use.key, []).append(finding)
        rows = [self.part(each) for each in by_use.values()]
        return tuple(
            sorted(rows, key=lambda r: (SHELVES.index(r.shelf), r.slot, r.ordinal, r.start))
        )

    def part(self, findings: list[Finding]) -> PartRow:
        seen = self.seen(findings[0])
        shelf = Shelf.CANNOT_BE_EXCLUDED
        if any(finding.captured for finding in findings):
            shelf = Shelf.CONFIRMED
        elif any(finding.always for finding in findings):
            shelf = Shelf.INFERRED
        open_by = {str(reason) for finding in findings for reason in finding.reasons}
        return PartRow(
            part_id=seen.part_id,
            slot=seen.slot,
            ordinal=seen.ordinal,
            kind=seen.kind,
            product_id=seen.product_id,
            lot=seen.lot,
            serial=seen.serial,
            known=seen.known,
            state=seen.state,
            start=seen.start,
            end=seen.end,
            shelf=shelf,
            reasons=() if shelf is not Shelf.CANNOT_BE_EXCLUDED else tuple(sorted(open_by)),
            body_site=seen.place,
            leaves=seen.leaves,
            dropped=self.world.gathered.was_dropped(seen),
            stays=seen.stays,
            may_be=_may_be(findings[0], seen),
        )


def _may_be(finding: Finding, seen: Seen) -> tuple[tuple[UUID, str], ...]:
    """Return what the stock book lets an unrecorded part be; nothing where it says nothing."""
    if seen.lot is not None or finding.use.equipment or finding.use.pack is not None:
        return ()
    pairs = sorted((unit.maker, unit.lot) for unit in finding.units if unit.maker and unit.lot)
    return tuple((UUID(maker), lot) for maker, lot in pairs[:MOST_NAMED])


def _why_spared(claim: Claim, parts: tuple[PartRow, ...]) -> set[str]:
    """Return why a run is excluded although its circuit is not."""
    if claim.came_back:
        return {"came_back_unused"}
    return {_spared_by(part, claim) for part in parts} or {"part_in_after_flow_off"}


def _spared_by(part: PartRow, claim: Claim) -> str:
    if part.dropped:
        return "dropped_before_use"
    if part.leaves:
        return "used_in_priming"
    if part.start < claim.possible_from:
        return "part_out_before_flow_on"
    return "part_in_after_flow_off"


def _left(
    finder: Finder, world: Known
) -> Iterator[tuple[tuple[UUID, str], tuple[int, int] | None]]:
    """Yield what can be left of each lot that is asked for by its text."""
    for each in world.asked.clauses:
        for test in each.clause.tests if each.product is not None else ():
            if test.asked is Asked.LOTS and not test.negated:
                for lot in test.texts[:20]:
                    item, maker = each.clause.items[0], each.clause.maker
                    yield (UUID(maker), lot), finder.stock_left(item, maker, lot)


def _circuit_order(row: CircuitRow) -> tuple[int, bool, float, str]:
    """Shelf by shelf; who is on a patient with it now first, then the newest."""
    return (SHELVES.index(row.shelf), not row.going_on, -row.begun_at.timestamp(), row.number)


def _patient_order(row: PatientRow) -> tuple[int, bool, float, tuple[str, ...]]:
    start = min(span.start for span in row.possible)
    return (SHELVES.index(row.shelf), not row.going_on, -start.timestamp(), row.runs)
