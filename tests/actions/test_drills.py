"""Drills on record: one of the service a week, and people who are told while a clock runs.

Source of the rules: common practice, no source.
"""

from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import func, select

from tests.make import HOUR, MINUTE, PACK, SALINE, SYRINGE, TAP, Ward, code
from tests.stock_acts import Shelves
from traceability.actions.drills.lots import RecordLotDrill, record_lot_drill
from traceability.actions.drills.people import (
    BeginDrill,
    StepInDrill,
    StopDrill,
    TellInDrill,
    begin_drill,
    step_in_drill,
    stop_drill,
    tell_in_drill,
)
from traceability.actions.once import Done
from traceability.actions.stock.count import Counted, CountStock, count_stock
from traceability.actions.stock.receive import ReceiveStock, receive_stock
from traceability.domain.drills.outcome import Drawn
from traceability.domain.keys import lot_key, product_key
from traceability.errors import (
    BadValue,
    DrilledThisWeek,
    DrillGoesOn,
    DrillOver,
    NotAllowed,
    UnknownCode,
)
from traceability.reads.drills import draw, drilled, drills, to_mend
from traceability.reads.people_drills import people_drill, people_drills
from traceability.storage.holds import Hold
from traceability.storage.rebuild import rebuild

LOT = "T77-0B1"


def drawn(ward: Ward, wanted: int = 9) -> Drawn:
    with ward.reads() as session:
        return draw(session, ward.site.id, seed="seed", wanted=wanted, months=12, now=ward.now)


def record(ward: Ward, *, by_hand: bool = False) -> Done:
    asked = RecordLotDrill(sent=ward.at("recall").sent(), drawn=drawn(ward), by_hand=by_hand)
    return record_lot_drill(asked, site=ward.site)


def lot_id(ward: Ward) -> UUID:
    return lot_key(product_key("gs1", TAP, site_id=ward.site.id), LOT)


def begin(ward: Ward, **changes: Any) -> UUID:
    usual = BeginDrill(
        sent=ward.at("recall").sent(),
        lot_id=lot_id(ward),
        at_random=False,
        people=(ward.people["consultant"],),
        roles=("pharmacist",),
    )
    done = begin_drill(replace(usual, **changes), site=ward.site)
    assert done.subject is not None
    return done.subject


def tell(ward: Ward, drill: UUID, line: int) -> Done:
    asked = TellInDrill(sent=ward.at("recall").sent(), drill_id=drill, line=line)
    return tell_in_drill(asked, site=ward.site)


def unchanged_by_rebuild(ward: Ward) -> bool:
    with ward.services.writes() as session:
        found = rebuild(session, ward.site.id)
        session.rollback()
    return found.changed == ()


@pytest.fixture
def stocked(ward: Ward) -> Ward:
    Shelves(ward).receive(code(TAP, LOT), packs=12)
    for gtin in (PACK, SALINE, SYRINGE):  # the stock book of these begins with another lot
        Shelves(ward).receive(code(gtin, "EARLY-1"))
    ward.now += HOUR
    ward.prime(LOT)
    return ward


def test_a_drill_keeps_what_it_found_and_the_list_to_mend_follows_the_record(
    stocked: Ward,
) -> None:
    number = record(stocked).first_no
    with stocked.reads() as session:
        [found] = drills(session, stocked.site.id)
        lots = drilled(session, stocked.site.id, number)
        before = to_mend(session, stocked.site.id, number, stocked.now)
    assert (found.number, found.lots) == (number, 8)
    assert found.units == sum(each.units for each in lots if each.whole)
    assert found.reconciled < found.units
    assert before
    for each in before:  # enter the receipts that are missing, one lot after the other
        with stocked.reads() as session:
            open_now = to_mend(session, stocked.site.id, number, stocked.now)
        if not any(point.lot == each.lot for point in open_now):
            continue
        product = next(lot for lot in lots if lot.lot == each.lot).product_id
        _book_in(stocked, product, each.lot, each.point.units)
        _count_none(stocked, product, each.lot)
    with stocked.reads() as session:
        assert to_mend(session, stocked.site.id, number, stocked.now) == []
        assert drilled(session, stocked.site.id, number) == lots, "the drill's own outcome stays"
    assert unchanged_by_rebuild(stocked)


def _book_in(ward: Ward, product: UUID, lot: str, units: int) -> None:
    asked = ReceiveStock(
        sent=ward.at("stock").sent(),
        at=ward.now - timedelta(days=1),
        product_id=product,
        lot_text=lot,
        packs=units,
        place_id=ward.places["trolley 1"],
    )
    receive_stock(asked, site=ward.site)


