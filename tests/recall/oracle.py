"""The same answer by brute force: every row of the store, looked at one by one, moment by moment.

It shares no query and no interval arithmetic with the service. A moment is judged by itself: which
parts are in the circuit then, whether blood flows then; so spans cannot be wrong in the same way.
"""

import json
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.recall.question import Question
from traceability.storage.circuits import Circuit, CircuitPhase, Part, Prime, Sheet
from traceability.storage.items import Lot
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.runs import CircuitOnRun, Patient, RunPatient


@dataclass
class Judged:
    """What brute force says of one circuit."""

    shelf: str = "excluded"
    reasons: set[str] = field(default_factory=set)
    runs: dict[UUID, "RunJudged"] = field(default_factory=dict)


@dataclass
class RunJudged:
    """What brute force says of one run of it: shelf, and moments with their certainty."""

    shelves: set[str] = field(default_factory=set)
    reasons: set[str] = field(default_factory=set)
    """Of its claims that cannot be excluded."""
    sure: set[datetime] = field(default_factory=set)
    possible: set[datetime] = field(default_factory=set)


@dataclass
class Clause:
    """One thing asked: a product, by lots, by serials, or whole."""

    product: UUID
    kinds: set[str] | None
    """None: any."""
    lots: list[str] | None
    serials: list[str] | None


@dataclass
class Store:
    """All rows, read once."""

    circuits: list[Circuit]
    parts: list[Part]
    phases: list[CircuitPhase]
    primes: list[Prime]
    links: list[CircuitOnRun]
    patients: list[RunPatient]
    references: dict[UUID, str]
    kinds: dict[int, str]
    lots: dict[UUID, Lot]
    sheets: dict[tuple[str, int], dict[str, list[dict[str, object]]]]


def read_store(session: Session) -> Store:
    """Read everything."""
    return Store(
        circuits=list(session.scalars(select(Circuit))),
        parts=list(session.scalars(select(Part))),
        phases=list(session.scalars(select(CircuitPhase))),
        primes=list(session.scalars(select(Prime))),
        links=list(session.scalars(select(CircuitOnRun))),
        patients=list(session.scalars(select(RunPatient))),
        references=_references(session),
        kinds={e.number: e.kind for e in session.scalars(select(LedgerEvent))},
        lots={lot.id: lot for lot in session.scalars(select(Lot))},
        sheets={
            (each.circuit_type, each.version): json.loads(each.body)
            for each in session.scalars(select(Sheet))
        },
    )


def _references(session: Session) -> dict[UUID, str]:
    kept = {each.id: each.text for each in session.scalars(select(KeptApart))}
    known = [each for each in session.scalars(select(Patient)) if each.kept_id in kept]
    return {each.id: text for each in known if each.kept_id and (text := kept[each.kept_id])}


def loose(text: str) -> str:
    """Look-alikes, said once more: capitals, no separators, O is 0, I is 1, no zeros in front."""
    kept = [char for char in text.upper() if char not in " \t-./\\"]
    return "".join({"O": "0", "I": "1"}.get(char, char) for char in kept).lstrip("0")


def judge_all(store: Store, question: Question, number: int) -> dict[UUID, Judged]:
    """Return the judgement of every circuit that had begun by then."""
    clauses = _clauses(store, question)
    return {
        circuit.id: _judge(store, circuit, clauses, number)
        for circuit in store.circuits
        if circuit.begun_no <= number
    }


def patients(store: Store, number: int) -> dict[UUID, UUID]:
    """Return who the runs' patients were known to be by then; one reference is one patient."""
    first: dict[str, UUID] = {}
    for patient_id, text in sorted(store.references.items()):
        first.setdefault(text, patient_id)
    rows = [row for row in store.patients if _then(row, number) and row.valid_to is None]
    return {
        row.run_id: first.get(store.references.get(row.patient_id, ""), row.patient_id)
        for row in rows
    }


