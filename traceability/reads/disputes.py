"""Claims that clash and on which nobody has ruled: both are kept, and a person decides."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from traceability.storage.base import believed_at
from traceability.storage.circuits import DISPUTED, Circuit, Part
from traceability.storage.corrections import Restated
from traceability.storage.items import Product
from traceability.storage.ledger import LedgerEvent
from traceability.storage.people import Device, Person
from traceability.storage.runs import CircuitOnRun, Run


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One of two claims, and who made it."""

    number: int
    """Of the entry that made it."""
    part_id: UUID | None
    circuit: str
    run: str
    """Empty where a piece is claimed, not a circuit."""
    since: datetime
    flow_from: datetime | None
    until: datetime | None
    disputed: bool
    who: str
    entered_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Dispute:
    """Two claims of which one can stand."""

    what: str
    """ "circuit": two runs claim it; "piece": it stands in two circuits."""
    name: str
    """The circuit's number, or product and serial of the piece."""
    first: Claim
    second: Claim
    circuits: frozenset[UUID]
    runs: frozenset[UUID]


def disputes(session: Session, site_id: UUID) -> list[Dispute]:
    """Return all open disputes, oldest first."""
    found = [*_of_circuits(session, site_id), *_of_pieces(session, site_id)]
    return sorted(found, key=lambda each: (each.second.number, each.first.number))


def _of_circuits(session: Session, site_id: UUID) -> Iterator[Dispute]:
    link = CircuitOnRun
    claimed = select(link.circuit_id).where(
        link.site_id == site_id, link.disputed.is_(True), believed_at(link, None)
    )
    circuits = sorted(set(session.scalars(claimed)))
    rows = session.execute(
        select(link, Circuit.number, Run.number.label("run"))
        .join(Circuit, (Circuit.site_id == link.site_id) & (Circuit.id == link.circuit_id))
        .join(Run, (Run.site_id == link.site_id) & (Run.id == link.run_id))
        .where(link.site_id == site_id, link.circuit_id.in_(circuits), believed_at(link, None))
        .order_by(link.circuit_id, link.valid_from, link.recorded_no, link.line)
    ).all()
    takes = _takes(session, site_id, [row[0] for row in rows])
    for one in rows:
        if not one[0].disputed:
            continue
        for other in rows:
            if other[0].circuit_id != one[0].circuit_id or not _clash(one[0], other[0]):
                continue
            if other[0].disputed and other[0].recorded_no > one[0].recorded_no:
                continue  # told once, by the later of the two
            claims = [
                _claim(takes[_of_run(link_row)], circuit, run, link_row)
                for link_row, circuit, run in (other, one)
                if _of_run(link_row) in takes
            ]
            if len(claims) == len((one, other)) and claims[0].number != claims[1].number:
                yield Dispute(
                    what="circuit",
                    name=one[1],
                    first=claims[0],
                    second=claims[1],
                    circuits=frozenset({one[0].circuit_id}),
                    runs=frozenset({one[0].run_id, other[0].run_id}),
                )


def _clash(one: CircuitOnRun, other: CircuitOnRun) -> bool:
    """Tell whether both claim the circuit at the same time, for different runs."""
    if one.run_id == other.run_id:
        return False
    begins_in_time = other.valid_to is None or one.valid_from <= other.valid_to
    return begins_in_time and (one.valid_to is None or other.valid_from <= one.valid_to)


def _of_run(row: CircuitOnRun) -> tuple[UUID, UUID, datetime]:
    return row.circuit_id, row.run_id, row.valid_from


@dataclass(frozen=True, slots=True, kw_only=True)
class _Made:
    number: int
    who: str
    entered_at: datetime


def _takes(
    session: Session, site_id: UUID, rows: Sequence[CircuitOnRun]
) -> dict[tuple[UUID, UUID, datetime], _Made]:
    """Return by claim the entry of its take: the first that ever wrote a row of it."""
    circuits = sorted({row.circuit_id for row in rows})
    link = CircuitOnRun
    written = session.scalars(
        select(link)
        .where(link.site_id == site_id, link.circuit_id.in_(circuits))
        .order_by(link.recorded_no, link.line)
    ).all()
    origin = _origins(session, site_id, [(row.recorded_no, row.line) for row in written])
    numbers: dict[tuple[UUID, UUID], list[int]] = {}
    for row in written:
        made_by = numbers.setdefault((row.circuit_id, row.run_id), [])
        made_by.append(origin(row.recorded_no, row.line))
    made = _made(session, site_id, {number for each in numbers.values() for number in each})
    found = {}
    for row in rows:
        taken = [
            made[number]
            for number in numbers[row.circuit_id, row.run_id]
            if number in made and made[number][1] == "circuit-taken"
        ]
        # Of several takes for one run the last before what the row says.
        fitting = [each for each in taken if each[2] <= row.valid_from] or taken
        if fitting:
            found[_of_run(row)] = fitting[-1][0]
    return found


