"""Facts about machines: the register, and what served a circuit."""

from collections.abc import Iterator
from typing import Final

from traceability.actions.equipment.late import (
    EndUseLate,
    EnterUseLate,
    end_use_late,
    enter_use_late,
)
from traceability.actions.equipment.register import SetEquipment, set_equipment
from traceability.actions.once import Done
from traceability.cli.stories.entering import Entering, enters
from traceability.cli.stories.form import Given

WHAT: Final = "heater-cooler"
"""Kind of machine in the register; which item of the story it is, its product says."""


@enters("equip_register")
def equip_register(story: Entering, fact: Given) -> Iterator[Done]:
    """A machine that this hospital has."""
    asked = SetEquipment(
        sent=story.sent(),
        what=WHAT,
        product_id=story.product(fact["item"], fact["maker"]),
        maker=fact["maker"],
        serial=fact["serial"],
    )
    yield set_equipment(asked, site=story.site)


@enters("equip_on")
def equip_on(story: Entering, fact: Given) -> Iterator[Done]:
    """It serves a circuit."""
    asked = EnterUseLate(
        sent=story.sent(),
        circuit_id=story.circuit(fact["circuit"], fact),
        at=fact["at"],
        what=WHAT,
        product_id=story.product(fact["item"], fact["maker"]),
        serial=fact["serial"],
        use_id=story.use(fact["p"]),
    )
    yield enter_use_late(asked, site=story.site)


@enters("equip_off")
def equip_off(story: Entering, fact: Given) -> Iterator[Done]:
    """It serves no longer."""
    asked = EndUseLate(sent=story.sent(), use_id=story.use(fact["p"]), at=fact["at"])
    yield end_use_late(asked, site=story.site)
