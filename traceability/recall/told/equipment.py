"""Machines: the register, and what served a circuit."""

from collections.abc import Iterator

from traceability.domain.events import Kind, Recorded
from traceability.domain.shelves import facts as told
from traceability.recall.told.registry import Telling, stem, tells


@tells(Kind.EQUIPMENT_SET)
def equipment_set(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """A machine of the register. Later states of it say the same again."""
    item, maker = telling.item(event.key_or_none("product"))
    maker = maker or event.text("maker")
    if maker and event.text("serial"):
        yield told.Register(
            **stem(event), item=item or event.text("kind"), maker=maker, serial=event.text("serial")
        )


@tells(Kind.EQUIPMENT_ON)
def equipment_on(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """It serves a circuit from now on."""
    circuit = event.text_or_none("circuit")
    if circuit is None or event.flag("none_used"):
        return
    item, maker = telling.item(event.key_or_none("product"))
    yield told.EquipOn(
        **stem(event),
        circuit=circuit,
        p=event.text("use"),
        item=item or event.text("what"),
        maker=maker,
        serial=event.text_or_none("serial"),
    )


@tells(Kind.EQUIPMENT_OFF)
def equipment_off(_: Telling, event: Recorded) -> Iterator[told.Fact]:
    """It serves no longer, as somebody saw.

    What only follows from another act says nothing of it: a heater may run on after its circuit.
    """
    if event.body.get("device_at") is not None:
        yield told.EquipOff(**stem(event), p=event.text("use"))