def _count_none(ward: Ward, product: UUID, lot: str) -> None:
    asked = CountStock(
        sent=ward.at("stock").sent(),
        product_id=product,
        rows=(Counted(lot_text=lot, place_id=ward.places["trolley 1"], quantity=0),),
        at=ward.now,
    )
    count_stock(asked, site=ward.site)


def test_one_drill_a_week_and_as_many_by_hand_as_somebody_wants(stocked: Ward) -> None:
    record(stocked)
    with pytest.raises(DrilledThisWeek):
        record(stocked)
    record(stocked, by_hand=True)
    record(stocked, by_hand=True)
    stocked.now += timedelta(days=7)
    record(stocked)
    with stocked.reads() as session:
        assert [each.by_hand for each in drills(session, stocked.site.id)] == [
            False,
            True,
            True,
            False,
        ]


def test_only_who_may_drills(stocked: Ward) -> None:
    asked = RecordLotDrill(sent=stocked.at("auditor").sent(), drawn=drawn(stocked), by_hand=True)
    with pytest.raises(NotAllowed):
        record_lot_drill(asked, site=stocked.site)
    with pytest.raises(NotAllowed):
        begin(stocked, sent=stocked.at("primer").sent())


def test_the_clock_stops_when_everybody_named_was_told(stocked: Ward) -> None:
    drill = begin(stocked)
    stocked.now += 2 * MINUTE
    for step in ("answer-found", "stock-seen"):
        step_in_drill(
            StepInDrill(sent=stocked.at("primer").sent(), drill_id=drill, step=step),
            site=stocked.site,
        )
    stocked.now += 5 * MINUTE
    tell(stocked, drill, 0)
    with stocked.reads() as session:
        found = people_drill(session, stocked.site.id, drill)
    assert found is not None
    assert found.ended_at is None
    stocked.now += 3 * MINUTE
    assert tell(stocked, drill, 0).first_no == tell(stocked, drill, 0).last_no
    tell(stocked, drill, 1)
    with stocked.reads() as session:
        found = people_drill(session, stocked.site.id, drill)
    assert found is not None
    assert found.ended_at is not None
    assert found.ended_at - found.begun_at == 10 * MINUTE
    assert [each.name for each in found.targets] == ["Consultant A.", "pharmacist"]
    assert [each.step for each in found.steps] == ["answer-found", "stock-seen"]
    with pytest.raises(DrillOver):
        tell(stocked, drill, 1)
    assert unchanged_by_rebuild(stocked)


def test_a_drill_holds_nothing(stocked: Ward) -> None:
    drill = begin(stocked)
    tell(stocked, drill, 0)
    tell(stocked, drill, 1)
    with stocked.reads() as session:
        assert session.scalar(select(func.count()).select_from(Hold)) == 0


def test_one_goes_on_at_a_time_and_a_stopped_one_says_why(stocked: Ward) -> None:
    drill = begin(stocked)
    with pytest.raises(DrillGoesOn):
        begin(stocked)
    stop_drill(
        StopDrill(sent=stocked.at("recall").sent(), drill_id=drill, reason="real-notice"),
        site=stocked.site,
    )
    begin(stocked)
    with stocked.reads() as session:
        newest, stopped = people_drills(session, stocked.site.id)
    assert (newest.ended_at, newest.stopped) == (None, "")
    assert stopped.stopped == "real-notice"
    assert unchanged_by_rebuild(stocked)


def test_a_drill_without_people_without_a_lot_or_with_a_wrong_step_is_not_begun(
    stocked: Ward,
) -> None:
    with pytest.raises(BadValue):
        begin(stocked, people=(), roles=())
    with pytest.raises(BadValue):
        begin(stocked, roles=("somebody",))
    with pytest.raises(UnknownCode):
        begin(stocked, people=(UUID(int=1),))
    with pytest.raises(UnknownCode):
        begin(stocked, lot_id=UUID(int=1))
    drill = begin(stocked)
    with pytest.raises(UnknownCode):
        tell(stocked, drill, 7)
    with pytest.raises(BadValue):
        step_in_drill(
            StepInDrill(sent=stocked.at("primer").sent(), drill_id=drill, step="rung"),
            site=stocked.site,
        )


def test_a_clock_that_is_set_back_makes_no_drill_shorter_than_nothing(stocked: Ward) -> None:
    drill = begin(stocked)
    stocked.now -= 3 * HOUR
    tell(stocked, drill, 0)
    tell(stocked, drill, 1)
    with stocked.reads() as session:
        found = people_drill(session, stocked.site.id, drill)
    assert found is not None
    assert found.ended_at == found.begun_at
