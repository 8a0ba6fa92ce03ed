"""What a scan at the trolley comes to.

Source of the rules: common practice, no source; settled in review with people of the trade (stop,
look again, go on, by situation).
"""

from datetime import timedelta
from uuid import uuid4

import pytest
from sqlalchemy import select, text

from tests.make import (
    NOON,
    OTHER_PACK,
    OXYGENATOR,
    PACK,
    SALINE,
    STRONG_SALINE,
    SYRINGE,
    TAP,
    TAP_CARTON,
    TAPS,
    TROLLEY_2,
    UNKNOWN,
    Ward,
    code,
)
from traceability.domain.keys import lot_key, product_key
from traceability.domain.parts import PartState
from traceability.errors import NotAllowed, NothingToKeep, NothingToUndo
from traceability.storage.circuits import Circuit, Part
from traceability.storage.ledger import LedgerEvent
from traceability.storage.lookup import in_place
from traceability.storage.metadata import metadata


def placed(ward: Ward, circuit: object) -> dict[str, int]:
    """Return how many parts each slot holds."""
    with ward.reads() as session:
        rows = session.execute(
            select(Part.slot).filter_by(circuit_id=circuit, valid_to=None, superseded_no=None)
        )
        found: dict[str, int] = {}
        for row in rows:
            found[row.slot] = found.get(row.slot, 0) + 1
    return found


def test_a_pack_fills_the_places_it_contains_as_inner_lot_not_known(ward: Ward) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, code(PACK, "PK26-104"))
    assert (done.verdict, done.code) == ("accepted", "placed")
    inside = [part for part in ward.facts(circuit).now_in if part.state is PartState.INSIDE_PACK]
    assert {part.slot for part in inside} == {"drain", "oxygenator"}


def test_a_serial_scanned_from_the_inner_part_makes_its_place_whole(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(PACK, "PK26-104"))
    done = ward.scan(circuit, code(OXYGENATOR, "3F0117", serial="000452"))
    assert done.verdict == "accepted"
    oxygenator = next(part for part in ward.facts(circuit).now_in if part.slot == "oxygenator")
    assert (oxygenator.lot, oxygenator.serial) == ("3F0117", "000452")
    assert placed(ward, circuit)["oxygenator"] == 1


def test_five_pieces_of_one_lot_are_five_scans_and_one_pull_is_one(ward: Ward) -> None:
    circuit = ward.begin()
    first = ward.scan(circuit, code(TAP, "T77-0B1"))
    echo = ward.scan(circuit, code(TAP, "T77-0B1"), at=ward.now + timedelta(milliseconds=1400))
    assert (first.code, echo.code, echo.verdict) == ("placed", "same-scan", "accepted")
    ward.now += timedelta(seconds=10)
    again = ward.scan(circuit, code(TAP, "T77-0B1"))
    assert again.code == "placed"
    assert sum(placed(ward, circuit).get(tap, 0) for tap in TAPS) == 2


def test_the_same_lot_from_another_trolley_at_once_is_looked_at(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77-0B1"))
    other = ward.scan(
        circuit,
        code(TAP, "T77-0B1"),
        sent=ward.sent(device=TROLLEY_2),
        at=ward.now + timedelta(seconds=1),
    )
    assert (other.verdict, other.code) == ("look-again", "other-device-same-lot")


def test_one_more_than_the_sheet_says_is_looked_at_and_kept_with_a_reason(ward: Ward) -> None:
    circuit = ward.begin()
    for _ in TAPS:
        ward.scan(circuit, code(TAP, "T77-0B1"))
    done = ward.scan(circuit, code(TAP, "T77-0B1"))
    assert (done.verdict, done.code) == ("look-again", "all-recorded")
    assert ward.go_on(circuit, reason="by-hand").code == "placed"
    assert sum(placed(ward, circuit)[tap] for tap in TAPS) == 4


@pytest.mark.parametrize(
    ("scan", "finding"),
    [
        (code(OTHER_PACK, "PK-1"), "wrong-type"),
        (code(STRONG_SALINE, "4K0"), "wrong-fluid"),
    ],
)
def test_a_wrong_type_or_fluid_stops_and_only_a_consultant_goes_on(
    ward: Ward, scan: str, finding: str
) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, scan)
    assert (done.verdict, done.code) == ("stop", finding)
    assert placed(ward, circuit) == {}
    with pytest.raises(NotAllowed):
        ward.go_on(circuit, reason="patient-waits")
    by = ward.people["consultant"]
    assert ward.go_on(circuit, reason="patient-waits", by=by).verdict == "accepted"


