"""A prime from paper: one act, the circuit as a trolley would have made it, nothing turned away.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import func, select

from tests.actions.test_foreign_list import shelves
from tests.make import (
    HOUR,
    MINUTE,
    OXYGENATOR,
    PACK,
    SALINE,
    SYRINGE,
    TAP,
    TAPS,
    TYPE,
    Ward,
    code,
)
from tests.recall.asking import asked
from traceability.actions.once import Done
from traceability.actions.prime.late import EnterPrimeLate, LatePart, enter_prime_late
from traceability.actions.prime.sheets_ahead import PrintSheets, print_sheets
from traceability.domain.circuits import State
from traceability.domain.keys import product_key
from traceability.errors import (
    BadValue,
    NotOnPaper,
    NumberUsed,
    PartsMissing,
    Refused,
    WrongMoment,
)
from traceability.storage.circuits import Circuit
from traceability.storage.ledger import first_break
from traceability.storage.rebuild import rebuild


def product(ward: Ward, gtin: str) -> UUID:
    return product_key("gs1", gtin, site_id=ward.site.id)


def paper_parts(ward: Ward, lot: str = "T77-0B1", serial: str = "OX-9") -> tuple[LatePart, ...]:
    """What a fully filled-in paper names."""
    tap, bag = product(ward, TAP), product(ward, SALINE)
    return (
        LatePart(slot="pack", product_id=product(ward, PACK), lot_text="PK26-104"),
        LatePart(
            slot="oxygenator", product_id=product(ward, OXYGENATOR), lot_text="3F", serial=serial
        ),
        *(LatePart(slot=each, product_id=tap, lot_text=lot) for each in TAPS),
        LatePart(slot="saline", product_id=bag, lot_text="4K", expiry="2033-03"),
        LatePart(slot="saline", ordinal=2, product_id=bag, state="lot-not-readable"),
        LatePart(
            slot="syringe", product_id=product(ward, SYRINGE), lot_text="SY", expiry="2031-06"
        ),
    )


def sheets(ward: Ward, count: int = 2) -> list[str]:
    done = print_sheets(PrintSheets(sent=ward.sent(), count=count, at=ward.now), site=ward.site)
    numbers = done.facts["numbers"]
    assert isinstance(numbers, list)
    return [str(each) for each in numbers]


def enter(ward: Ward, **changes: Any) -> Done:
    usual = EnterPrimeLate(
        sent=ward.sent(),
        circuit_type=TYPE,
        begun_at=ward.now - 5 * HOUR,
        ended_at=ward.now - 4 * HOUR,
        parts=paper_parts(ward),
        place_id=ward.places["console 3"],
        primer_id=ward.people["primer"],
        helper_id=ward.people["helper"],
        fill_ml=1500,
        lots_not_recorded=True,
    )
    return enter_prime_late(replace(usual, **changes), site=ward.site)


def made(done: Done) -> UUID:
    assert done.subject is not None
    return done.subject


def test_a_sheet_keeps_its_number_whoever_primes_meanwhile(ward: Ward) -> None:
    first, second = sheets(ward)
    meanwhile = ward.number(ward.begin())
    assert (first, second, meanwhile) == ("C-0001", "C-0002", "C-0003")
    late = enter(ward, number=second.lower())
    assert ward.number(made(late)) == second
    assert ward.number(ward.begin()) == "C-0004"


def test_a_prime_from_paper_is_what_a_trolley_would_have_made(ward: Ward) -> None:
    (number,) = sheets(ward, 1)
    circuit = made(enter(ward, number=number))
    facts = ward.facts(circuit)
    assert facts.state is State.AWAITING_SIGNATURES
    assert facts.ended_at == ward.now - 4 * HOUR
    # The policy's 30 days (ASAIO J 2024;70(11):979-986), from the end of the prime, not of today.
    assert facts.use_by == facts.ended_at + timedelta(days=30)
    states = {(each.slot, each.ordinal): str(each.state) for each in facts.now_in}
    assert states[("drain", 1)] == "inside-pack"
    assert states[("saline", 2)] == "lot-not-readable"
    assert states[("ties", 2)] == "ticked"
    ward.sign(circuit, "primer")
    ward.sign(circuit, "helper")
    assert ward.facts(circuit).state is State.READY


def test_what_a_trolley_would_have_stopped_is_recorded_with_its_caution(ward: Ward) -> None:
    other = ward.prime()
    serial = next(each.serial for each in ward.facts(other).now_in if each.slot == "oxygenator")
    assert serial is not None
    (first, *rest) = paper_parts(ward, serial=serial)
    expired = replace(rest[1], expiry="2031-05-01")
    odd = LatePart(slot="extra", kind="tap", product_id=product(ward, TAP), lot_text="T1")
    done = enter(ward, parts=(first, rest[0], expired, *rest[2:], odd), fill_ml=None)
    assert set(done.cautions) == {
        "same-serial-elsewhere",
        "expired",
        "not-on-sheet",
        "fill-not-written",
    }
    assert done.disputed


def test_a_lot_without_its_product_is_a_lot_not_recorded(ward: Ward) -> None:
    """A lot means nothing without its product (GS1 General Specifications, section on AI (10))."""
    parts = (LatePart(slot="tap-pump", lot_text="T77-0B1", state="recorded"),)
    circuit = made(enter(ward, parts=parts))
    tap = next(each for each in ward.facts(circuit).now_in if each.slot == "tap-pump")
    assert (str(tap.state), tap.lot) == ("lot-not-recorded", None)


def test_a_number_is_entered_once_and_only_if_it_was_printed(ward: Ward) -> None:
    (number,) = sheets(ward, 1)
    enter(ward, number=number)
    with pytest.raises(NumberUsed):
        enter(ward, number=number)
    with pytest.raises(NotOnPaper):
        enter(ward, number="C-0700")
    without = enter(ward, parts=paper_parts(ward, serial="OX-10"), paper_number="P-17")
    assert ward.number(made(without)) == "C-0002"


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"lots_not_recorded": False}, PartsMissing),
        ({"ended_at": None}, WrongMoment),
        ({"fill_ml": 0}, BadValue),
        ({"paper_number": "Ada Lindqvist"}, BadValue),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    ward: Ward, changes: dict[str, Any], refusal: type[Refused]
) -> None:
    if "ended_at" in changes:
        changes = {"ended_at": ward.now - 6 * HOUR}
    with pytest.raises(refusal):
        enter(ward, **changes)
    assert ward.circuits() == []


@pytest.mark.parametrize(
    "changes",
    [
        {"slot": "tap-middle"},
        {"state": "fine"},
        {"state": "not-fitted"},
        {"expiry": "2033-13"},
        {"ordinal": 0},
        {"known": "heard"},
    ],
)
def test_a_part_that_cannot_be_so_is_refused(ward: Ward, changes: dict[str, Any]) -> None:
    parts = list(paper_parts(ward))
    parts[2] = replace(parts[2], **changes)
    with pytest.raises(BadValue):
        enter(ward, parts=tuple(parts))


def test_of_four_who_enter_one_sheet_at_once_one_does_and_the_others_are_told(ward: Ward) -> None:
    (number,) = sheets(ward, 1)

    def entered(at: int) -> Done | Refused:
        try:
            return enter(ward, number=number, parts=paper_parts(ward, serial=f"OX-{at}"))
        except NumberUsed as told:
            return told

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(entered, range(4)))
    assert sum(isinstance(each, Done) for each in answers) == 1
    assert ward.circuits() == [number]


def test_sent_again_it_makes_no_second_circuit_and_a_rebuild_makes_the_same_rows(
    ward: Ward,
) -> None:
    (number,) = sheets(ward, 1)
    sent = ward.sent(uuid4())
    begun = ward.now - 5 * HOUR
    one, two = (enter(ward, sent=sent, number=number, begun_at=begun) for _ in range(2))
    assert one == two
    circuit = made(one)
    ward.sign(circuit, "primer")
    ward.now += MINUTE
    ward.take(circuit)
    ward.scan(ward.begin(), code(TAP, "T77-0B1"))
    with ward.services.writes() as session:
        assert session.scalar(select(func.count()).select_from(Circuit)) == 2
        assert rebuild(session, ward.site.id).changed == ()
        session.rollback()
        assert first_break(session, ward.site.id) is None


def test_a_down_time_tag_is_taken_before_its_sheet_is_entered_and_stays_one_circuit(
    ward: Ward,
) -> None:
    """An emergency waits for nobody's typing; what was primed is told later."""
    (number,) = sheets(ward, 1)
    taken = ward.take(number)
    assert taken.facts["number"] == number
    assert taken.cautions == ("contents-not-recorded",)
    circuit = made(taken)
    ward.flow_on(circuit)
    before = asked(ward, TAP, "T9")
    assert shelves(before) == ([], [number])
    ward.now += HOUR
    with pytest.raises(WrongMoment):
        enter(ward, number=number, ended_at=ward.now)
    assert made(enter(ward, number=number)) == circuit
    facts = ward.facts(circuit)
    assert facts.state is State.ON_PATIENT
    assert facts.origin == "own"
    assert facts.ended_at == ward.now - 4 * HOUR
    assert [stay.name for stay in sorted(facts.phases, key=lambda stay: stay.from_)][:2] == [
        "priming",
        "primed",
    ]
    assert shelves(asked(ward, TAP, "T77-0B1")) == ([number], [])
    assert shelves(asked(ward, TAP, "T9")) == ([], [])
    assert shelves(asked(ward, TAP, "T9", as_of_no=before.cut.number)) == ([], [number])
    with pytest.raises(NumberUsed):
        enter(ward, number=number)
    ward.sign(circuit, "primer")
    with ward.services.writes() as session:
        assert rebuild(session, ward.site.id).changed == ()
        session.rollback()
