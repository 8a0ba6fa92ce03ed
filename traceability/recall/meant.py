"""What one field of text can mean: any code, number, name or date that the record knows.

Lots and products are `find`'s. Nothing here is a second look-up of them: this adds circuits, runs,
machines, places, people, days and, for who may see them, patients. A patient's text is compared and
never handed on: a meaning that is a patient carries the number of a run instead.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.part_labels import read_part
from traceability.domain.tag_contents import read_contents
from traceability.domain.tags import BrokenSymbol, OwnSymbol, SymbolKind, read_symbol, site_and_name
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Context
from traceability.recall.days_meant import days_in
from traceability.recall.find import Found, find
from traceability.recall.meant_things import (
    Meaning,
    machines,
    numbers,
    people,
    place_meant,
    places,
    product_of,
    units,
)
from traceability.recall.patients_meant import run_of_patient
from traceability.recall.question import lot_named, product_named
from traceability.storage.items import Packaging
from traceability.storage.site import Place, Site

LONGEST: Final = 400
"""Characters that are looked up; the symbol for phones is longer and is read before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meant:
    """All that the text may be."""

    meanings: tuple[Meaning, ...] = ()
    problem: str = ""
    """Why there is none, where the text itself says: cut, check, kind, card, form, other-site,
    too-long, patient-hidden, circuit-unknown, place-unknown, person-unknown, part-unknown."""
    more: bool = False
    """There are more than these."""

    @property
    def only(self) -> Meaning | None:
        """Return the one meaning, where there is no choice."""
        if len(self.meanings) == 1 and not self.meanings[0].alike and not self.more:
            return self.meanings[0]
        return None


def meant(
    session: Session,
    text: str,
    *,
    today: date,
    may_see_patients: bool,
    person_of_badge: UUID | None = None,
    personal: bool = False,
) -> Meant:
    """Return what the text may mean.

    `personal`: the text carries a standard's own mark of a person. `person_of_badge`: whose badge
    it is, as the caller found; badges are known by a digest that this room cannot make.
    """
    text = text.strip("\r\n\t ")
    contents = read_contents(text)
    if contents is not None:
        return _our_circuit(session, contents.site_code, contents.number)
    if len(text) > LONGEST:
        return Meant(problem="too-long")
    own = read_symbol(text)
    if isinstance(own, BrokenSymbol):
        return Meant(problem=own.reason)
    if own is not None:
        return _our_symbol(session, own, person_of_badge)
    reading = interpret(text, today=today, context=Context())
    if personal or reading.private:
        if not may_see_patients:
            return Meant(problem="patient-hidden")
        run = run_of_patient(session, text)
        return Meant(meanings=(_patient(run),) if run else ())
    found = find(session, text, today=today)
    meanings = list(dict.fromkeys(_all(session, text, found, today, may_see_patients)))
    if person_of_badge is not None:
        meanings += [each for each in people(session, id_=person_of_badge) if each not in meanings]
    return Meant(meanings=tuple(meanings), more=found.more)


def _all(
    session: Session, text: str, found: Found, today: date, may_see_patients: bool
) -> Iterator[Meaning]:
    yield from numbers(session, text)
    if may_see_patients and (run := run_of_patient(session, text)):
        yield _patient(run)
    yield from machines(session, text)
    yield from _of_find(found)
    yield from units(session, text)
    yield from people(session, text)
    yield from places(session, text)
    for start, end in days_in(text, today):
        yield Meaning(sort="span", text=f"{start.isoformat()}..{end.isoformat()}")


def _patient(run: str) -> Meaning:
    return Meaning(sort="patient", text=run)


def _of_find(found: Found) -> Iterator[Meaning]:
    for unit in found.units:
        yield product_of(unit.product.id, "unit", unit.serial, unit.product)
    for lot in found.lots:
        yield product_of(lot.product.id, "lot", lot.text, lot.product, seen=lot.seen)
    for lot in found.look_alikes:
        yield product_of(lot.product.id, "lot", lot.text, lot.product, alike=True)
    if not found.units and not found.lots:
        for product in found.products:
            yield product_of(product.id, "product", product.name, product, seen=product.known)


def _site_code(session: Session) -> str:
    return session.scalar(select(Site.code).limit(1)) or ""


def _our_circuit(session: Session, code: str, number: str) -> Meant:
    if code != _site_code(session):
        return Meant(problem="other-site")
    found = tuple(numbers(session, number))
    return Meant(meanings=found, problem="" if found else "circuit-unknown")


def _our_symbol(session: Session, own: OwnSymbol, person: UUID | None) -> Meant:
    if own.kind is SymbolKind.BADGE:
        found = tuple(people(session, id_=person)) if person else ()
        return Meant(meanings=found, problem="" if found else "person-unknown")
    if own.kind is SymbolKind.ACT:
        return Meant(problem="card")
    code, name = site_and_name(own.body)
    if code != _site_code(session):
        return Meant(problem="other-site")
    match own.kind:
        case SymbolKind.CIRCUIT:
            return _our_circuit(session, code, name)
        case SymbolKind.PLACE:
            rows = select(Place).where(func.upper(Place.code) == name).order_by(Place.sort)
            found = tuple(place_meant(each) for each in session.scalars(rows))
            return Meant(meanings=found, problem="" if found else "place-unknown")
        case SymbolKind.PART:
            found = tuple(machines(session, name)) or _part_label(session, own)
            return Meant(meanings=found, problem="" if found else "part-unknown")
        case _:
            return Meant(problem="form")


def _part_label(session: Session, own: OwnSymbol) -> tuple[Meaning, ...]:
    """Return the lot of a label that was made here for a piece without a code of its own."""
    read = read_part(own)
    if read is None:
        return ()
    level = session.scalar(
        select(Packaging).filter_by(standard="none", identifier=read.item).limit(1)
    )
    product = product_named(session, level.product_id) if level else None
    if product is None:
        return ()
    lot = lot_named(session, product, read.lot)
    return (product_of(product.id, "lot", lot.text, product, seen=lot.seen),)
