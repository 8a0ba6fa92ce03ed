"""What belongs to a run besides its circuits: mode, cannulae, and a heater-cooler for each bed.

Its requests are named, not drawn by chance: the two years stay as they are without it.
"""

from typing import TYPE_CHECKING, Final
from uuid import UUID, uuid5

from traceability.actions.equipment.register import (
    MoveEquipment,
    SetEquipment,
    move_equipment,
    set_equipment,
)
from traceability.actions.equipment.use import EquipmentOn, equipment_on
from traceability.actions.lists.products import SetProduct, set_product
from traceability.actions.once import Sent
from traceability.actions.run.mode import SetMode, set_mode
from traceability.actions.run.parts import RunPartIn, RunPartOut, run_part_in, run_part_out
from traceability.identifiers.write import write_element_string
from traceability.security.roles import service_device

from .hospital import BEDS, PHONE_4, SATO, SITE_ID
from .stage import Stage

if TYPE_CHECKING:
    from .hospital import Stand

CANNULA: Final = "09521300000503"
SITES: Final = ("right femoral vein", "right internal jugular vein")
"""Where the two cannulae of a VV run lie."""


def register(stage: Stage) -> None:
    """Put a heater-cooler at each bed, and the cannula into the list."""
    asked = SetProduct(
        sent=_by_service("cannula"),
        standard="gs1",
        identifier=CANNULA,
        name="Cannula 23 Fr",
        maker="Mellowick Perfusion",
        part_kind="cannula",
        item_number="CA23",
    )
    set_product(asked, site=stage.site)
    for number, bed in enumerate(BEDS, start=1):
        done = set_equipment(
            SetEquipment(
                sent=_by_service(f"heater {number}"),
                what="heater-cooler",
                maker="Mellowick Perfusion",
                model="Warm 4",
                serial=f"HC-{4100 + number}",
                asset_number=f"BME-{300 + number}",
                software="2.0",
                owner="Mellowick Perfusion" if number == len(BEDS) else "",
            ),
            site=stage.site,
        )
        if done.subject is None:
            raise RuntimeError("a machine without an id")
        moved = MoveEquipment(
            sent=_by_service(f"heater {number} moved"),
            equipment_id=done.subject,
            place_id=bed.id,
            at=stage.now,
        )
        move_equipment(moved, site=stage.site)


def put_beside(stage: Stage, run_id: UUID, number: str, bed: "Stand") -> list[UUID]:
    """Record mode, cannulae and the bed's heater-cooler; return the cannulae."""
    set_mode(
        SetMode(sent=_sent(number, "mode"), run_id=run_id, mode="VV", at=stage.now),
        site=stage.site,
    )
    parts: list[UUID] = []
    for place, site in enumerate(SITES):
        asked = RunPartIn(
            sent=_sent(number, site),
            run_id=run_id,
            body_site=site,
            at=stage.now,
            text=_code(stage, f"{number[2:]}{place}"),
        )
        done = run_part_in(asked, site=stage.site)
        if done.subject is None:
            raise RuntimeError("a cannula without an id")
        parts.append(done.subject)
    heater = EquipmentOn(
        sent=_sent(number, "heater"),
        run_id=run_id,
        at=stage.now,
        text=f"BME-{300 + int(bed.code.removeprefix('BED'))}",
    )
    equipment_on(heater, site=stage.site)
    return parts


def take_out(stage: Stage, run_id: UUID, number: str, parts: list[UUID]) -> None:
    """Record that the cannulae came out with the run's end."""
    for part in parts:
        asked = RunPartOut(
            sent=_sent(number, f"out {part}"), run_id=run_id, part_id=part, at=stage.now
        )
        run_part_out(asked, site=stage.site)


def _code(stage: Stage, serial: str) -> str:
    """Return what the scanner reads on the box of a cannula; a lot lasts a quarter."""
    year, quarter = stage.now.year, (stage.now.month + 2) // 3
    elements = [
        ("01", CANNULA),
        ("17", f"{(year + 3) % 100:02}0331"),
        ("10", f"CA{year % 100:02}-{quarter}07"),
        ("21", f"N{serial}"),
    ]
    return "]d2" + write_element_string(elements)


def _sent(number: str, what: str) -> Sent:
    return Sent(
        device_id=PHONE_4.id,
        actor_id=SATO.id,
        request_id=uuid5(SITE_ID, f"beside {number}: {what}"),
    )


def _by_service(what: str) -> Sent:
    return Sent(
        device_id=service_device(SITE_ID),
        actor_id=None,
        request_id=uuid5(SITE_ID, f"beside: {what}"),
    )
