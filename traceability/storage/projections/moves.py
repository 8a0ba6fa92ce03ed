"""Primes that were written on paper first, and circuits that come from or go to other hospitals."""

from dataclasses import replace
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Origin, Phase
from traceability.domain.events import Kind, Recorded
from traceability.domain.parts import Known, PartState
from traceability.storage.circuits import Circuit, CircuitPhase, CircuitPlace, Part, Prime
from traceability.storage.down_time import DownTimeNumber
from traceability.storage.moves import ForeignList, Handover
from traceability.storage.projections.beginnings import add_circuit, count_up
from traceability.storage.projections.lists import text_of
from traceability.storage.projections.primes import end_circuit_place, place_part
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_link, move_on, open_links, supersede


@projects(Kind.DOWN_TIME_SHEETS_PRINTED)
def down_time_sheets_printed(session: Session, event: Recorded) -> None:
    """Keep the numbers on the sheets from being given out again."""
    for number in event.texts("numbers"):
        session.add(DownTimeNumber(site_id=event.site_id, number=number, printed_no=event.number))
        count_up(session, event, number)


@projects(Kind.PRIME_ENTERED_LATE)
def prime_entered_late(session: Session, event: Recorded) -> None:
    """A whole prime at once, as it was on paper: from its beginning to its end."""
    # Nobody wrote down when each part went in: it may have been in since the prime began.
    begun = replace(event, happened_at=event.moment("begun_at"))
    circuit_id = event.key("circuit")
    if session.get(Circuit, (event.site_id, circuit_id)) is None:
        _whole_circuit(session, event, begun)
    else:
        _prime_of_known(session, event, circuit_id)
    session.get_one(Circuit, (event.site_id, circuit_id)).prime_ended_no = event.number
    for line, row in enumerate(event.rows("parts")):
        place_part(session, begun, line, begun.inner(row))
    add_link(
        session,
        Prime,
        event,
        0,
        event.moment("ended_at"),
        circuit_id=circuit_id,
        use_by=event.moment("use_by"),
        decides=text_of(event.body["decides"]),
        comes_next=text_of(event.body.get("comes_next")),
        fill_ml=event.number_of("fill_ml"),
        co2_ml_min=event.number_of("co2_ml_min") if event.body.get("co2_ml_min") else None,
        policy_version=event.number_of("policy_version"),
    )


def _whole_circuit(session: Session, event: Recorded, begun: Recorded) -> None:
    """Begin the circuit, with the phases of its prime and its place."""
    circuit_id, ended_at = event.key("circuit"), event.moment("ended_at")
    add_circuit(
        session,
        begun,
        origin=Origin.OWN,
        circuit_type=event.text("circuit_type"),
        sheet_version=event.number_of("sheet_version"),
        primer_id=event.key_or_none("primer"),
        helper_id=event.key_or_none("helper"),
        contents="recorded",
        kept_id=None,
    )
    for line, phase in enumerate((Phase.PRIMING, Phase.PRIMED)):
        add_link(
            session,
            CircuitPhase,
            event,
            line,
            ended_at if line else begun.happened_at,
            valid_to=None if line else ended_at,
            circuit_id=circuit_id,
            phase=phase,
            reason="",
        )
    place_id = event.key_or_none("place")
    if place_id is not None:
        add_link(
            session,
            CircuitPlace,
            begun,
            0,
            begun.happened_at,
            circuit_id=circuit_id,
            place_id=place_id,
        )


def _prime_of_known(session: Session, event: Recorded, circuit_id: UUID) -> None:
    """Say of a circuit that is here already how it was primed; where it is now stays as it is."""
    circuit = session.get_one(Circuit, (event.site_id, circuit_id))
    circuit.contents = "recorded"
    circuit.circuit_type = event.text("circuit_type")
    circuit.sheet_version = event.number_of("sheet_version")
    circuit.primer_id = event.key_or_none("primer")
    circuit.helper_id = event.key_or_none("helper")
    circuit.begun_at = min(circuit.begun_at, event.moment("begun_at"))
    for row in open_links(session, Prime, event, circuit_id=circuit_id):
        supersede(session, row, event)


@projects(Kind.FOREIGN_LISTED)
def foreign_listed(session: Session, event: Recorded) -> None:
    """The sending hospital's list: it counts from the circuit's arrival, whenever it came."""
    circuit_id = event.key("circuit")
    circuit = session.get_one(Circuit, (event.site_id, circuit_id))
    for before in open_links(session, ForeignList, event, circuit_id=circuit_id):
        _withdraw_parts(session, event, before)
        supersede(session, before, event)
    source = event.rows("source")
    add_link(
        session,
        ForeignList,
        event,
        0,
        circuit.begun_at,
        circuit_id=circuit_id,
        complete=event.flag("complete"),
        kept_id=event.inner(source[0]).key("kept") if source else None,
        file_digest=event.text_or_none("file_digest") or "",
    )
    arrived = replace(event, happened_at=circuit.begun_at)
    for line, row in enumerate(event.rows("parts")):
        inside = row.get("state") == PartState.INSIDE_PACK
        known = Known.PACK if inside and row.get("pack") else Known.STATED
        part = {**row, "lot": row["lot_text"], "lot_id": row["lot"], "known": known}
        place_part(session, arrived, line, arrived.inner(part))


def _withdraw_parts(session: Session, event: Recorded, before: ForeignList) -> None:
    """Stop believing the earlier list's parts; what was swapped since stays as it is."""
    rows = select(Part).filter_by(
        site_id=event.site_id,
        circuit_id=before.circuit_id,
        recorded_no=before.recorded_no,
        valid_to=None,
        superseded_no=None,
    )
    for row in session.scalars(rows.order_by(Part.line)).all():
        supersede(session, row, event)


@projects(Kind.TRANSFERRED_OUT)
def transferred_out(session: Session, event: Recorded) -> None:
    """The circuit left for another hospital; what comes after is beyond our record."""
    circuit_id = event.key("circuit")
    phases = open_links(session, CircuitPhase, event, circuit_id=circuit_id)
    if not phases or phases[0].phase != Phase.TRANSFERRED_OUT:
        move_on(
            session,
            CircuitPhase,
            event,
            event.happened_at,
            circuit_id,
            phase=Phase.TRANSFERRED_OUT,
            reason="",
        )
        end_circuit_place(session, event, circuit_id)
    to = event.rows("to")
    add_link(
        session,
        Handover,
        event,
        0,
        event.happened_at,
        circuit_id=circuit_id,
        kept_id=event.inner(to[0]).key("kept") if to else None,
        file_digest=event.text_or_none("file_digest") or "",
    )
