"""What happens at the trolley: the prime, its parts, its end and its signatures."""

from datetime import datetime
from itertools import count
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.circuits import Origin, Phase
from traceability.domain.events import Kind, Recorded
from traceability.storage.circuits import (
    Circuit,
    CircuitPhase,
    CircuitPlace,
    Part,
    Prime,
    Signature,
)
from traceability.storage.projections.beginnings import begin_circuit
from traceability.storage.projections.lists import text_of
from traceability.storage.projections.lots import name_lot
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import (
    add_link,
    again,
    end_all,
    move_on,
    open_links,
    replace,
    supersede,
)
from traceability.storage.projections.stock_levels import unit_given_back, unit_used
from traceability.storage.scans import PrintOrder, TrolleyAct
from traceability.storage.shelf import CircuitWay
from traceability.storage.trolley_acts import (
    DROPPED,
    parts_of_act,
    parts_replaced_by,
    pieces_of_act,
)


@projects(Kind.PRIME_BEGUN)
def prime_begun(session: Session, event: Recorded) -> None:
    """Begin a circuit: its number, its place, its first phase."""
    begin_circuit(
        session,
        event,
        Phase.PRIMING,
        event.key("place"),
        origin=Origin.OWN,
        circuit_type=event.text("circuit_type"),
        sheet_version=event.number_of("sheet_version"),
        primer_id=event.key_or_none("primer"),
        helper_id=event.key_or_none("helper"),
        contents="recorded",
        kept_id=None,
    )


@projects(Kind.SCAN_QUESTIONED)
def scan_questioned(session: Session, event: Recorded) -> None:
    """Keep what was asked back, so that "keep it" finds it."""
    if event.body.get("circuit") is not None:
        trolley_act(session, event)


@projects(Kind.PART_PLACED)
def part_placed(session: Session, event: Recorded) -> None:
    """Put one or more parts in their places; what a part replaces is superseded."""
    for line, row in enumerate(event.rows("parts")):
        place_part(session, event, line, event.inner(row))
    trolley_act(session, event)


def place_part(session: Session, event: Recorded, line: int, part: Recorded) -> None:
    """Put one part in its place from the event's moment on; `part` has the part's row as body."""
    circuit_id = event.key("circuit")
    lot_id = part.key_or_none("lot_id")
    if lot_id is not None:
        name_lot(
            session,
            event,
            lot_id,
            product_id=part.key("product"),
            text=part.text("lot"),
            expiry=part.day_or_none("expiry_day"),
        )
    disputed = part.flag("disputed")
    for standing in open_links(
        session,
        Part,
        event,
        circuit_id=circuit_id,
        slot=part.text("slot"),
        ordinal=part.number_of("ordinal"),
    ):
        supersede(session, standing, event)
    add_link(
        session,
        Part,
        event,
        line,
        event.happened_at,
        disputed=disputed,
        circuit_id=circuit_id,
        part_id=part.key("part"),
        slot=part.text("slot"),
        ordinal=part.number_of("ordinal"),
        kind=part.text("kind"),
        state=part.text("state"),
        known=part.text("known"),
        product_id=part.key_or_none("product"),
        lot_id=lot_id,
        serial=part.text_or_none("serial"),
        unit_id=part.key_or_none("unit"),
        expiry=part.text_or_none("expiry"),
        volume_ml=part.number_of("volume_ml") if part.body.get("volume_ml") else None,
        leaves=part.flag("leaves"),
        stays=part.flag("stays"),
        pack_part_id=part.key_or_none("pack"),
    )
    unit_used(session, event, line, part)


@projects(Kind.PART_TAKEN_BACK)
def part_taken_back(session: Session, event: Recorded) -> None:
    """Undo: what one act put in was never there; what it had replaced or ended stands again."""
    circuit = session.get_one(Circuit, (event.site_id, event.key("circuit")))
    undone_no = event.number_of("undone_no")
    restored = parts_replaced_by(session, circuit, undone_no)
    for row in parts_of_act(session, circuit, undone_no):
        supersede(session, row, event)
    for line, row in enumerate(restored):
        again(session, row, event, line)
    act = session.get(TrolleyAct, (event.site_id, undone_no))
    if act is None or act.code != DROPPED:
        lines = count()
        for part_id in sorted(pieces_of_act(session, circuit, undone_no)):
            unit_given_back(session, event, part_id, lines.__next__)
    if act is not None:
        act.undone_no = event.number
    trolley_act(session, event)