def test_an_expired_part_stops_and_a_signer_goes_on(ward: Ward) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, code(SYRINGE, "OLD", expires="310505"))
    assert (done.verdict, done.code) == ("stop", "expired")
    assert ward.go_on(circuit, reason="no-other").verdict == "accepted"


def test_a_part_may_be_used_until_the_end_of_its_printed_day(ward: Ward) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, code(SYRINGE, "TODAY", expires="310506"))
    assert done.code == "short-dated"


def test_a_held_lot_stops(ward: Ward) -> None:
    product = product_key("gs1", TAP, site_id=ward.site.id)
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77-0B1"))
    ward.at("pharmacist").hold("lot", lot_key(product, "T77-0B1"))
    done = ward.scan(circuit, code(TAP, "T77-0B1"))
    assert (done.verdict, done.code, done.facts["notice"]) == ("stop", "on-hold", "N-26-014")


def test_a_short_dated_bag_is_looked_at_and_then_decides_the_use_by(ward: Ward) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, code(SALINE, "4K0O02B8", expires="310520"))
    assert (done.verdict, done.code) == ("look-again", "short-dated")
    assert ward.go_on(circuit, reason="no-other").code == "placed"
    ward.end(circuit, lots_not_recorded=True)
    facts = ward.facts(circuit)
    assert facts.decides["code"] == "part-expiry"
    # 20 May 2031 ends at 22:00 UTC in the unit's zone (summer time).
    assert facts.use_by is not None
    assert f"{facts.use_by:%Y-%m-%d %H:%M}" == "2031-05-20 22:00"


def test_one_serial_cannot_be_in_twice_and_elsewhere_is_kept_as_disputed(ward: Ward) -> None:
    first, second = ward.begin(), ward.begin()
    scan = code(OXYGENATOR, "3F0117", serial="000452")
    ward.scan(first, scan)
    assert ward.scan(first, scan).code == "same-serial-here"
    with pytest.raises(NothingToKeep):
        ward.go_on(first, reason="by-hand")
    elsewhere = ward.scan(second, scan)
    assert (elsewhere.verdict, elsewhere.code) == ("stop", "same-serial-elsewhere")
    kept = ward.go_on(second, reason="by-hand")
    assert (kept.code, kept.disputed) == ("placed", True)


def test_an_unknown_product_is_asked_for_once_and_the_same_scan_then_counts(ward: Ward) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, code(UNKNOWN, "L1"))
    assert (done.verdict, done.code) == ("look-again", "unknown-product")
    ward.product(UNKNOWN, "Syringe 20 ml", "syringe")
    assert ward.go_on(circuit).code == "placed"
    assert placed(ward, circuit) == {"syringe": 1}


def test_a_code_without_a_lot_can_be_said_to_be_not_readable(ward: Ward) -> None:
    circuit = ward.begin()
    assert ward.scan(circuit, code(SYRINGE, expires="")).code == "lot-not-in-code"
    done = ward.say(circuit, "lot-not-readable")
    assert done.facts["slot"] == "syringe"
    syringe = next(part for part in ward.facts(circuit).now_in if part.slot == "syringe")
    assert (syringe.state, syringe.name) == (PartState.LOT_NOT_READABLE, "Syringe 50 ml")


