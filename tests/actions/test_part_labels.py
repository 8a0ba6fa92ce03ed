"""A part with a label of ours is scanned like any other; another site's label of its own is not."""

from datetime import date

from tests.make import Ward
from traceability.domain.part_labels import PartLabel, part_symbol
from traceability.domain.tags import site_code

LABEL = PartLabel(
    standard="none",
    item="TAP-9",
    name="Tap without a code",
    maker="Oskerby Devices",
    lot="K26-0B8",
    expiry=date(2033, 3, 31),
)


def test_the_label_gives_item_lot_and_expiry(ward: Ward) -> None:
    ward.product("TAP-9", "Tap without a code", "tap", standard="none")
    circuit = ward.begin()
    symbol, _ = part_symbol(site_code(ward.site.id), LABEL)
    done = ward.scan(circuit, symbol)
    assert done.verdict == "accepted", done
    (part,) = [part for part in ward.facts(circuit).now_in if part.lot]
    assert (part.name, part.lot, part.expiry) == ("Tap without a code", "K26-0B8", "2033-03-31")


def test_another_sites_own_label_is_asked_back(ward: Ward) -> None:
    ward.product("TAP-9", "Tap without a code", "tap", standard="none")
    circuit = ward.begin()
    symbol, _ = part_symbol("ZZZZ", LABEL)
    done = ward.scan(circuit, symbol)
    assert (done.verdict, done.code) == ("look-again", "own-symbol")
    assert ward.facts(circuit).now_in == ()


def test_an_item_that_nobody_listed_is_asked_once(ward: Ward) -> None:
    circuit = ward.begin()
    symbol, _ = part_symbol(site_code(ward.site.id), LABEL)
    assert ward.scan(circuit, symbol).code == "unknown-product"
