"""An answer as the record of notices keeps it: hand-made answers in, rows of ids out."""

from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import UUID

from tests.make import HOUR, NOON, Ward
from tests.notices.work import scope_of
from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import Subject, key_of
from traceability.domain.notice_scope import Scope, read_scope
from traceability.domain.spans import Span
from traceability.reads.row_names import row_names
from traceability.recall.answered import (
    Answer,
    CircuitRow,
    Coverage,
    MetRow,
    PartRow,
    PatientRow,
    StockRow,
)
from traceability.recall.cut import Cut
from traceability.recall.for_notice import Asking, ask

SITE, RUN, PATIENT = UUID(int=5), UUID(int=51), UUID(int=52)


def part(**changes: Any) -> PartRow:
    usual = PartRow(
        part_id=UUID(int=1),
        slot="tap-middle",
        ordinal=1,
        kind="tap",
        product_id=UUID(int=2),
        lot="T77-0B1",
        serial=None,
        known="scanned",
        state="recorded",
        start=NOON,
        end=NOON + HOUR,
        shelf=Shelf.CONFIRMED,
        reasons=(),
    )
    return replace(usual, **changes)


MET = MetRow(
    run_id=RUN,
    run="R-0001",
    taken_at=NOON,
    flow_from=NOON,
    end=None,
    disputed=False,
    transferred=False,
    shelf=Shelf.CONFIRMED,
    reasons=(),
    sure=(),
    possible=(),
)


def circuit(**changes: Any) -> CircuitRow:
    usual = CircuitRow(
        site_id=SITE,
        circuit_id=UUID(int=31),
        number="C-0001",
        shelf=Shelf.CONFIRMED,
        reasons=(),
        parts=(part(), part(start=NOON + HOUR, end=None, lot="T78"), part(start=NOON, end=NOON)),
        met=(MET,),
        going_on=True,
        begun_at=NOON,
    )
    return replace(usual, **changes)


def patient(**changes: Any) -> PatientRow:
    usual = PatientRow(
        site_id=SITE,
        patient_id=PATIENT,
        run_ids=(RUN,),
        runs=("R-0001",),
        circuit_ids=(UUID(int=31),),
        shelf=Shelf.CANNOT_BE_EXCLUDED,
        reasons=("flow_on_not_recorded",),
        parts=(),
        sure=(),
        possible=(Span(start=NOON, end=NOON + HOUR),),
        continues_beyond_our_record=False,
        going_on=False,
    )
    return replace(usual, **changes)


def stock(**changes: Any) -> StockRow:
    usual = StockRow(
        site_id=SITE,
        product_id=UUID(int=2),
        lot_id=UUID(int=3),
        lot="T77-0B1",
        place_id=UUID(int=4),
        quantity=7,
        shelf=Shelf.CONFIRMED,
        reasons=(),
        on_hold=False,
    )
    return replace(usual, **changes)


def asked(ward: Ward, **rows: Any) -> Asking:
    def made(session: object, scope: Scope, *, now: object, as_of_no: int | None = None) -> Answer:
        usual = Answer(
            scope=scope,
            products=(),
            kinds=frozenset(),
            cut=Cut(number=40, recorded_at=NOON, device_id=None, sites=(SITE,), latest=True),
            asked_at=NOON,
            circuits=(),
            patients=(),
            stock=(),
            stock_left={(UUID(int=2), "T77-0B1"): (3, 7), (UUID(int=2), "T78"): None},
            excluded=12,
            runs_excluded=3,
            coverage=Coverage(
                circuits=13,
                complete=11,
                with_gap=1,
                unknown=1,
                runs=4,
                parts=39,
                parts_with_lot=38,
                first_at=NOON - timedelta(days=400),
            ),
            contradicted=("tap",),
            not_narrowed=(),
        )
        return replace(usual, **rows)

    with ward.reads() as reads:
        return ask(reads, read_scope(scope_of("T77-0B1")), made, now=NOON)


def test_rows_hold_ids_shelves_times_and_lots_and_no_text_of_a_patient(ward: Ward) -> None:
    found = asked(
        ward,
        circuits=(circuit(),),
        patients=(patient(), patient(patient_id=None, run_ids=(UUID(int=61),))),
        stock=(stock(), stock(lot_id=None, lot=None, quantity=-2, shelf=Shelf.INFERRED)),
    )
    rows = {key_of(row.key).subject: row for row in found.rows}
    assert rows[Subject.CIRCUIT].possible == (Span(start=NOON),), "times of its parts, joined"
    assert rows[Subject.CIRCUIT].lots == ("T77-0B1", "T78")
    assert rows[Subject.PATIENT].circuits == (UUID(int=31),)
    assert key_of(rows[Subject.RUN].key).ids == (UUID(int=61),)
    assert len({row.key for row in found.rows}) == 5
    assert found.counts == {
        "circuit confirmed": 1,
        "patient cannot_be_excluded": 2,
        "stock confirmed": 1,
        "stock inferred": 1,
        "units confirmed": 7,
        "circuit excluded": 12,
        "patient excluded": 3,
    }
    assert found.coverage["left"] == [
        [str(UUID(int=2)), "T77-0B1", 3, 7],
        [str(UUID(int=2)), "T78", None, None],
    ]


def test_a_machine_of_the_register_is_a_row_of_its_own_whatever_it_served(ward: Ward) -> None:
    first, second = ward.prime(), ward.prime()
    for each in (first, second):
        ward.take(each)
    heater = ward.machine("HC-1")
    uses = []
    for each in (first, second):
        use = ward.at("bedside").equip(equipment_id=heater, circuit_id=each).subject
        uses.append(use)
        ward.now += HOUR
        ward.at("bedside").unequip(use)
    met = [
        part(part_id=use, kind="heater-cooler", slot="", lot=None, serial="HC-1", shelf=shelf)
        for use, shelf in zip(uses, (Shelf.CANNOT_BE_EXCLUDED, Shelf.CONFIRMED), strict=True)
    ]
    unknown = part(part_id=UUID(int=99), kind="heater-cooler", slot="", serial="HC-9")
    found = asked(
        ward,
        patients=(
            patient(parts=(met[0],)),
            patient(patient_id=None, parts=(met[1], unknown), going_on=True),
        ),
    )
    (machine,) = [row for row in found.rows if key_of(row.key).subject is Subject.MACHINE]
    assert key_of(machine.key).ids == (heater,)
    assert (machine.shelf, machine.going_on) == (Shelf.CONFIRMED, True)
    assert machine.lots == ("HC-1",)
    with ward.reads() as reads:
        name = row_names(reads, ward.site.id, [machine])[machine.key]
    assert (name.name, name.address) == ("Heater-cooler HC-1", f"/equipment/{heater}")