def _then(row: Part | CircuitPhase | CircuitOnRun | Prime | RunPatient, number: int) -> bool:
    superseded = row.superseded_no is not None and row.superseded_no <= number
    return row.recorded_no <= number and not superseded


def _clauses(store: Store, question: Question) -> list[Clause]:
    """Return what is asked, a clause for each product and sort of text."""
    found = []
    for product in question.products:
        kinds = None
        if product.kind:
            # A product's kind may be mended; its parts went in under the word of their day.
            kinds = {product.kind}
            kinds |= {part.kind for part in store.parts if part.product_id == product.id}
        lots = [each.text for each in question.lots if each.product.id == product.id]
        serials = [each.serial for each in question.units if each.product.id == product.id]
        if lots:
            found.append(Clause(product.id, kinds, lots, None))
        if serials:
            found.append(Clause(product.id, kinds, None, serials))
        if not lots and not serials:
            found.append(Clause(product.id, kinds, None, None))
    return found


def _part_reasons(store: Store, part: Part, clause: Clause) -> set[str] | None:
    """Return what leaves the part open; empty if it is asked for; None if it is something else."""
    if part.state == "not-fitted":
        return None
    is_named = part.product_id == clause.product
    of_kind = clause.kinds is None or part.kind in clause.kinds or part.kind == "unknown"
    if part.product_id is None:
        open_by = _nameless_reasons(store, part, clause) if of_kind else None
    else:
        open_by = _text_reasons(store, part, clause) if is_named else None
    if part.disputed and (is_named or (of_kind and clause.kinds is not None)):
        return (open_by or set()) | {"claim_disputed"}
    return open_by


def _nameless_reasons(store: Store, part: Part, clause: Clause) -> set[str]:
    if part.state != "inside-pack":
        return (_text_reasons(store, part, clause) or set()) | {"maker_not_recorded"}
    pack = [
        each
        for each in store.parts
        if each.part_id == part.pack_part_id and each.circuit_id == part.circuit_id
    ]
    told = clause.lots is not None or clause.serials is not None
    if any(each.product_id for each in pack):
        return {"inner_lot_not_known"}
    return {"maker_not_recorded"} | ({"inner_lot_not_known"} if told else set())


def _text_reasons(store: Store, part: Part, clause: Clause) -> set[str] | None:
    if clause.lots is not None:
        if part.lot_id is None:
            return {"lot_not_recorded" if part.known == "stated" else "stock_book_incomplete"}
        return _alike(store.lots[part.lot_id].text, clause.lots)
    if clause.serials is not None:
        if part.serial is None:
            return {"serial_not_recorded"}
        return _alike(part.serial, clause.serials)
    return set()


def _alike(text: str, asked: list[str]) -> set[str] | None:
    if text in asked:
        return set()
    return {"lot_text_alike"} if loose(text) in {loose(each) for each in asked} else None


def _judge(store: Store, circuit: Circuit, clauses: list[Clause], number: int) -> Judged:
    kinds: set[str] | None = set()
    for clause in clauses:
        kinds = None if kinds is None or clause.kinds is None else kinds | clause.kinds
    parts = [row for row in store.parts if row.circuit_id == circuit.id and _then(row, number)]
    links = [row for row in store.links if row.circuit_id == circuit.id and _then(row, number)]
    prime = next(
        (row for row in store.primes if row.circuit_id == circuit.id and _then(row, number)), None
    )
    open_parts = [
        (part, reasons)
        for part in parts
        for clause in clauses
        if _was_there(part, prime) and (reasons := _part_reasons(store, part, clause)) is not None
    ]
    whole: set[str] = set()
    if circuit.contents == "not-recorded":
        whole.add("contents_unknown")
    elif prime is None:
        filled = {(part.slot, part.ordinal) for part in parts if part.valid_to is None}
        sheet = store.sheets[circuit.circuit_type, circuit.sheet_version]
        wanted = {
            (str(slot["id"]), ordinal)
            for slot in sheet["slots"]
            if kinds is None or slot["kind"] in kinds
            for ordinal in range(1, int(str(slot["count"])) + 1)
        }
        phase = next(
            row.phase
            for row in store.phases
            if row.circuit_id == circuit.id and _then(row, number) and row.valid_to is None
        )
        if wanted - filled and not (phase == "discarded" and not links):
            whole.add("prime_not_ended")
    found = Judged()
    if any(not reasons for _, reasons in open_parts):
        found.shelf = "confirmed"
    elif open_parts or whole:
        found.shelf = "cannot_be_excluded"
        found.reasons = whole.union(*(reasons for _, reasons in open_parts))
    for link in links:
        run = found.runs.setdefault(link.run_id, RunJudged())
        _judge_run(store, run, link, open_parts, prime, whole)
    return found


