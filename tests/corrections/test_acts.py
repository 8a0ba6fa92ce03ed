"""Entries set right by real acts, on both databases."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from tests.make import HOUR, MINUTE, OXYGENATOR, PACK, SECOND, TAP, Ward, code
from tests.recall.asking import asked, confirmed
from traceability.actions.corrections.correct import Correct, correct
from traceability.actions.corrections.merge import MergePatients, merge_patients
from traceability.actions.corrections.rule import RuleOnClaims, rule_on_claims
from traceability.actions.once import Done
from traceability.domain.circuits import State
from traceability.domain.exposure import Shelf
from traceability.domain.keys import product_key
from traceability.domain.parts import PartState
from traceability.errors import (
    BadValue,
    CannotCorrect,
    MergeLoop,
    NotAllowed,
    NotYoursToCorrect,
    Refused,
    UnknownCode,
)
from traceability.messages import say_refusal
from traceability.reads.circuits import circuit_facts
from traceability.reads.disputes import Dispute, disputes
from traceability.reads.entries import changed_after_signing, entry_facts
from traceability.reads.happenings import happenings, run_happenings
from traceability.reads.runs import patient_text, run_facts
from traceability.recall.answer import Answer
from traceability.storage.ledger import LedgerEvent, LedgerHead
from traceability.storage.rebuild import rebuild

WRONG, RIGHT = "T77-OB1", "T77-0B1"
ZONE = ZoneInfo("Europe/Stockholm")


def key(ward: Ward, gtin: str = TAP) -> UUID:
    return product_key("gs1", gtin, site_id=ward.site.id)


def entries_of(ward: Ward, kind: str) -> list[LedgerEvent]:
    with ward.reads() as session:
        found = session.scalars(
            select(LedgerEvent).filter_by(kind=kind).order_by(LedgerEvent.number)
        ).all()
        session.expunge_all()
        return list(found)


def placed(ward: Ward, lot: str) -> tuple[int, tuple[UUID, ...]]:
    """Return the first entry that put in parts of this lot, and its pieces."""
    for event in entries_of(ward, "part-placed"):
        rows = json.loads(event.body)["parts"]
        if rows and rows[0]["lot"] == lot:
            return event.number, tuple(UUID(row["part"]) for row in rows)
    raise LookupError(lot)


def mend(ward: Ward, of: int, who: str = "consultant", **changes: Any) -> Done:
    one = ward.at(who)
    asked = Correct(sent=one.sent(), of=of, **{"reason": "other", **changes})
    return correct(asked, site=one.site)


def mend_lot(ward: Ward, old: str, new: str, who: str = "primer", **changes: Any) -> Done:
    of, parts = placed(ward, old)
    usual = {"state": "recorded", "product_id": key(ward), "lot": new, "expiry": "2033-03-31"}
    return mend(ward, of, who, parts=parts, **{**usual, **changes})


def newest(ward: Ward) -> int:
    with ward.reads() as session:
        return session.scalars(select(LedgerHead.number)).one()


def ask(ward: Ward, lot: str, as_of_no: int | None = None) -> Answer:
    return asked(ward, TAP, lot, as_of_no=as_of_no)


def then(ward: Ward, circuit: UUID, number: int) -> Any:
    with ward.reads() as session:
        return circuit_facts(session, ward.site.id, ward.number(circuit), ward.now, number)


def all_disputes(ward: Ward) -> list[Dispute]:
    with ward.reads() as session:
        return disputes(session, ward.site.id)


@contextmanager
def refused(kind: type[Refused], words: str) -> Iterator[None]:
    """Expect a refusal whose sentence holds the words."""
    with pytest.raises(kind) as told:
        yield
    assert words in say_refusal(told.value, ZONE)


@pytest.fixture(autouse=True)
def same_after_rebuild(ward: Ward) -> Iterator[None]:
    """Whatever a test did: the tables are what the ledger says."""
    yield
    with ward.services.writes() as session:
        assert rebuild(session, ward.site.id).changed == ()
        session.rollback()


def test_a_mistyped_lot_is_found_under_its_new_name_and_as_known_before_under_its_old(
    ward: Ward,
) -> None:
    circuit = ward.prime(lot=WRONG)
    before, was = newest(ward), ask(ward, WRONG)
    facts = ward.facts(circuit)
    for _ in range(3):  # three taps, three scans
        mend_lot(ward, WRONG, RIGHT) if _ == 0 else None
    events = [each for each in entries_of(ward, "part-placed") if WRONG in each.body]
    for event in events[1:]:
        parts = tuple(UUID(row["part"]) for row in json.loads(event.body)["parts"])
        mend(
            ward,
            event.number,
            "primer",
            parts=parts,
            state="recorded",
            product_id=key(ward),
            lot=RIGHT,
            expiry="2033-03-31",
        )
    assert [row.shelf for row in ask(ward, RIGHT).circuits] == [Shelf.CONFIRMED]
    assert confirmed(ask(ward, WRONG)) == ()
    again = ask(ward, WRONG, before)
    assert (again.digest, again.circuits) == (was.digest, was.circuits)
    assert then(ward, circuit, before) == facts


def test_the_same_request_twice_is_one_correction(ward: Ward) -> None:
    ward.prime(lot=WRONG)
    of, parts = placed(ward, WRONG)
    asked = Correct(
        sent=ward.sent(uuid4()),
        of=of,
        reason="mistyped",
        parts=parts,
        state="recorded",
        product_id=key(ward),
        lot=RIGHT,
        expiry="2033-03-31",
    )
    first = correct(asked, site=ward.site)
    number = newest(ward)
    assert correct(asked, site=ward.site) == first
    assert newest(ward) == number
    with refused(CannotCorrect, "what the record says already"):
        correct(replace(asked, sent=ward.sent()), site=ward.site)


def test_a_changed_part_awaits_the_second_signature_again_and_the_old_one_stays(
    ward: Ward,
) -> None:
    circuit = ward.prime(lot=WRONG)
    signed = ward.facts(circuit).signatures
    mend_lot(ward, WRONG, RIGHT)
    facts = ward.facts(circuit)
    assert facts.state is State.AWAITING_SIGNATURES
    assert facts.signatures == signed[:1]
    assert facts.signed_before == signed[1:]
    with ward.reads() as session:
        assert changed_after_signing(session, ward.site.id, circuit) == newest(ward)
    ward.now += MINUTE
    ward.sign(circuit, "helper")
    assert ward.facts(circuit).state is State.READY
    # What is back as it was at the first signing was not signed in between.
    mend(ward, newest(ward) - 1, void=True)
    assert ward.facts(circuit).state is State.AWAITING_SIGNATURES


def test_on_a_patient_signatures_stay_as_they_are(ward: Ward) -> None:
    circuit = ward.prime(lot=WRONG)
    ward.take(circuit)
    ward.flow_on(circuit)
    signed = ward.facts(circuit).signatures
    mend_lot(ward, WRONG, RIGHT)
    facts = ward.facts(circuit)
    assert (facts.state, facts.signatures) == (State.ON_PATIENT, signed)
    with ward.reads() as session:
        assert changed_after_signing(session, ward.site.id, circuit)


def test_the_use_by_is_decided_anew_by_an_expiry_and_by_the_end_of_the_prime(ward: Ward) -> None:
    # Policy: 30 days; a printed day lasts to its end in the unit's zone (trade.md c.2, c.3).
    circuit = ward.prime(lot=WRONG)
    first = ward.facts(circuit).use_by
    mend_lot(ward, WRONG, WRONG, expiry="2031-05-20")
    facts = ward.facts(circuit)
    assert facts.use_by == datetime(2031, 5, 20, 22, 0, tzinfo=UTC)
    assert facts.decides["code"] == "part-expiry"
    assert facts.comes_next["code"] == "policy-wet-closed"
    mend(ward, newest(ward), void=True)
    assert ward.facts(circuit).use_by == first
    ended = entries_of(ward, "prime-ended")[0]
    # No earlier than the last part; not after it was signed.
    with refused(CannotCorrect, "before"):
        mend(ward, ended.number, moment=ended.happened_at - HOUR)
    with refused(CannotCorrect, "the prime had ended by then"):
        mend(ward, ended.number, moment=ended.happened_at + timedelta(seconds=1))


def test_the_end_of_an_unsigned_prime_moves_its_use_by(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    ward.now += HOUR
    ward.end(circuit)
    ended = entries_of(ward, "prime-ended")[0]
    with refused(CannotCorrect, "before a part went in"):
        mend(ward, ended.number, moment=ended.happened_at - HOUR - 2 * SECOND - MINUTE)
    latest = max(part.from_ for part in ward.facts(circuit).parts)
    mend(ward, ended.number, moment=latest - SECOND)
    assert ward.facts(circuit).ended_at == latest  # the same minute
    mend(ward, ended.number, moment=ended.happened_at - 30 * MINUTE)
    facts = ward.facts(circuit)
    assert facts.ended_at == ended.happened_at - 30 * MINUTE
    assert facts.use_by == facts.ended_at + timedelta(days=30)


def test_no_interval_runs_backwards_and_no_circuit_is_in_two_places(ward: Ward) -> None:
    circuit = ward.prime()
    ward.now += HOUR
    ward.take(circuit)
    ward.now += HOUR
    ward.flow_on(circuit)
    ward.now += HOUR
    ward.flow_off(circuit)
    ward.now += HOUR
    ward.take(circuit)
    taken, on, off = (
        entries_of(ward, kind)[0] for kind in ("circuit-taken", "flow-on", "flow-off")
    )
    number = newest(ward)
    for event, moment in (
        (taken, on.happened_at + MINUTE),
        (on, taken.happened_at - MINUTE),
        (off, on.happened_at - MINUTE),
    ):
        with refused(CannotCorrect, "before"):
            mend(ward, event.number, moment=moment)
    with refused(CannotCorrect, "in two places at once"):
        mend(ward, off.number, void=True)
    assert newest(ward) == number
    mend(ward, taken.number, moment=taken.happened_at - 30 * MINUTE)
    assert ward.facts(circuit).runs[0].taken_at == taken.happened_at - 30 * MINUTE
    mend(ward, on.number, moment=taken.happened_at - 20 * MINUTE)
    assert ward.facts(circuit).runs[0].flow_from == taken.happened_at - 20 * MINUTE


def test_a_take_that_never_happened_goes_with_all_that_hangs_on_it_and_comes_back(
    ward: Ward,
) -> None:
    circuit = ward.prime()
    ready = ward.facts(circuit)
    ward.now += HOUR
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += HOUR
    ward.flow_off(circuit, run_ends=True)
    ended = ward.facts(circuit)
    done = mend(ward, entries_of(ward, "circuit-taken")[0].number, void=True)
    now = ward.facts(circuit)
    assert (now.runs, now.state, now.place) == ((), State.READY, ready.place)
    assert now.phases == ready.phases
    with ward.reads() as session:
        run = run_facts(session, ward.site.id, "R-0001")
        assert run is not None
        assert run.circuits == ()
        assert run.ended_at == run.begun_at
        void = {each.kind for each in happenings(session, ward.site.id, circuit) if each.is_void}
    assert void == {"circuit-taken", "flow-on", "flow-off"}
    with refused(CannotCorrect, "void already"):
        mend(ward, entries_of(ward, "flow-on")[0].number, void=True)
    mend(ward, done.first_no, void=True)
    assert ward.facts(circuit).runs == ended.runs
    with ward.reads() as session:
        run = run_facts(session, ward.site.id, "R-0001")
        assert run is not None
        assert run.ended_at == ended.runs[0].until


def test_a_circuit_taken_for_the_wrong_run_goes_to_the_right_one_with_its_flow(
    ward: Ward,
) -> None:
    first, second = ward.prime(), ward.prime(lot="0417")
    ward.take(first)
    ward.now += MINUTE
    ward.take(second)
    ward.flow_on(second)
    wrong = entries_of(ward, "circuit-taken")[1]
    with refused(UnknownCode, "R-0099"):
        mend(ward, wrong.number, run_number="R-0099")
    mend(ward, wrong.number, run_number="r-0001")
    (on_run,) = ward.facts(second).runs
    assert on_run.run == "R-0001"
    assert on_run.flow_from is not None
    with ward.reads() as session:
        empty = run_facts(session, ward.site.id, "R-0002")
        assert empty is not None
        assert empty.circuits == ()
    (row,) = confirmed(ask(ward, "0417"))
    assert [met.run for met in row.met] == ["R-0001"]


def test_the_end_of_a_run_goes_with_the_flow_off_it_was_entered_with(ward: Ward) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += 2 * HOUR
    ward.flow_off(circuit, run_ends=True)
    off = entries_of(ward, "flow-off")[0]
    before = newest(ward)
    mend(ward, off.number, moment=off.happened_at - HOUR)
    with ward.reads() as session:
        now = run_facts(session, ward.site.id, "R-0001")
        was = run_facts(session, ward.site.id, "R-0001", before)
        kinds = [each.kind for each in run_happenings(session, ward.site.id, now.id)]  # type: ignore[union-attr]
    assert now is not None
    assert was is not None
    assert (now.ended_at, was.ended_at) == (off.happened_at - HOUR, off.happened_at)
    assert {"run-ended", "corrected", "flow-off", "circuit-taken"} <= set(kinds)


def test_a_practice_prime_in_the_real_record_never_was(ward: Ward) -> None:
    circuit = ward.prime(lot=WRONG)
    begun = entries_of(ward, "prime-begun")[0].number
    before, was = newest(ward), ask(ward, WRONG)
    ward.take(circuit)
    with refused(CannotCorrect, "C-0001 was taken for R-0001"):
        mend(ward, begun, void=True)
    mend(ward, entries_of(ward, "circuit-taken")[0].number, void=True)
    mend(ward, begun, void=True, reason="practice")
    facts = ward.facts(circuit)
    assert (facts.state, facts.parts, facts.signatures) == (State.DISCARDED, (), ())
    assert ask(ward, WRONG).circuits == ()
    # Its tag is found on the trolley and taken in an emergency: nobody knows what is in it.
    ward.take(circuit)
    (row,) = ask(ward, WRONG).circuits
    assert (row.shelf, row.reasons) == (Shelf.CANNOT_BE_EXCLUDED, ("contents_unknown",))
    assert ward.facts(circuit).contents == "not-recorded"
    assert ask(ward, WRONG, before).digest == was.digest


def test_a_place_is_never_emptied_after_the_prime_ended(ward: Ward) -> None:
    circuit = ward.prime(lot=WRONG)
    of, parts = placed(ward, WRONG)
    with refused(CannotCorrect, "an empty place would say that nothing was in it"):
        mend(ward, of, void=True)
    mend(ward, of, parts=parts, state="lot-not-recorded", product_id=key(ward))
    assert PartState.LOT_NOT_RECORDED in {part.state for part in ward.facts(circuit).now_in}
    mend(ward, of, parts=parts, state="not-fitted")
    assert ward.facts(circuit).standing.parts_missing


def test_who_may_set_what_right(ward: Ward) -> None:
    circuit = ward.prime(lot=WRONG)
    ward.take(circuit)
    ward.flow_on(circuit)
    with refused(NotYoursToCorrect, "A charge consultant sets this right"):
        mend_lot(ward, WRONG, RIGHT, who="helper")
    for kind, change in (
        ("flow-on", {"moment": ward.now - MINUTE}),
        ("flow-on", {"void": True}),
        ("part-placed", {"void": True}),
    ):
        with pytest.raises(NotYoursToCorrect):
            mend(ward, entries_of(ward, kind)[0].number, "primer", **change)
    mend_lot(ward, WRONG, RIGHT, who="primer")
    mend_lot(ward, WRONG, "0417", who="consultant")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"state": "ticked"}, "choose one of"),
        ({"lot": ""}, "Fill in"),
        ({"expiry": "2033-02-30"}, "cannot be right"),
        ({"expiry": "soon"}, "cannot be right"),
        ({"lot": "9" * 61}, "too long"),
        ({"reason": "because"}, "choose one of"),
    ],
)
def test_what_cannot_be_is_not_taken(ward: Ward, changes: dict[str, str], words: str) -> None:
    ward.prime(lot=WRONG)
    number = newest(ward)
    with refused(BadValue, words):
        mend_lot(ward, WRONG, **{"new": RIGHT, **changes})
    assert newest(ward) == number


def test_another_kind_of_part_and_a_serial_that_is_elsewhere_are_refused(ward: Ward) -> None:
    ward.prime(lot=WRONG)
    other = ward.prime(lot="0417")
    with refused(CannotCorrect, "another kind of part"):
        mend_lot(ward, WRONG, RIGHT, product_id=key(ward, PACK))
    there = next(part.serial for part in ward.facts(other).now_in if part.serial)
    of, parts = placed(ward, "3F0117")
    with refused(CannotCorrect, "is in C-0002"):
        mend(
            ward,
            of,
            parts=parts,
            state="recorded",
            product_id=key(ward, OXYGENATOR),
            lot="3F0117",
            serial=there,
        )


def test_a_swap_is_set_right_in_time_and_in_what_came_in(ward: Ward) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += 2 * HOUR
    ward.swap(circuit, "tap-pump", code(TAP, WRONG))
    event = entries_of(ward, "part-swapped")[0]
    part = UUID(json.loads(event.body)["part_in"][0]["part"])
    mend(ward, event.number, moment=event.happened_at - HOUR)
    mend(
        ward,
        event.number,
        parts=(part,),
        state="recorded",
        product_id=key(ward),
        lot=RIGHT,
        expiry="2033-03-31",
    )
    old, new = sorted(
        (each for each in ward.facts(circuit).parts if each.slot == "tap-pump"),
        key=lambda each: each.from_,
    )
    assert (old.until, new.from_) == (event.happened_at - HOUR, event.happened_at - HOUR)
    assert new.lot == RIGHT
    with ward.reads() as session:
        facts = entry_facts(session, ward.site.id, event.number)
    assert facts is not None
    assert [(each.lot, each.first_lot) for each in facts.pieces] == [(RIGHT, WRONG)]
    assert len(facts.corrections) == 2


def test_of_two_takes_the_one_that_is_ruled_for_stands(ward: Ward) -> None:
    circuit = ward.prime()
    ward.take(circuit)
    ward.now += MINUTE
    ward.take(circuit)
    ward.flow_on(circuit, run_id=ward.facts(circuit).runs[1].run_id)
    (dispute,) = all_disputes(ward)
    assert (dispute.first.run, dispute.second.run) == ("R-0001", "R-0002")
    one = ward.at("consultant")
    asked = RuleOnClaims(sent=one.sent(), stands=dispute.second.number, falls=dispute.first.number)
    with pytest.raises(NotAllowed):
        rule_on_claims(replace(asked, sent=ward.sent()), site=ward.site)
    done = rule_on_claims(asked, site=one.site)
    (claim,) = ward.facts(circuit).runs
    assert (claim.run, claim.disputed, ward.facts(circuit).state) == (
        "R-0002",
        False,
        State.ON_PATIENT,
    )
    assert all_disputes(ward) == []
    with refused(CannotCorrect, "void already"):
        rule_on_claims(replace(asked, sent=one.sent()), site=one.site)
    mend(ward, done.first_no, void=True)
    assert len(all_disputes(ward)) == 1


def test_of_two_circuits_that_hold_one_piece_the_other_holds_an_unknown_one(ward: Ward) -> None:
    first, second = ward.begin(), ward.begin()
    for circuit in (first, second):
        ward.scan(circuit, code(PACK, "PK26-104"))
        ward.scan(circuit, code(OXYGENATOR, "3F0117", serial="OX-7"))
    ward.go_on(second, reason="by-hand")
    (dispute,) = all_disputes(ward)
    assert {dispute.first.circuit, dispute.second.circuit} == {"C-0001", "C-0002"}
    one = ward.at("consultant")
    asked = RuleOnClaims(
        sent=one.sent(),
        stands=dispute.second.number,
        falls=dispute.first.number,
        stands_part=dispute.second.part_id,
        falls_part=dispute.first.part_id,
    )
    rule_on_claims(asked, site=one.site)
    held = {part.slot: part for part in ward.facts(second).now_in}["oxygenator"]
    fell = {part.slot: part for part in ward.facts(first).now_in}["oxygenator"]
    assert (held.serial, held.disputed) == ("OX-7", False)
    assert (fell.serial, fell.lot, fell.state) == (None, None, PartState.LOT_NOT_RECORDED)
    assert all_disputes(ward) == []


def joined(ward: Ward, run: UUID, other: str) -> Done:
    one = ward.at("bedside")
    asked = MergePatients(sent=one.sent(), run_id=run, other_number=other, at=one.now)
    return merge_patients(asked, site=one.site)


def text_of(ward: Ward, run: UUID) -> str:
    with ward.reads() as session:
        return patient_text(session, ward.site.id, run)


def test_temporary_identities_become_known_along_a_chain_and_a_loop_is_refused(
    ward: Ward,
) -> None:
    runs = []
    for number in range(3):
        done = ward.take(ward.prime(lot=f"L-{number}"))
        runs.append(UUID(str(done.facts["run_id"])))
        ward.patient(runs[-1], "SOUND-2207" if number == 2 else "")
    before, was = newest(ward), ask(ward, "L-0")
    first = joined(ward, runs[0], "r-0002")
    joined(ward, runs[1], "R-0003")
    assert {text_of(ward, run) for run in runs} == {"SOUND-2207"}
    known = {row.patient_id for lot in range(3) for row in ask(ward, f"L-{lot}").patients}
    assert len(known) == 1
    assert None not in known
    with refused(MergeLoop, "are one already"):
        joined(ward, runs[2], "R-0001")
    again = ask(ward, "L-0", before)
    assert (again.patients, again.digest) == (was.patients, was.digest)
    mend(ward, first.first_no, void=True)
    assert [text_of(ward, run) for run in runs] == ["TEMP-1", "SOUND-2207", "SOUND-2207"]
    with pytest.raises(NotAllowed):
        merge_patients(
            MergePatients(sent=ward.sent(), run_id=runs[0], other_number="R-0002", at=ward.now),
            site=ward.site,
        )


def test_a_wrong_patient_of_a_run_is_set_right_and_no_text_stands_in_the_ledger(
    ward: Ward,
) -> None:
    run = UUID(str(ward.take(ward.prime()).facts["run_id"]))
    ward.patient(run, "SOUND-1111")
    event = entries_of(ward, "patient-set")[0]
    mend(ward, event.number, "bedside", patient="SOUND-2207")
    assert text_of(ward, run) == "SOUND-2207"
    mend(ward, event.number, void=True)
    assert text_of(ward, run) == ""
    mend(ward, newest(ward), void=True)
    assert text_of(ward, run) == "SOUND-2207"
    with ward.reads() as session:
        bodies = session.scalars(select(LedgerEvent.body)).all()
    assert not [body for body in bodies if "SOUND-" in body]


def test_a_note_is_kept_apart(ward: Ward) -> None:
    ward.prime(lot=WRONG)
    done = mend_lot(ward, WRONG, RIGHT, note="Read again with the lamp on")
    with ward.reads() as session:
        facts = entry_facts(session, ward.site.id, done.first_no)
        bodies = session.scalars(select(LedgerEvent.body)).all()
    assert facts is not None
    assert facts.note == "Read again with the lamp on"
    assert not [body for body in bodies if "lamp" in body]