@projects(Kind.PART_DROPPED)
def part_dropped(session: Session, event: Recorded) -> None:
    """A part was discarded before use: its place is empty again, the piece stays on record."""
    end_all(
        session,
        Part,
        event,
        event.happened_at,
        circuit_id=event.key("circuit"),
        slot=event.text("slot"),
        ordinal=event.number_of("ordinal"),
    )
    trolley_act(session, event)


@projects(Kind.PART_SWAPPED)
def part_swapped(session: Session, event: Recorded) -> None:
    """Old part out and new part in, at the same moment."""
    lines = 0
    for row in open_links(
        session,
        Part,
        event,
        circuit_id=event.key("circuit"),
        slot=event.text("slot"),
        ordinal=event.number_of("ordinal"),
    ):
        # A fluid stays in the circuit until its end, whatever happens to the bag.
        if not row.stays:
            replace(session, row, event, lines, valid_to=max(event.happened_at, row.valid_from))
            lines += 1
    for row_in in event.rows("part_in"):
        place_part(session, event, lines, event.inner(row_in))
        lines += 1
    trolley_act(session, event)


@projects(Kind.PRIME_ENDED)
def prime_ended(session: Session, event: Recorded) -> None:
    """The prime is over: the use-by counts from here."""
    circuit_id = event.key("circuit")
    session.get_one(Circuit, (event.site_id, circuit_id)).prime_ended_no = event.number
    add_prime(session, event, event.happened_at)
    way = event.text_or_none("way")
    if way is not None:  # older primes say it on their sheet alone
        add_link(session, CircuitWay, event, 0, event.happened_at, circuit_id=circuit_id, way=way)
    move_on(
        session,
        CircuitPhase,
        event,
        event.happened_at,
        circuit_id,
        phase=Phase.PRIMED,
        reason="",
    )
    trolley_act(session, event)


def add_prime(session: Session, event: Recorded, ended_at: datetime) -> None:
    """Add the end of a prime with the use-by that the event says."""
    add_link(
        session,
        Prime,
        event,
        0,
        ended_at,
        circuit_id=event.key("circuit"),
        fill_ml=event.number_of("fill_ml"),
        co2_ml_min=event.number_of("co2_ml_min") if event.body.get("co2_ml_min") else None,
        policy_version=event.number_of("policy_version"),
        **_use_by(event),
    )


def use_by_decided_anew(session: Session, event: Recorded) -> None:
    """Let the prime have the use-by that the event says; when it ended stays as it was."""
    for line, row in enumerate(open_links(session, Prime, event, circuit_id=event.key("circuit"))):
        replace(session, row, event, line, **_use_by(event))


def _use_by(event: Recorded) -> dict[str, object]:
    return {
        "use_by": event.moment("use_by"),
        "decides": text_of(event.body["decides"]),
        "comes_next": text_of(event.body.get("comes_next")),
    }


@projects(Kind.PRIME_SIGNED)
def prime_signed(session: Session, event: Recorded) -> None:
    """One of the two signatures."""
    add_link(
        session,
        Signature,
        event,
        0,
        event.happened_at,
        circuit_id=event.key("circuit"),
        part=event.text("part"),
        person_id=event.key("person"),
        meaning=event.text("meaning"),
        content_digest=event.text("content_digest"),
    )


@projects(Kind.TAG_ORDERED)
def tag_ordered(session: Session, event: Recorded) -> None:
    """A tag was ordered; a second one is a copy and says so."""
    session.add(
        PrintOrder(
            site_id=event.site_id,
            circuit_id=event.key("circuit"),
            copy=event.number_of("copy"),
            ordered_at=event.happened_at,
            recorded_no=event.number,
        )
    )


def trolley_act(session: Session, event: Recorded) -> None:
    """Add the act to what its device did on this prime."""
    session.add(
        TrolleyAct(
            site_id=event.site_id,
            recorded_no=event.number,
            circuit_id=event.key("circuit"),
            device_id=event.device_id,
            request_id=event.request_id,
            at=event.happened_at,
            verdict=event.text_or_none("verdict") or "accepted",
            code=event.text_or_none("code") or event.kind,
            facts=text_of(event.body.get("facts")),
            scan=text_of(event.body.get("scan")),
            undone_no=None,
        )
    )


def end_circuit_place(session: Session, event: Recorded, circuit_id: UUID) -> None:
    """The circuit stands nowhere any more."""
    end_all(session, CircuitPlace, event, event.happened_at, circuit_id=circuit_id)