def _made(
    session: Session, site_id: UUID, numbers: set[int]
) -> dict[int, tuple[_Made, str, datetime]]:
    rows = session.execute(
        select(LedgerEvent, Person.name, Device.name.label("device"))
        .outerjoin(
            Person, (Person.site_id == LedgerEvent.site_id) & (Person.id == LedgerEvent.actor_id)
        )
        .outerjoin(
            Device, (Device.site_id == LedgerEvent.site_id) & (Device.id == LedgerEvent.device_id)
        )
        .where(LedgerEvent.site_id == site_id, LedgerEvent.number.in_(sorted(numbers)))
    )
    return {
        event.number: (
            _Made(number=event.number, who=name or device or "", entered_at=event.recorded_at),
            event.kind,
            event.happened_at,
        )
        for event, name, device in rows
    }


class _Origins:
    """By key of a row the entry that first said it."""

    def __init__(self, known: dict[tuple[int, int], int]) -> None:
        self.known = known

    def __call__(self, number: int, line: int) -> int:
        return self.known.get((number, line), number)


def _origins(session: Session, site_id: UUID, keys: Sequence[tuple[int, int]]) -> _Origins:
    rows = select(Restated).where(
        Restated.site_id == site_id, Restated.recorded_no.in_(sorted({no for no, _ in keys}))
    )
    return _Origins({(row.recorded_no, row.line): row.origin_no for row in session.scalars(rows)})


def _claim(made: _Made, circuit: str, run: str, row: CircuitOnRun) -> Claim:
    return Claim(
        number=made.number,
        part_id=None,
        circuit=circuit,
        run=run,
        since=row.valid_from,
        flow_from=row.flow_from,
        until=row.valid_to,
        disputed=row.disputed,
        who=made.who,
        entered_at=made.entered_at,
    )


def _of_pieces(session: Session, site_id: UUID) -> Iterator[Dispute]:
    # DISPUTED is the index's own condition: it leads to the few there are.
    condition: ColumnElement[bool] = DISPUTED  # type: ignore[assignment]
    claimed = select(Part).where(
        condition, Part.site_id == site_id, Part.unit_id.is_not(None), believed_at(Part, None)
    )
    for one in session.scalars(claimed.order_by(Part.recorded_no, Part.line)).all():
        others = select(Part).where(
            Part.site_id == site_id,
            Part.unit_id == one.unit_id,
            Part.part_id != one.part_id,
            believed_at(Part, None),
        )
        for other in session.scalars(others.order_by(Part.recorded_no, Part.line)).all():
            if other.disputed and other.recorded_no > one.recorded_no:
                continue
            pair = [_piece(session, each) for each in (other, one)]
            product = session.get(Product, (site_id, one.product_id))
            yield Dispute(
                what="piece",
                name=f"{product.name if product else one.kind}, serial {one.serial}",
                first=pair[0],
                second=pair[1],
                circuits=frozenset({one.circuit_id, other.circuit_id}),
                runs=frozenset(),
            )


def _piece(session: Session, row: Part) -> Claim:
    circuit = session.get_one(Circuit, (row.site_id, row.circuit_id))
    first = select(Part.recorded_no, Part.line).where(
        Part.site_id == row.site_id,
        Part.circuit_id == row.circuit_id,
        Part.part_id == row.part_id,
    )
    keys = [(each.recorded_no, each.line) for each in session.execute(first)]
    origin = _origins(session, row.site_id, keys)
    number = min(origin(*key) for key in keys)
    made, _, _ = _made(session, row.site_id, {number})[number]
    return Claim(
        number=number,
        part_id=row.part_id,
        circuit=circuit.number,
        run="",
        since=row.valid_from,
        flow_from=None,
        until=row.valid_to,
        disputed=row.disputed,
        who=made.who,
        entered_at=made.entered_at,
    )
