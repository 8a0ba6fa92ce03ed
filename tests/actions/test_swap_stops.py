"""A part that is swapped on a running circuit is judged as it is at the trolley.

Source: common practice, no source; settled in review (stop, look again, go on, by situation).
"""

from datetime import timedelta
from uuid import UUID

import pytest

from tests.make import HOUR, OXYGENATOR, SALINE, STRONG_SALINE, TAP, Ward, code
from traceability.domain.keys import lot_key, product_key
from traceability.domain.moments import Manner
from traceability.errors import BadScan, CautionsFirst, NotAllowed


@pytest.fixture
def running(ward: Ward) -> UUID:
    circuit = ward.prime()
    ward.take(circuit)
    ward.flow_on(circuit)
    ward.now += HOUR
    return circuit


def lots(ward: Ward, circuit: UUID, slot: str) -> list[str | None]:
    return [part.lot for part in ward.facts(circuit).now_in if part.slot == slot]


def test_the_wrong_fluid_stops_and_only_a_consultant_goes_on(ward: Ward, running: UUID) -> None:
    before = lots(ward, running, "saline")
    with pytest.raises(CautionsFirst) as caught:
        ward.swap(running, "saline", code(STRONG_SALINE, "S3"))
    assert caught.value.facts["cautions"] == ["wrong-fluid"]
    with pytest.raises(NotAllowed):
        ward.swap(running, "saline", code(STRONG_SALINE, "S3"), reason="no-other")
    assert lots(ward, running, "saline") == before
    consultant = ward.people["consultant"]
    done = ward.swap(running, "saline", code(STRONG_SALINE, "S3"), reason="no-other", by=consultant)
    assert done.cautions == ("wrong-fluid",)


def test_a_held_lot_stops(ward: Ward, running: UUID) -> None:
    product = product_key("gs1", TAP, site_id=ward.site.id)
    ward.at("pharmacist").hold("lot", lot_key(product, "T77-0B1"))
    with pytest.raises(CautionsFirst) as caught:
        ward.swap(running, "tap-middle", code(TAP, "T77-0B1"))
    assert caught.value.facts["cautions"] == ["on-hold"]


def test_an_expired_part_is_looked_at_and_a_signer_goes_on(ward: Ward, running: UUID) -> None:
    old = code(TAP, "OLD", expires="310505")
    with pytest.raises(CautionsFirst):
        ward.swap(running, "tap-middle", old)
    assert ward.swap(running, "tap-middle", old, reason="no-other").cautions == ("expired",)


@pytest.mark.parametrize("manner", [Manner.EMERGENCY, Manner.QUEUED])
def test_nothing_blocks_an_emergency(ward: Ward, running: UUID, manner: Manner) -> None:
    done = ward.swap(running, "saline", code(STRONG_SALINE, "S3", expires="310505"), manner=manner)
    assert done.cautions == ("wrong-fluid", "expired")


def test_the_part_that_is_in_already_is_not_the_new_one(ward: Ward, running: UUID) -> None:
    inside = next(each for each in ward.facts(running).now_in if each.slot == "oxygenator")
    same = code(OXYGENATOR, "3F0117", serial=str(inside.serial))
    with pytest.raises(BadScan) as caught:
        ward.swap(running, "oxygenator", same)
    assert caught.value.facts["why"] == "same-serial-here"


def test_a_serial_of_another_circuit_is_told_and_kept_as_disputed(
    ward: Ward, running: UUID
) -> None:
    other = ward.prime()
    unit = next(each for each in ward.facts(other).now_in if each.slot == "oxygenator")
    text = code(OXYGENATOR, "3F0117", serial=str(unit.serial))
    with pytest.raises(CautionsFirst):
        ward.swap(running, "oxygenator", text)
    done = ward.swap(running, "oxygenator", text, reason="by-hand")
    assert (done.disputed, done.cautions) == (True, ("same-serial-elsewhere",))


def test_a_swap_is_not_dated_by_a_clock_before_the_part_went_in(ward: Ward, running: UUID) -> None:
    part = next(each for each in ward.facts(running).now_in if each.slot == "tap-middle")
    early = part.from_ - timedelta(days=300)
    done = ward.swap(running, "tap-middle", code(TAP, "NEW"), at=early, manner=Manner.QUEUED)
    assert "device-time-not-believed" in done.cautions
    assert lots(ward, running, "tap-middle") == ["NEW"]


def test_another_strength_than_the_bag_before_is_never_taken_silently(
    ward: Ward, running: UUID
) -> None:
    assert ward.swap(running, "saline", code(SALINE, "NEW")).cautions == ()


def test_a_doubtful_code_is_compared_with_the_print_first(ward: Ward, running: UUID) -> None:
    lost_separator = f"]d201{TAP}10T77-0B117330331"
    with pytest.raises(BadScan) as caught:
        ward.swap(running, "tap-middle", lost_separator)
    assert caught.value.facts["why"] == "compare"
    ward.swap(running, "tap-middle", lost_separator, reading="alternative")
    assert lots(ward, running, "tap-middle") == ["T77-0B1"]
