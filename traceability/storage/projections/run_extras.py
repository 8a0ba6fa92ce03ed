"""A run's mode and run parts, and what was put into a circuit besides its sheet."""

from sqlalchemy.orm import Session

from traceability.domain.at_the_run import ADDITIVE_SLOT
from traceability.domain.events import Kind, Recorded
from traceability.storage.circuits import Part
from traceability.storage.projections.lots import name_lot
from traceability.storage.projections.primes import place_part, use_by_decided_anew
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import (
    add_link,
    end_all,
    follow_on,
)
from traceability.storage.run_extras import Additive, RunMode, RunPart


@projects(Kind.MODE_SET)
def mode_set(session: Session, event: Recorded) -> None:
    """The run goes on in this mode."""
    run = {"run_id": event.key("run")}
    follow_on(session, RunMode, event, event.happened_at, run, mode=event.text("mode"))


@projects(Kind.RUN_PART_IN)
def run_part_in(session: Session, event: Recorded) -> None:
    """A cannula, guide wire or reperfusion line lies in the patient."""
    lot_id = event.key_or_none("lot")
    if lot_id is not None:
        name_lot(
            session,
            event,
            lot_id,
            product_id=event.key("product"),
            text=event.text("lot_text"),
            expiry=event.day_or_none("expiry_day"),
        )
    add_link(
        session,
        RunPart,
        event,
        0,
        event.happened_at,
        disputed=event.flag("disputed"),
        run_id=event.key("run"),
        part_id=event.key("part"),
        kind=event.text("what"),
        state=event.text("state"),
        known=event.text("known"),
        product_id=event.key_or_none("product"),
        lot_id=lot_id,
        serial=event.text_or_none("serial"),
        unit_id=event.key_or_none("unit"),
        expiry=event.text_or_none("expiry"),
        body_site=event.text("site"),
    )


@projects(Kind.RUN_PART_OUT)
def run_part_out(session: Session, event: Recorded) -> None:
    """It was taken out of the patient."""
    end_all(session, RunPart, event, event.happened_at, part_id=event.key("part"))


@projects(Kind.PART_ADDED)
def part_added(session: Session, event: Recorded) -> None:
    """One more piece in a circuit than its sheet asks for."""
    place_part(session, event, 0, event)


@projects(Kind.ADDITIVE_GIVEN)
def additive_given(session: Session, event: Recorded) -> None:
    """Given into the prime; it stays in the circuit. Blood decides the use-by anew."""
    circuit_id, lot_id = event.key("circuit"), event.key_or_none("lot")
    if lot_id is not None:
        name_lot(
            session,
            event,
            lot_id,
            product_id=event.key("product"),
            text=event.text("lot_text"),
            expiry=event.day_or_none("expiry_day"),
        )
    add_link(
        session,
        Part,
        event,
        0,
        event.happened_at,
        disputed=event.flag("disputed"),
        circuit_id=circuit_id,
        part_id=event.key("part"),
        slot=ADDITIVE_SLOT,
        ordinal=event.number_of("ordinal"),
        kind=event.text("kind"),
        state=event.text("state"),
        known=event.text("known"),
        product_id=event.key_or_none("product"),
        lot_id=lot_id,
        serial=event.text_or_none("serial"),
        unit_id=event.key_or_none("unit_id"),
        expiry=event.text_or_none("expiry"),
        volume_ml=None,
        leaves=False,
        stays=True,
        pack_part_id=None,
    )
    session.add(
        Additive(
            site_id=event.site_id,
            recorded_no=event.number,
            circuit_id=circuit_id,
            part_id=event.key("part"),
            name=event.text("name"),
            dose=event.text("dose"),
            unit=event.text("unit"),
            blood=event.flag("blood"),
        )
    )
    if event.text_or_none("use_by") is not None:
        use_by_decided_anew(session, event)
