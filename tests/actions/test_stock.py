"""Stock on the shelves: received, moved, counted, taken out, used by primes.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, select, text

from tests.make import (
    HOUR,
    OXYGENATOR,
    PACK,
    SALINE,
    TAP,
    TAP_CARTON,
    TAPS,
    UNKNOWN,
    Ward,
    code,
    opened_ward,
)
from tests.stock_acts import Shelves
from traceability.errors import BadScan, BadValue, NotAllowed, UnknownCode
from traceability.storage.items import Lot
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.metadata import metadata
from traceability.storage.rebuild import rebuild
from traceability.storage.stock import SOME, StockLevel, StockReceipt

LOT = "T77-0B1"


@pytest.fixture
def shelves(ward: Ward) -> Shelves:
    return Shelves(ward)


def unchanged_by_rebuild(ward: Ward) -> bool:
    with ward.services.writes() as session:
        found = rebuild(session, ward.site.id)
        session.rollback()
    return found.changed == ()


def test_a_carton_counts_its_pieces_and_a_pack_one(shelves: Shelves) -> None:
    done = shelves.receive(code(TAP_CARTON, LOT))
    assert (done.facts["quantity"], done.facts["a_pack"]) == (25, 25)
    shelves.ward.now += HOUR
    shelves.receive(code(TAP, LOT), packs=3)
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 28}
    assert unchanged_by_rebuild(shelves.ward)


def test_a_receipt_keeps_what_came_with_it_and_who_sent_it_apart(shelves: Shelves) -> None:
    shelves.receive(code(TAP, LOT), box="BOX-17", shipped="2031-05-02", supplier="Van of A. Person")
    with shelves.ward.reads() as session:
        receipt = session.scalars(select(StockReceipt)).one()
        kept = session.get_one(KeptApart, receipt.supplier_id)
        bodies = "".join(session.scalars(select(LedgerEvent.body)))
        assert (receipt.box, str(receipt.shipped), str(receipt.expiry)) == (
            "BOX-17",
            "2031-05-02",
            "2033-03-31",
        )
        assert kept.text == "Van of A. Person"
        assert "Van of" not in bodies
        assert session.scalars(select(Lot.expiry)).one() == receipt.expiry


def test_the_same_request_again_books_in_once(shelves: Shelves) -> None:
    sent = shelves.ward.at("stock").sent(uuid4())
    first = shelves.receive(code(TAP, LOT), sent=sent)
    assert shelves.receive(code(TAP, LOT), sent=sent) == first
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 1}


def test_one_pull_of_the_trigger_twice_is_one_pack(shelves: Shelves) -> None:
    shelves.receive(code(TAP, LOT))
    with pytest.raises(BadScan) as caught:
        shelves.receive(code(TAP, LOT))
    assert caught.value.facts["why"] == "stock-same-scan"
    shelves.ward.now += timedelta(seconds=2)
    shelves.receive(code(TAP, LOT))
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 2}


def test_one_serial_comes_in_once(shelves: Shelves) -> None:
    shelves.receive(code(OXYGENATOR, "3F0117", serial="OX-1"))
    shelves.ward.now += HOUR
    with pytest.raises(BadScan) as caught:
        shelves.receive(code(OXYGENATOR, "3F0117", serial="OX-1"))
    assert caught.value.facts["why"] == "stock-unit-again"
    with pytest.raises(BadScan):
        shelves.receive(code(OXYGENATOR, "3F0117", serial="OX-2"), packs=2)
    shelves.receive(code(OXYGENATOR, "3F0117", serial="OX-2"))
    assert shelves.of(OXYGENATOR).total == 2


def test_two_halves_of_a_label_are_one_pack(shelves: Shelves) -> None:
    first, second = f"]C101{TAP}", f"]C117330331{'10'}{LOT}"
    with pytest.raises(BadScan) as caught:
        shelves.receive(second)
    assert caught.value.facts["why"] == "half-label"
    shelves.receive(first, before=second)
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 1}


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (code(UNKNOWN, "X1"), "unknown-product"),
        (code(TAP), "stock-lot-missing"),
        ("]d28018952123456789012345", "wristband"),
        ("  ", "unreadable"),
        ("x" * 401, "unreadable"),
    ],
)
def test_what_names_no_piece_yet_is_asked_back_and_nothing_is_written(
    shelves: Shelves, text: str, why: str
) -> None:
    with pytest.raises(BadScan) as caught:
        shelves.receive(text)
    assert caught.value.facts["why"] == why
    with shelves.ward.reads() as session:
        assert session.scalars(select(StockReceipt)).all() == []


def test_a_lot_in_print_is_written_beside_a_code_without_one(shelves: Shelves) -> None:
    shelves.receive(code(TAP, expires=""), lot_text="T9", expiry="2033-01-31")
    (level,) = shelves.of(TAP).levels
    assert (level.lot, str(level.expiry)) == ("T9", "2033-01-31")
    with pytest.raises(BadScan) as caught:
        shelves.receive(code(TAP, "T10"), lot_text="T9")
    assert caught.value.facts["why"] == "stock-other-lot"


@pytest.mark.parametrize(
    "changes", [{"packs": 0}, {"packs": 100_001}, {"expiry": "31.3.2033"}, {"box": "b" * 61}]
)
def test_what_cannot_be_is_refused(shelves: Shelves, changes: dict[str, Any]) -> None:
    with pytest.raises(BadValue):
        shelves.receive(code(TAP, LOT, expires=""), **changes)


def test_only_who_keeps_stock_books(shelves: Shelves) -> None:
    with pytest.raises(NotAllowed):
        shelves.receive(code(TAP, LOT), sent=shelves.ward.at("helper").sent())


def test_what_speaks_against_a_lot_is_said_and_it_is_booked_in(shelves: Shelves) -> None:
    done = shelves.receive(code(TAP, LOT))
    assert done.cautions == ()
    with shelves.ward.reads() as session:
        lot_id = session.scalars(select(Lot.id)).one()
    shelves.ward.at("pharmacist").hold("lot", lot_id)
    shelves.ward.now += HOUR
    assert shelves.receive(code(TAP, LOT)).cautions == ("stock-on-hold",)
    assert shelves.receive(code(TAP, "T77-OB1")).cautions == ("stock-lot-alike",)
    assert shelves.receive(code(TAP, "OLD", expires="310505")).cautions == ("stock-expired",)
    shelves.ward.now += HOUR
    assert shelves.receive(code(TAP, "OLD", expires="330331")).cautions == ("stock-other-expiry",)
    assert shelves.of(TAP).total == 5
    assert shelves.of(TAP).usable == 1


def test_ward_stock_has_a_receipt_and_no_number(shelves: Shelves) -> None:
    known = {"substance": "Sodium chloride 0.9 %", "volume_ml": 1000, "maker": "Farrowend Fluids"}
    shelves.ward.at("stock").product(SALINE, "Saline", "fluid", counted=False, **known)
    shelves.receive(code(SALINE, "B1"))
    assert not shelves.of(SALINE).in_book
    assert shelves.of(SALINE).levels == ()
    with pytest.raises(BadValue):
        shelves.count(SALINE, ("B1", "trolley 1", 3))


def test_moves_counts_and_pieces_out_change_the_place_they_name(shelves: Shelves) -> None:
    shelves.receive(code(TAP_CARTON, LOT), place="box 3")
    shelves.move(TAP, LOT, 10, "box 3", "trolley 1")
    assert shelves.levels(TAP) == {(LOT, "box 3"): 15, (LOT, "trolley 1"): 10}
    shelves.out(TAP, LOT, 2, "trolley 1", "practice")
    done = shelves.count(TAP, (LOT, "box 3", 14), (LOT, "trolley 1", 9))
    assert done.facts["difference"] == 0 - 1 + 1
    assert shelves.levels(TAP) == {(LOT, "box 3"): 14, (LOT, "trolley 1"): 9}
    wrong_ones: list[Any] = [
        lambda: shelves.move(TAP, LOT, 1, "box 3", "box 3"),
        lambda: shelves.out(TAP, LOT, 0, "box 3"),
        lambda: shelves.out(TAP, LOT, 1, "box 3", "tired"),
        lambda: shelves.count(TAP),
        lambda: shelves.count(TAP, (LOT, "box 3", 1), (LOT, "box 3", 2)),
        lambda: shelves.count(UNKNOWN, (LOT, "box 3", 1)),
    ]
    for wrong in wrong_ones:
        with pytest.raises((BadValue, UnknownCode)):
            wrong()
    assert unchanged_by_rebuild(shelves.ward)


def test_a_prime_takes_what_it_uses_dropped_parts_too(shelves: Shelves) -> None:
    ward = shelves.ward
    shelves.receive(code(TAP_CARTON, LOT))
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, LOT))
    ward.scan(circuit, code(TAP, LOT))
    ward.drop(circuit)
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 23}
    ward.scan(circuit, code(TAP, LOT))
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 22}
    ward.undo(circuit)
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 23}
    ward.undo(circuit)  # it had not been dropped after all: it is in, and was used
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 23}
    assert unchanged_by_rebuild(ward)


def test_what_was_never_booked_in_is_owed_and_stops_nothing(shelves: Shelves) -> None:
    shelves.receive(code(TAP, "OTHER"))
    circuit = shelves.ward.begin()
    assert shelves.ward.scan(circuit, code(TAP, LOT)).code == "placed"
    assert shelves.levels(TAP) == {("OTHER", "trolley 1"): 1, (LOT, ""): -1}
    assert shelves.of(TAP).to_count
    shelves.count(TAP, (LOT, "trolley 1", 7))
    assert shelves.levels(TAP) == {("OTHER", "trolley 1"): 1, (LOT, "trolley 1"): 7}
    assert unchanged_by_rebuild(shelves.ward)


def test_before_the_first_receipt_or_count_there_is_no_number(shelves: Shelves) -> None:
    shelves.ward.prime(LOT)
    assert shelves.levels(TAP) == {}
    assert shelves.can_prime().primes is None
    assert "Three-way tap" in shelves.can_prime().not_in_book


def test_what_the_pack_brought_is_not_taken_from_the_shelf(shelves: Shelves) -> None:
    ward = shelves.ward
    shelves.receive(code(OXYGENATOR, "3F0117", serial="OX-9"))
    circuit = ward.begin()
    ward.scan(circuit, code(OXYGENATOR, "3F0117", serial="OX-4"))
    ward.scan(circuit, code(PACK, "PK26-104"))
    assert shelves.of(OXYGENATOR).total == 1


def test_a_count_stands_against_what_was_used_before_it_and_comes_later(shelves: Shelves) -> None:
    ward = shelves.ward
    shelves.receive(code(TAP_CARTON, LOT))
    circuit = ward.begin()
    ward.now += HOUR
    shelves.count(TAP, (LOT, "trolley 1", 20))
    queued = ward.now - HOUR / 2
    ward.scan(circuit, code(TAP, LOT), at=queued)
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 20}
    ward.scan(circuit, code(TAP, LOT))
    assert shelves.levels(TAP) == {(LOT, "trolley 1"): 19}
    assert unchanged_by_rebuild(ward)


ACTS = st.lists(
    st.tuples(
        st.sampled_from(
            ["receive", "move", "count", "out", "use", "use", "use", "drop", "undo", "begin"]
        ),
        st.sampled_from(["A1", "B2"]),
        st.sampled_from(["trolley 1", "box 3"]),
        st.integers(1, 9),
    ),
    max_size=24,
)


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("stock") / "template.db"
    engine = create_engine(f"sqlite:///{path}")
    metadata.create_all(engine)
    engine.dispose()
    return path


@settings(max_examples=25)
@given(acts=ACTS)
def test_levels_are_the_sum_of_all_acts_whatever_their_order(
    template: Path, tmp_path_factory: pytest.TempPathFactory, acts: list[tuple[str, str, str, int]]
) -> None:
    """A law: against a count by hand that knows no rule but "a count says what is there"."""
    folder = tmp_path_factory.mktemp("one")
    (folder / "s.db").write_bytes(template.read_bytes())
    with opened_ward(f"sqlite:///{folder / 's.db'}", folder) as ward:
        shelves = Shelves(ward)
        by_hand = _play(shelves, acts)
        assert Counter(_totals(shelves)) == Counter(by_hand)
        with ward.reads() as session:
            rows = session.scalars(select(StockLevel).where(SOME)).all()
            summed = session.execute(
                text(
                    "SELECT count(*) FROM (SELECT lot_id, place_id, sum(quantity) AS q "
                    "FROM stock_change GROUP BY 1, 2 HAVING q <> 0) AS s"
                )
            ).scalar_one()
        assert summed == len(rows)
        assert unchanged_by_rebuild(ward)


def _totals(shelves: Shelves) -> dict[str, int]:
    totals: Counter[str] = Counter()
    for (lot, _), number in shelves.levels(TAP).items():
        totals[lot] += number
    return {lot: number for lot, number in totals.items() if number}


DROPPED, NOT_BOOKED = "", "-"


@dataclass
class ByHand:
    """The shelves kept by hand beside the record: one number a lot."""

    shelves: Shelves
    circuit: UUID
    totals: Counter[str] = field(default_factory=Counter)
    done: list[tuple[str, int]] = field(default_factory=list)
    """What undo would take back on this circuit, newest last: the lot that was used, or that a
    piece was dropped or used before anything was booked in; and when."""
    counted_at: dict[str, int] = field(default_factory=dict)
    begun: bool = False

    def receive(self, _: int, lot: str, place: str, units: int) -> None:
        self.shelves.receive(code(TAP, lot), packs=units, place=place)
        self.totals[lot] += units
        self.begun = True

    def move(self, _: int, lot: str, place: str, units: int) -> None:
        self.shelves.move(TAP, lot, units, place, "bed 4")
        self.begun = True

    def out(self, _: int, lot: str, place: str, units: int) -> None:
        self.shelves.out(TAP, lot, units, place)
        self.totals[lot] -= units
        self.begun = True

    def count(self, number: int, lot: str, place: str, units: int) -> None:
        before = self.shelves.levels(TAP)
        self.shelves.count(TAP, (lot, place, units))
        self.totals[lot] += units - before.get((lot, place), 0) - before.get((lot, ""), 0)
        self.counted_at[lot] = number
        self.begun = True

    def use(self, number: int, lot: str, _place: str, _units: int) -> None:
        """Scan a piece into the first place that takes it."""
        for slot in ("", *TAPS):
            if self.shelves.ward.scan(self.circuit, code(TAP, lot), slot=slot).code == "placed":
                self.totals[lot] -= self.begun
                self.done.append((lot if self.begun else NOT_BOOKED, number))
                return

    def drop(self, number: int, *_: object) -> None:
        if self.done and self.done[-1][0] != DROPPED:
            self.shelves.ward.drop(self.circuit)
            self.done.append((DROPPED, number))

    def undo(self, *_: object) -> None:
        if not self.done:
            return
        self.shelves.ward.undo(self.circuit)
        lot, when = self.done.pop()
        if lot not in {DROPPED, NOT_BOOKED} and self.counted_at.get(lot, -1) < when:
            self.totals[lot] += 1

    def begin(self, *_: object) -> None:
        self.circuit, self.done = self.shelves.ward.begin(), []


def _play(shelves: Shelves, acts: list[tuple[str, str, str, int]]) -> dict[str, int]:
    """Do the acts, and return the totals of each lot by hand."""
    hand = ByHand(shelves, shelves.ward.begin())
    for number, (act, *rest) in enumerate(acts):
        shelves.ward.now += timedelta(seconds=5)
        getattr(hand, act)(number, *rest)
    return {lot: number for lot, number in hand.totals.items() if number}
