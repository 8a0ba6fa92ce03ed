"""Machines: their facts over time, what they served, and where they stood."""

from collections.abc import Sequence
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.equipment import (
    Equipment,
    EquipmentPlace,
    EquipmentState,
    EquipmentUse,
)
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import (
    add_link,
    end_all,
    follow_on,
    open_links,
    replace,
)
from traceability.storage.run_extras import RunMode


@projects(Kind.EQUIPMENT_SET)
def equipment_set(session: Session, event: Recorded) -> None:
    """Add a machine, or what is known of it from now on."""
    equipment_id = event.key("equipment")
    if session.get(Equipment, (event.site_id, equipment_id)) is None:
        session.add(Equipment(site_id=event.site_id, id=equipment_id, first_no=event.number))
        session.flush()
    follow_on(
        session,
        EquipmentState,
        event,
        event.happened_at,
        {"equipment_id": equipment_id},
        kind=event.text("kind"),
        product_id=event.key_or_none("product"),
        maker=event.text("maker"),
        model=event.text("model"),
        serial=event.text("serial"),
        asset_number=event.text("asset_number"),
        software=event.text("software"),
        made=event.text("made"),
        owner=event.text("owner"),
        serviced_on=event.day_or_none("serviced_on"),
        disinfected_on=event.day_or_none("disinfected_on"),
        active=event.flag("active"),
    )


@projects(Kind.EQUIPMENT_ON)
def equipment_on(session: Session, event: Recorded) -> None:
    """A machine serves a run or a circuit from now on, or it is said that none does.

    Told late of what has ended, it says until when.
    """
    add_link(
        session,
        EquipmentUse,
        event,
        0,
        event.happened_at,
        valid_to=event.moment_or_none("until"),
        disputed=event.flag("disputed"),
        use_id=event.key("use"),
        equipment_id=event.key_or_none("equipment"),
        kind=event.text("what"),
        product_id=event.key_or_none("product"),
        serial=event.text_or_none("serial"),
        circuit_id=event.key_or_none("circuit"),
        run_id=event.key_or_none("run"),
        none_used=event.flag("none_used"),
    )


@projects(Kind.EQUIPMENT_OFF)
def equipment_off(session: Session, event: Recorded) -> None:
    """The machine serves no longer."""
    end_all(session, EquipmentUse, event, event.happened_at, use_id=event.key("use"))


@projects(Kind.EQUIPMENT_MOVED)
def equipment_moved(session: Session, event: Recorded) -> None:
    """The machine stands somewhere else."""
    follow_on(
        session,
        EquipmentPlace,
        event,
        event.happened_at,
        {"equipment_id": event.key("equipment")},
        place_id=event.key("place"),
    )


def end_service(
    session: Session,
    event: Recorded,
    *,
    runs: Sequence[UUID] = (),
    circuits: Sequence[UUID] = (),
) -> None:
    """End what served these runs and circuits: machines, and a run's mode.

    Run parts are not ended with the run: a cannula lies in the patient until it is taken out.
    """
    uses = [use for run in runs for use in open_links(session, EquipmentUse, event, run_id=run)]
    for circuit in circuits:
        uses += open_links(session, EquipmentUse, event, circuit_id=circuit)
    modes = [mode for run in runs for mode in open_links(session, RunMode, event, run_id=run)]
    links: tuple[Sequence[EquipmentUse | RunMode], ...] = (uses, modes)
    for rows in links:
        for line, row in enumerate(rows):
            replace(session, row, event, line, valid_to=max(event.happened_at, row.valid_from))