def _was_there(part: Part, prime: Prime | None) -> bool:
    """Tell whether it was in for any time: what went in and out in one moment never was."""
    if part.leaves and prime is not None and prime.valid_from <= part.valid_from:
        return False
    return part.stays or part.valid_to is None or part.valid_to > part.valid_from


def moments(store: Store, circuit_id: UUID) -> list[datetime]:
    """Return every instant at which anything of the circuit changes, and a moment after each."""
    parts = [row for row in store.parts if row.circuit_id == circuit_id]
    links = [row for row in store.links if row.circuit_id == circuit_id]
    primes = [row for row in store.primes if row.circuit_id == circuit_id]
    instants = {row.valid_from for row in parts} | {row.valid_from for row in links}
    instants |= {row.valid_from for row in primes}
    ends = [row.valid_to for row in parts] + [row.valid_to for row in links]
    instants |= {end for end in ends if end is not None}
    instants |= {row.flow_from for row in links if row.flow_from is not None}
    ordered = sorted(instants)
    between = [early + (late - early) / 2 for early, late in pairwise(ordered)]
    return sorted({*ordered, *between, ordered[-1] + timedelta(days=1)}) if ordered else []


def _judge_run(
    store: Store,
    run: RunJudged,
    link: CircuitOnRun,
    parts: list[tuple[Part, set[str]]],
    prime: Prime | None,
    whole: set[str],
) -> None:
    if store.kinds[link.recorded_no] == "came-back-unused" and link.flow_from is None:
        run.shelves.add("excluded")
        return
    doubts = {"flow_on_not_recorded"} if link.flow_from is None else set()
    doubts |= {"claim_disputed"} if link.disputed else set()
    sure: set[datetime] = set()
    possible: set[datetime] = set()
    met: set[int] = set()
    maybe: set[int] = set()
    reasons: set[str] = set()
    for at in moments(store, link.circuit_id):
        ended = link.valid_to is not None and link.valid_to <= at
        flows = link.flow_from is not None and link.flow_from <= at and not ended
        taken = link.valid_from <= at and not ended
        certain = flows and not link.disputed
        # While flow on is not recorded, or the claim disputed, all the time since taken counts.
        may = certain or (taken and (link.flow_from is None or link.disputed))
        for number, (part, open_by) in enumerate(parts):
            inside, may_be_inside = _inside(part, prime, at)
            if certain and inside:
                met.add(number)
                sure |= {at} if not open_by else set()
            if may and may_be_inside:
                maybe.add(number)
                possible.add(at)
                reasons |= open_by
        if whole and may:
            possible.add(at)
            reasons |= whole | doubts
    run.sure |= sure
    run.possible |= possible | sure
    run.shelves.add("confirmed" if sure else "cannot_be_excluded" if possible else "excluded")
    if possible and not sure:
        run.reasons |= reasons | ((doubts or {"time_not_known"}) if maybe - met else set())


def _inside(part: Part, prime: Prime | None, at: datetime) -> tuple[bool, bool]:
    """Tell whether the part is in the circuit at that moment: surely, and possibly."""
    if at < part.valid_from:
        return False, False
    out = part.valid_to is not None and part.valid_to <= at
    if part.leaves and prime is not None and prime.valid_from <= at:
        return False, False
    sure = not out and not (part.leaves and prime is None)
    return sure, not out or part.stays