def test_two_codes_of_one_pack_are_joined(ward: Ward) -> None:
    circuit = ward.begin()
    assert ward.scan(circuit, f"]C101{SYRINGE}").code == "lot-not-in-code"
    done = ward.scan(circuit, "]C11733033110SY0B40")
    assert (done.code, done.facts["lot"]) == ("placed", "SY0B40")


def test_half_a_label_alone_is_never_taken(ward: Ward) -> None:
    circuit = ward.begin()
    assert ward.scan(circuit, "]C11733033110SY0B40").code == "half-label"
    assert placed(ward, circuit) == {}


@pytest.mark.parametrize(
    "scan",
    [code(SYRINGE, "SY1", expires="781231"), code(OXYGENATOR, "000452", serial="000452")],
)
def test_what_is_seldom_printed_is_compared_before_it_is_believed(ward: Ward, scan: str) -> None:
    circuit = ward.begin()
    asked = ward.scan(circuit, scan)
    assert (asked.verdict, asked.code) == ("look-again", "compare")
    assert ward.go_on(circuit, reading="as-read").code == "placed"


def test_a_lost_separator_offers_both_readings_and_takes_none_by_itself(ward: Ward) -> None:
    circuit = ward.begin()
    scan = f"]d201{SYRINGE}10SY717330331"
    assert ward.scan(circuit, scan).code == "compare"
    done = ward.go_on(circuit, reading="alternative")
    assert (done.facts["lot"], done.facts["expiry"]) == ("SY7", "2033-03-31")


def test_a_carton_asks_how_many_and_says_that_they_were_counted(ward: Ward) -> None:
    circuit = ward.begin()
    asked = ward.scan(circuit, code(TAP_CARTON, "T77-0B1"))
    assert (asked.code, asked.facts["units"]) == ("carton", 25)
    done = ward.again(circuit, 3)
    assert (done.code, done.facts["added"]) == ("placed", 3)
    taps = [part for part in ward.facts(circuit).now_in if part.kind == "tap"]
    assert [part.known for part in taps] == ["counted"] * 3


def test_a_second_lot_asks_where_it_goes(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77-0B1"))
    asked = ward.scan(circuit, code(TAP, "T81-002"))
    assert asked.code == "which-place"
    ward.go_on(circuit, slot="tap-oxygenator")
    by_slot = {part.slot: part.lot for part in ward.facts(circuit).now_in}
    assert by_slot == {"tap-pump": "T77-0B1", "tap-oxygenator": "T81-002"}


@pytest.mark.parametrize(
    ("scan", "reason"),
    [
        ("", "empty"),
        ("\r\n", "empty"),
        ("x" * 10_240, "too-long"),
        ("]d20109521234543214", "bad-check-digit"),
        ("X\x1e\x04\x1e\x04Y", "bad-charset"),
    ],
)
def test_what_cannot_be_read_is_asked_back_and_nothing_is_added(
    ward: Ward, scan: str, reason: str
) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, scan)
    assert (done.verdict, done.facts["reason"]) == ("look-again", reason)
    assert placed(ward, circuit) == {}


CANARY = "95212340000000012V"


@pytest.mark.parametrize("scan", [f"]d28018{CANARY}", f"+/{CANARY}", f"(8018){CANARY}"])
def test_a_wristband_at_the_trolley_is_written_nowhere(ward: Ward, scan: str) -> None:
    circuit = ward.begin()
    assert ward.scan(circuit, scan).code == "wristband"
    with ward.reads() as session:
        for table in metadata.sorted_tables:
            rows = session.execute(select(table)).all()
            assert CANARY not in repr(rows), table.name


def test_an_unknown_code_stands_in_no_event(ward: Ward) -> None:
    circuit = ward.begin()
    assert ward.scan(circuit, "Anna, bed 4").code == "unknown-product"
    with ward.reads() as session:
        assert "Anna" not in "".join(session.scalars(select(LedgerEvent.body)))
        kept = session.execute(text("SELECT text FROM kept_apart")).scalars().all()
    assert kept == ["Anna, bed 4"]


