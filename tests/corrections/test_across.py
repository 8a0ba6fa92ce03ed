"""What a correction touches besides the circuit: the stock book, blood, an opening since.

Rules: the design's use-by limits; common practice, no source.
"""

from datetime import timedelta
from uuid import UUID

from tests.corrections.test_acts import RIGHT, WRONG, entries_of, mend, mend_lot
from tests.make import HOUR, TAP, Ward, code
from tests.stock_acts import Shelves
from traceability.actions.circuit.open_up import OpenUp, open_up
from traceability.storage.rebuild import rebuild


def unchanged(ward: Ward) -> tuple[str, ...]:
    """Return the tables that a rebuild would make otherwise."""
    with ward.services.writes() as session:
        changed = rebuild(session, ward.site.id).changed
        session.rollback()
    return changed


def test_a_mistyped_lot_set_right_gives_its_piece_back_to_the_shelf(ward: Ward) -> None:
    shelves = Shelves(ward)
    for lot in (WRONG, RIGHT):
        shelves.receive(code(TAP, lot), packs=5)
    ward.now += HOUR
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, WRONG))
    assert shelves.levels(TAP) == {(WRONG, "trolley 1"): 4, (RIGHT, "trolley 1"): 5}
    ward.now += HOUR
    mend_lot(ward, WRONG, RIGHT)
    assert shelves.levels(TAP) == {(WRONG, "trolley 1"): 5, (RIGHT, "trolley 1"): 4}
    mend(ward, entries_of(ward, "corrected")[-1].number, void=True)
    assert shelves.levels(TAP) == {(WRONG, "trolley 1"): 4, (RIGHT, "trolley 1"): 5}
    assert unchanged(ward) == ()


def test_blood_that_never_was_gives_the_prime_its_use_by_back(ward: Ward) -> None:
    circuit = ward.prime()
    before = ward.facts(circuit).use_by
    ward.now += HOUR
    ward.give(circuit, name="Red cells", blood=True)
    short = ward.facts(circuit).use_by
    assert before
    assert short
    assert short == ward.now + 4 * HOUR < before
    mend(ward, entries_of(ward, "additive-given")[-1].number, void=True)
    assert ward.facts(circuit).use_by == before
    assert not [part for part in ward.facts(circuit).now_in if part.slot == "additive"]
    assert unchanged(ward) == ()


def opened(ward: Ward, circuit: UUID) -> None:
    open_up(OpenUp(sent=ward.sent(), circuit_id=circuit, at=ward.now), site=ward.site)


def test_a_correction_leaves_an_opened_circuit_its_shorter_use_by(ward: Ward) -> None:
    circuit = ward.prime()
    ward.now += HOUR
    opened(ward, circuit)
    short = ward.facts(circuit).use_by
    assert short
    assert short - ward.now <= timedelta(days=5, hours=1)
    ward.now += HOUR
    lot = next(part.lot for part in ward.facts(circuit).now_in if part.slot.startswith("tap"))
    assert lot
    mend_lot(ward, lot, RIGHT, expiry="2032-12-31")
    assert ward.facts(circuit).use_by == short
    assert unchanged(ward) == ()
