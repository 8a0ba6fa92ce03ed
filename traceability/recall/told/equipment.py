"""Machines: the register, and what served a circuit."""

from collections.abc import Iterator

from traceability.domain.events import Recorded
from traceability.domain.shelves import facts as told
from traceability.recall.told.registry import Telling, stem, tells


@tells("equipment-set")
def equipment_set(_: Telling, event: Recorded) -> Iterator[told.Fact]:
    """A machine of the register. Later states of it say the same again."""
    maker, serial = event.text("maker"), event.text("serial")
    if maker and serial:
        yield told.Register(**stem(event), item=event.text("kind"), maker=maker, serial=serial)


@tells("equipment-on")
def equipment_on(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """It serves a circuit from now on."""
    circuit = event.text_or_none("circuit")
    if circuit is None or event.flag("none_used"):
        return
    _, maker = telling.item(event.key_or_none("product"))
    yield told.EquipOn(
        **stem(event),
        circuit=circuit,
        p=event.text("use"),
        item=event.text("what"),
        maker=event.text_or_none("maker") or maker,
        serial=event.text_or_none("serial"),
    )


@tells("equipment-off")
def equipment_off(_: Telling, event: Recorded) -> Iterator[told.Fact]:
    """It serves no longer."""
    yield told.EquipOff(**stem(event), p=event.text("use"))
