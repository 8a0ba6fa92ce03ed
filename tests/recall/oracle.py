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
from traceability.storage.ledger import LedgerEvent
from traceability.storage.runs import CircuitOnRun


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
    sure: set[datetime] = field(default_factory=set)
    possible: set[datetime] = field(default_factory=set)


@dataclass
class Store:
    """All rows, read once."""

    circuits: list[Circuit]
    parts: list[Part]
    phases: list[CircuitPhase]
    primes: list[Prime]
    links: list[CircuitOnRun]
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
        kinds={e.number: e.kind for e in session.scalars(select(LedgerEvent))},
        lots={lot.id: lot for lot in session.scalars(select(Lot))},
        sheets={
            (each.circuit_type, each.version): json.loads(each.body)
            for each in session.scalars(select(Sheet))
        },
    )


def loose(text: str) -> str:
    """Look-alikes, said once more: capitals, no separators, O is 0, I is 1, no zeros in front."""
    kept = [char for char in text.upper() if char not in " \t-./\\"]
    return "".join({"O": "0", "I": "1"}.get(char, char) for char in kept).lstrip("0")


def judge_all(store: Store, question: Question, number: int) -> dict[UUID, Judged]:
    """Return the judgement of every circuit that had begun by then."""
    asked_kinds = _kinds(store, question, number)
    return {
        circuit.id: _judge(store, circuit, question, asked_kinds, number)
        for circuit in store.circuits
        if circuit.begun_no <= number
    }


def _then(row: Part | CircuitPhase | CircuitOnRun | Prime, number: int) -> bool:
    superseded = row.superseded_no is not None and row.superseded_no <= number
    return row.recorded_no <= number and not superseded


def _kinds(store: Store, question: Question, number: int) -> set[str] | None:
    if any(not product.kind for product in question.products):
        return None
    kinds = {product.kind for product in question.products}
    for part in store.parts:
        if _then(part, number) and part.lot_id is not None and _held(store, part, question):
            kinds.add(part.kind)
        if part.unit_id in {unit.id for unit in question.units} and _then(part, number):
            kinds.add(part.kind)
    return kinds


def _held(store: Store, part: Part, question: Question) -> bool:
    lot = store.lots[part.lot_id].text if part.lot_id else None
    for product in question.products:
        if part.product_id != product.id:
            continue
        lots = [each.text for each in question.lots if each.product.id == product.id]
        serials = [each.serial for each in question.units if each.product.id == product.id]
        if not lots and not serials:
            return True
        if lot in lots or (part.serial is not None and part.serial in serials):
            return True
    return False


def _part_reasons(
    store: Store, part: Part, question: Question, kinds: set[str] | None
) -> set[str] | None:
    """Return what leaves the part open; empty if it is asked for; None if it is something else."""
    if part.state == "not-fitted":
        return None
    disputed = {"claim_disputed"} if part.disputed else set()
    if _held(store, part, question):
        return disputed
    of_kind = kinds is None or part.kind in kinds
    open_by: set[str] = set()
    if part.product_id is None:
        if of_kind and part.state == "inside-pack":
            open_by = {"inner_lot_not_known"}
            open_by |= {"serial_not_recorded"} if question.units else set()
        elif of_kind:
            open_by = {"maker_not_recorded"}
            open_by |= (
                {"lot_not_recorded"} if len(question.units) < len(question.products) else set()
            )
            open_by |= {"serial_not_recorded"} if question.units else set()
    else:
        open_by = _known_product_reasons(store, part, question)
    if open_by:
        return open_by | disputed
    return disputed if disputed and of_kind else None


def _known_product_reasons(store: Store, part: Part, question: Question) -> set[str]:
    lots = [each.text for each in question.lots if each.product.id == part.product_id]
    serials = [each.serial for each in question.units if each.product.id == part.product_id]
    if lots:
        if part.lot_id is None:
            return {"lot_not_recorded"}
        text = store.lots[part.lot_id].text
        return {"lot_text_alike"} if loose(text) in {loose(each) for each in lots} else set()
    if serials:
        if part.serial is None:
            return {"serial_not_recorded"}
        alike = loose(part.serial) in {loose(each) for each in serials}
        return {"serial_text_alike"} if alike else set()
    return set()


def _judge(
    store: Store, circuit: Circuit, question: Question, kinds: set[str] | None, number: int
) -> Judged:
    parts = [row for row in store.parts if row.circuit_id == circuit.id and _then(row, number)]
    open_parts = [
        (part, reasons)
        for part in parts
        if (reasons := _part_reasons(store, part, question, kinds)) is not None
    ]
    links = [row for row in store.links if row.circuit_id == circuit.id and _then(row, number)]
    prime = next(
        (row for row in store.primes if row.circuit_id == circuit.id and _then(row, number)), None
    )
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
    sure: set[datetime] = set()
    possible: set[datetime] = set()
    for at in moments(store, link.circuit_id):
        ended = link.valid_to is not None and link.valid_to <= at
        flows = link.flow_from is not None and link.flow_from <= at and not ended
        taken = link.valid_from <= at and not ended
        certain = flows and not link.disputed
        # While flow on is not recorded, or the claim disputed, all the time since taken counts.
        may = certain or (taken and (link.flow_from is None or link.disputed))
        for part, reasons in parts:
            inside, may_be_inside = _inside(part, prime, at)
            if certain and inside and not reasons:
                sure.add(at)
            if may and may_be_inside:
                possible.add(at)
        if whole and may:
            possible.add(at)
    run.sure |= sure
    run.possible |= possible | sure
    run.shelves.add("confirmed" if sure else "cannot_be_excluded" if possible else "excluded")


def _inside(part: Part, prime: Prime | None, at: datetime) -> tuple[bool, bool]:
    """Tell whether the part is in the circuit at that moment: surely, and possibly."""
    if at < part.valid_from:
        return False, False
    out = part.valid_to is not None and part.valid_to <= at
    if part.leaves and prime is not None and prime.valid_from <= at:
        return False, False
    sure = not out and not (part.leaves and prime is None)
    return sure, not out or part.stays
