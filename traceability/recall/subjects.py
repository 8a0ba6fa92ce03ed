"""From what an address names to what a trace begins with."""

from datetime import date
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.days import end_of_day, start_of_day
from traceability.domain.keys import unit_key
from traceability.domain.trace import Node, Sort
from traceability.recall.asked_about import Subject
from traceability.recall.cut import Cut, cut_at
from traceability.recall.patients_meant import same_patient
from traceability.recall.question import lot_named, product_named
from traceability.recall.trace_beside import machine_names, place_names
from traceability.storage.circuits import Circuit
from traceability.storage.people import Person
from traceability.storage.runs import Run


def subject_of(
    session: Session,
    sort: Sort,
    *,
    text: str,
    of: str = "",
    zone: ZoneInfo,
    as_of_no: int | None = None,
) -> Subject | None:
    """Return what is asked about; None where there is no such thing."""
    cut, key = cut_at(session, as_of_no), _key(of)
    match sort:
        case Sort.LOT | Sort.UNIT | Sort.PRODUCT if key is not None:
            return _product(session, sort, text, key)
        case Sort.CIRCUIT:
            return _circuit(session, text, cut)
        case Sort.RUN | Sort.PATIENT:
            return _run(session, sort, text, cut)
        case Sort.MACHINE:
            return _machine(session, text, of, cut)
        case Sort.PLACE | Sort.PERSON if key is not None:
            return _named(session, sort, key, cut)
        case Sort.SPAN:
            return _span(text, zone)
        case _:
            return None


def _circuit(session: Session, number: str, cut: Cut) -> Subject | None:
    rows = select(Circuit).where(
        Circuit.site_id.in_(cut.sites), Circuit.number.in_([number, number.upper()])
    )
    circuit = session.scalar(rows)
    if circuit is None:
        return None
    node = Node(
        sort=Sort.CIRCUIT,
        id=str(circuit.id),
        label=circuit.number,
        detail=circuit.circuit_type,
        start=circuit.begun_at,
    )
    return Subject(node=node, ids=(circuit.id,))


def _run(session: Session, sort: Sort, number: str, cut: Cut) -> Subject | None:
    rows = select(Run).where(Run.site_id.in_(cut.sites), Run.number.in_([number, number.upper()]))
    run = session.scalar(rows)
    if run is None:
        return None
    if sort is Sort.RUN:
        return Subject(node=Node(sort=sort, id=str(run.id), label=run.number), ids=(run.id,))
    ids = same_patient(session, run.id, cut)
    if not ids:
        return None
    label = f"Patient of {run.number}"
    return Subject(node=Node(sort=sort, id=str(ids[0]), label=label, of=run.number), ids=ids)


def _machine(session: Session, serial: str, of: str, cut: Cut) -> Subject | None:
    key = _key(of)
    if key is None:
        node = Node(sort=Sort.MACHINE, id=f"{of}:{serial}", label=serial, detail=of)
        return Subject(node=node, kind=of) if of and serial else None
    label, detail = machine_names(session, [key], cut).get(key, ("", ""))
    node = Node(sort=Sort.MACHINE, id=str(key), label=label, detail=detail)
    return Subject(node=node, ids=(key,)) if label else None


def _named(session: Session, sort: Sort, key: UUID, cut: Cut) -> Subject | None:
    if sort is Sort.PLACE:
        name = place_names(session, cut).get(key)
    else:
        people = select(Person.name).where(Person.site_id.in_(cut.sites), Person.id == key)
        name = session.scalar(people)
    return Subject(node=Node(sort=sort, id=str(key), label=name), ids=(key,)) if name else None


def _key(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _product(session: Session, sort: Sort, text: str, key: UUID) -> Subject | None:
    product = product_named(session, key)
    if product is None:
        return None
    detail = ", ".join(word for word in (product.name, product.maker) if word)
    if sort is Sort.PRODUCT:
        node = Node(sort=sort, id=str(key), label=product.name, detail=product.maker, of=str(key))
        return Subject(node=node, ids=(key,))
    if not text:
        return None
    if sort is Sort.LOT:
        lot = lot_named(session, product, text)
        node = Node(sort=sort, id=str(lot.id), label=text, detail=detail, of=str(key))
        return Subject(node=node, ids=(lot.id,))
    node = Node(sort=sort, id=f"{key}:{text}", label=text, detail=detail, of=str(key))
    return Subject(node=node, ids=(unit_key(key, text),))


def _span(text: str, zone: ZoneInfo) -> Subject | None:
    first, dots, last = text.partition("..")
    try:
        start, end = date.fromisoformat(first), date.fromisoformat(last if dots else first)
        span = (start_of_day(start, zone), end_of_day(end, zone))
    except (ValueError, OverflowError):
        return None
    if end < start:
        return None
    label = f"{start}" if start == end else f"{start} to {end}"
    node = Node(sort=Sort.SPAN, id=f"{start}..{end}", label=label, start=span[0], end=span[1])
    return Subject(node=node, span=span)
