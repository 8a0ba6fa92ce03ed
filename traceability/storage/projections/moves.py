"""Primes that were written on paper first, and circuits that come from or go to other hospitals."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Origin, Phase
from traceability.domain.events import Kind, Recorded
from traceability.domain.parts import Known, PartState
from traceability.storage.circuits import Circuit, CircuitPhase, CircuitPlace, Part, Prime
from traceability.storage.corrections import Restated, origin_no
from traceability.storage.down_time import DownTimeNumber
from traceability.storage.moves import ForeignList, Handover
from traceability.storage.projections.beginnings import add_circuit, count_up
from traceability.storage.projections.primes import add_prime, end_circuit_place, place_part
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_link, move_on, open_links, supersede
from traceability.storage.projections.steps import goes_by


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
    ended_at = event.moment("ended_at")
    circuit_id = event.key("circuit")
    columns: dict[str, object] = {
        "origin": Origin.OWN,
        "circuit_type": event.text("circuit_type"),
        "sheet_version": event.number_of("sheet_version"),
        "primer_id": event.key_or_none("primer"),
        "helper_id": event.key_or_none("helper"),
    }
    if event.flag("taken_before"):
        _tell_what_it_is(session, event, begun.happened_at, columns)
    else:
        add_circuit(session, begun, contents="recorded", kept_id=None, **columns)
    session.get_one(Circuit, (event.site_id, circuit_id)).prime_ended_no = event.number
    for line, row in enumerate(event.rows("parts")):
        place_part(session, begun, line, begun.inner(row))
    _phases(session, event, begun.happened_at, ended_at)
    place_id = event.key_or_none("place")
    if place_id is not None and not event.flag("taken_before"):
        at = begun.happened_at
        add_link(session, CircuitPlace, begun, 0, at, circuit_id=circuit_id, place_id=place_id)
    add_prime(session, event, ended_at)
    goes_by(session, event)


def _tell_what_it_is(
    session: Session, event: Recorded, begun_at: datetime, columns: Mapping[str, object]
) -> None:
    """Its tag was scanned before its sheet was entered: the same circuit, now with its contents.

    `contents` stays as it began; the list that is believed from this event on says what is known.
    """
    circuit = session.get_one(Circuit, (event.site_id, event.key("circuit")))
    circuit.begun_at = min(circuit.begun_at, begun_at)
    # A prime or a list that was told of it before was another circuit's, or is told better now.
    for told in (Prime, ForeignList):
        for row in open_links(session, told, event, circuit_id=circuit.id):
            supersede(session, row, event)
    for name, value in columns.items():
        setattr(circuit, name, value)
    session.flush()
    add_link(
        session,
        ForeignList,
        event,
        0,
        begun_at,
        circuit_id=circuit.id,
        complete=True,
        kept_id=None,
        file_digest="",
    )


def _phases(session: Session, event: Recorded, begun_at: datetime, ended_at: datetime) -> None:
    """Add priming, and primed: until it was taken, where that came first."""
    circuit_id = event.key("circuit")
    later = open_links(session, CircuitPhase, event, circuit_id=circuit_id)
    rows = select(CircuitPhase.valid_from).filter_by(
        site_id=event.site_id, circuit_id=circuit_id, superseded_no=None
    )
    first = min(session.scalars(rows), default=None)
    ends = (ended_at, first if later else None)
    for line, (phase, at, end) in enumerate(
        zip((Phase.PRIMING, Phase.PRIMED), (begun_at, ended_at), ends, strict=True)
    ):
        add_link(
            session,
            CircuitPhase,
            event,
            line,
            at,
            valid_to=end,
            circuit_id=circuit_id,
            phase=phase,
            reason="",
        )


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
    # A correction may have written the list or a part of it again, under its own number.
    again = (
        (Restated.site_id == Part.site_id)
        & (Restated.recorded_no == Part.recorded_no)
        & (Restated.line == Part.line)
    )
    rows = (
        select(Part)
        .outerjoin(Restated, again)
        .where(
            Part.site_id == event.site_id,
            Part.circuit_id == before.circuit_id,
            Part.valid_to.is_(None),
            Part.superseded_no.is_(None),
            func.coalesce(Restated.origin_no, Part.recorded_no) == origin_no(session, before),
        )
        .order_by(Part.recorded_no, Part.line)
    )
    for row in session.scalars(rows).all():
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
