"""The ledger read back as facts: what was scanned, undone, dropped and swapped at trolley and bed.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

from collections.abc import Iterator
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest

from tests.make import HOUR, TAP, TAPS, Ward, code, opened_ward
from traceability.domain.events import Kind
from traceability.domain.exposure import Shelf
from traceability.domain.shelves import facts as told
from traceability.domain.shelves.answer import Answer, answer
from traceability.domain.shelves.corrections import visible
from traceability.domain.shelves.scope import Asked, Clause, Test
from traceability.domain.shelves.situation import situation_at
from traceability.recall.told import told_facts
from traceability.recall.told.registry import TELLERS

SAYS_NOTHING = {
    "shelf-checked",
    "told-by-hand",
    "circuit-opened",
    "tag-key-set",
    "stock-book-declared",
    "lots-drilled",
    "drill-begun",
    "drill-step",
    "drill-told",
    "drill-stopped",
    "site-set-up",
    "person-set",
    "badge-issued",
    "pin-set",
    "device-set",
    "device-revoked",
    "place-set",
    "policy-set",
    "product-set",
    "sheet-set",
    "down-time-sheets-printed",
    "tag-ordered",
    "circuit-moved",
    "equipment-moved",
    "held",
    "released",
    "kept-for-inspection",
    "custody-passed",
    "steps-set",
    "step-said",
    "step-taken-back",
    "picture-kept",
    "picture-erased",
    "prime-paused",
    "prime-taken-over",
    "act-waits",  # nothing went in
    "act-settled",
    "mode-set",
    "prime-signed",
    "stock-moved",
} | {
    "prime-begun",  # its parts tell, one by one
    "scan-questioned",  # nothing went in
    "circuit-taken",  # possibly used, which is no fact of this form: see recall.exposure
    "take-withdrawn",
    "came-back-unused",
    "run-ended",  # flow off tells it
    "circuit-without-record",  # what was done with it tells of it
    "transferred-out",  # flow off tells it
    "run-part-in",  # in the patient, not in a circuit
    "run-part-out",
    "work-days-set",
    "notice-opened",
    "notice-letter-added",
    "notice-file-erased",
    "notice-scope-set",
    "notice-due-set",
    "notice-acted-on",
    "notice-asked",
    "notice-looked-at",
    "answer-given",
    "notice-task-added",
    "notice-task-said",
    "notice-reply-made",
    "notice-closed",
    "notice-reopened",
    "stock-counted",  # what a count changed went neither in nor out
}


@pytest.fixture
def ward(url: str, tmp_path: Path) -> Iterator[Ward]:
    with opened_ward(url, tmp_path / "var") as ward:
        yield ward


def facts(ward: Ward) -> list[told.Fact]:
    with ward.reads() as reads:
        return list(told_facts(reads, ward.site.id))


def asked(ward: Ward, lot: str, *, kind: str = "tap") -> Answer:
    lots = Test(asked=Asked.LOTS, texts=(lot,))
    clause = Clause(maker="Oskerby Devices", items=(kind,), tests=(lots,))
    situation = situation_at(facts(ward), as_of=ward.now, items={}, zone=ZoneInfo("UTC"))
    return answer([clause], situation)


def shelf(ward: Ward, lot: str) -> Shelf:
    (row,) = asked(ward, lot).circuits.values()
    return row.shelf


def test_every_kind_of_entry_is_told_or_known_to_tell_nothing() -> None:
    kinds = {str(kind) for kind in Kind}
    assert kinds - set(TELLERS) - SAYS_NOTHING == set()
    assert set(TELLERS) & SAYS_NOTHING == set()


def test_a_prime_at_the_trolley_is_told_part_by_part(ward: Ward) -> None:
    circuit = ward.prime("T77-0B1")
    standing = visible(facts(ward), ward.now)
    parts = [f.part_in for f in standing if isinstance(f, told.Swap) and f.part_in]
    assert [(p.item, p.lot) for p in parts if p.item == "tap"] == [("tap", "T77-0B1")] * 3
    assert [f.circuit for f in standing if isinstance(f, told.Prime)] == [str(circuit)]
    gone = [f for f in standing if isinstance(f, told.Swap) and f.out]
    left = next(p for p in parts if p.item == "syringe")
    assert [f.out for f in gone] == [left.p], "what is used while priming only leaves with its end"
    assert shelf(ward, "T77-0B1") is Shelf.CONFIRMED
    assert shelf(ward, "T78") is Shelf.EXCLUDED


def test_a_circuit_that_is_being_primed_may_hold_more_than_was_scanned(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77-0B1"))
    assert shelf(ward, "T77-0B1") is Shelf.CONFIRMED
    assert shelf(ward, "T78") is Shelf.CANNOT_BE_EXCLUDED


def test_what_was_undone_or_scanned_over_was_never_in(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "WRONG"))
    ward.undo(circuit)
    ward.fill(circuit)
    ward.end(circuit)
    assert shelf(ward, "WRONG") is Shelf.EXCLUDED
    assert shelf(ward, "T77-0B1") is Shelf.CONFIRMED


def test_what_was_dropped_used_a_unit_and_is_out(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "FELL"))
    ward.drop(circuit)
    ward.fill(circuit)
    ward.end(circuit)
    situation = situation_at(facts(ward), as_of=ward.now, items={}, zone=ZoneInfo("UTC"))
    (fell,) = [use for use in situation.uses if use.part.lot == "FELL"]
    assert fell.end is not None


def test_a_patient_is_the_runs_from_its_beginning_whenever_somebody_says_who(ward: Ward) -> None:
    circuit = ward.prime()
    taken = ward.take(circuit)
    ward.flow_on(circuit)
    run = str(taken.facts["run"])
    assert list(asked(ward, "T77-0B1").patients) == [f"run {run}"]
    since = ward.now
    ward.now += HOUR
    ward.swap(circuit, TAPS[0], code(TAP, "T9"))
    ward.now += HOUR
    run_id = taken.facts["run_id"]
    ward.at("bedside").patient(UUID(str(run_id)), "K-1")
    ward.flow_off(circuit)
    found = asked(ward, "T9")
    (patient,) = found.patients.items()
    assert patient[0] == "K-1"
    assert [(s.start, s.end) for s in patient[1].sure] == [(since + HOUR, since + 2 * HOUR)]
    early = situation_at(facts(ward), as_of=since, items={}, zone=ZoneInfo("UTC"))
    assert [c.patient for c in early.connections] == [f"run {run}"]


def test_a_time_that_could_not_be_believed_is_told_as_it_was_entered(ward: Ward) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    ward.flow_on(circuit)
    on = next(f for f in facts(ward) if isinstance(f, told.Connect))
    assert on.at == ward.now
    ward.now += HOUR
    ward.swap(circuit, TAPS[0], code(TAP, "T9"), at=ward.now + 5 * HOUR)
    swap = [f for f in facts(ward) if isinstance(f, told.Swap)][-1]
    assert swap.at == ward.now, "a clock that runs ahead puts nothing off"