def test_undo_takes_back_the_last_act_of_this_device_only(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77-0B1"))
    with pytest.raises(NothingToUndo):
        ward.undo(circuit, device=TROLLEY_2)
    ward.undo(circuit)
    assert placed(ward, circuit) == {}
    with pytest.raises(NothingToUndo):
        ward.undo(circuit)


def test_undo_of_an_inner_part_gives_the_pack_its_place_back(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(PACK, "PK26-104"))
    ward.scan(circuit, code(OXYGENATOR, "3F0117", serial="000452"))
    ward.undo(circuit)
    with ward.reads() as session:
        row = session.scalars(select(Circuit).filter_by(id=circuit)).one()
        held = {each.slot: each.state for each in in_place(session, row)}
    assert held["oxygenator"] is PartState.INSIDE_PACK


def test_a_dropped_part_stays_on_record_and_its_place_is_empty_again(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77-0B1"))
    ward.drop(circuit)
    ward.now += timedelta(seconds=30)
    ward.scan(circuit, code(TAP, "T77-0B1"))
    taps = [part for part in ward.facts(circuit).parts if part.kind == "tap"]
    assert [part.until is None for part in taps] == [False, True]


def test_a_scan_after_the_prime_has_ended_is_kept_and_adds_nothing(ward: Ward) -> None:
    circuit = ward.prime()
    before = placed(ward, circuit)
    done = ward.scan(circuit, code(TAP, "T99"))
    assert (done.verdict, done.code) == ("look-again", "prime-has-ended")
    assert placed(ward, circuit) == before
    with ward.reads() as session:
        kinds = session.scalars(select(LedgerEvent.kind).order_by(LedgerEvent.number)).all()
    assert kinds[-1] == "scan-questioned", "and it is kept"


def test_an_ean_with_an_add_on_and_a_second_symbol_are_one_pack(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, f"]E3{TAP[1:]}12")
    done = ward.scan(circuit, "]C11733033110AB1")
    assert done.code == "placed"
    part = next(each for each in ward.facts(circuit).now_in if each.slot == "tap-pump")
    assert (part.lot, part.expiry) == ("AB1", "2033-03-31")


def test_another_reading_that_contradicts_itself_is_not_offered(ward: Ward) -> None:
    circuit = ward.begin()
    # The lot ends like a second, different expiry: with a separator there the pack has two.
    done = ward.scan(circuit, f"]d201{TAP}1733033110A17280101")
    assert (done.code, done.facts["has_other"]) == ("compare", False)
    assert ward.go_on(circuit, reading="alternative").code == "compare"
    assert ward.go_on(circuit, reading="as-read").code == "placed"
    part = next(each for each in ward.facts(circuit).now_in if each.slot == "tap-pump")
    assert part.lot == "A17280101"


def test_another_reading_of_half_a_label_asks_for_the_other_half(ward: Ward) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, "]C110AB17271231")
    assert (done.code, done.facts["other_lot"]) == ("compare", "AB")
    assert ward.go_on(circuit, reading="alternative").code == "half-label"


def test_a_repeat_gives_the_first_answer_and_adds_nothing(ward: Ward) -> None:
    circuit, request = ward.begin(), uuid4()
    asked = {"sent": ward.sent(request), "at": NOON}
    first = ward.scan(circuit, code(TAP, "T77-0B1"), **asked)
    assert ward.scan(circuit, code(TAP, "T77-0B1"), **asked) == first
    assert placed(ward, circuit) == {"tap-pump": 1}


def test_a_device_clock_far_ahead_is_not_believed_and_said(ward: Ward) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, code(TAP, "T1"), at=NOON + timedelta(days=3))
    assert done.cautions == ("device-time-not-believed",)
    part = ward.facts(circuit).now_in[0]
    assert part.from_ == ward.now
