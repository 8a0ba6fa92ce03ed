"""Machines that a clause asks for or may ask for: what they served, and who lay beside them.

A water-borne fault of a heater-cooler concerns the air of the room: whoever was connected in the
same place meanwhile cannot be excluded. Source: design rules on same-place exposure; common
practice, no source.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import EQUIPMENT_KINDS
from traceability.domain.notice_scope import ProductRef
from traceability.domain.parts import Known, PartState
from traceability.domain.scopes import Match, alike, in_serial_range
from traceability.domain.shelves.facts import PartIn, Register
from traceability.domain.shelves.reasons import Reason
from traceability.domain.shelves.scope import Asked, Clause
from traceability.domain.spans import Span, overlap, span
from traceability.recall.asked import ASKED, AskedClause, Compiled, products_of
from traceability.recall.cut import Cut
from traceability.recall.gathering import Gathered, Seen, circuit_name, run_name
from traceability.recall.known_run_parts import certain_until, support_ended
from traceability.storage.base import believed_at
from traceability.storage.circuits import CircuitPlace
from traceability.storage.equipment import EquipmentPlace, EquipmentState, EquipmentUse
from traceability.storage.runs import CircuitOnRun
from traceability.storage.site import Place

__all__ = ["gather_machines"]

OTHER: Final = "other"
"""Maker under which machines stand that a clause certainly does not mean."""

AIRBORNE: Final = frozenset({"heater-cooler"})
"""Kinds of machines whose faults reach the air of the room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Machine:
    id: UUID
    kind: str
    product_id: UUID | None
    maker: str
    model: str
    serial: str | None


def gather_machines(
    session: Session, asked: Compiled, gathered: Gathered, cut: Cut
) -> list[Register]:
    """Add the uses of machines that clauses ask for; return their register for the rules."""
    register: list[Register] = []
    for each in asked.clauses:
        if each.machines:
            register += _of_clause(session, each, gathered, cut)
    return register


def _of_clause(
    session: Session, each: AskedClause, gathered: Gathered, cut: Cut
) -> Iterator[Register]:
    refs = [(ref, products_of(session, ref)) for ref in each.machines]
    kinds = {product.kind for _, found in refs for product in found}
    kinds |= {ref.kind for ref, _ in refs}
    kinds &= set(EQUIPMENT_KINDS)
    machines = {machine.id: machine for machine in _machines(session, kinds, cut)}
    item = each.clause.items[0]

    def whose(machine: _Machine) -> str | None:
        """Tell whether the clause means a machine; None: that cannot be told."""
        said = [_fits(machine, ref, {p.id for p in found}) for ref, found in refs]
        if True in said:
            return ASKED
        return None if None in said else OTHER

    makers = {key: whose(machine) for key, machine in machines.items()}
    uses = _uses(session, kinds, cut)
    ends = support_ended(session, {use.run_id for use in uses if use.run_id}, cut)
    for use in uses:
        machine = machines.get(use.equipment_id) if use.equipment_id else None
        if machine is None:
            machine = _Machine(
                id=use.use_id,
                kind=use.kind,
                product_id=use.product_id,
                maker="",
                model="",
                serial=use.serial,
            )
        maker = makers.get(machine.id, whose(machine))
        serial = use.serial or machine.serial
        if maker != OTHER:
            _add_use(gathered, use, machine, (item, maker, serial), ends)
    for key, machine in machines.items():
        maker = makers[key]
        if machine.serial is not None:
            yield Register(
                id=str(key),
                at=_LONG_AGO,
                recorded_at=_LONG_AGO,
                item=item,
                maker=maker or ASKED,
                serial=machine.serial,
            )
        if maker != OTHER and machine.kind in AIRBORNE and _may_be(each.clause, machine.serial):
            _add_same_place(session, gathered, machine, (item, maker), cut)


_LONG_AGO: Final = datetime(1900, 1, 1, tzinfo=UTC)
"""Of entries of the register, whose dates exclude nothing."""


def _may_be(clause: Clause, serial: str | None) -> bool:
    """Return whether the serial tests of a clause let a machine through."""
    if serial is None:
        return True
    for test in clause.tests:
        match test.asked:
            case Asked.SERIAL_LIST if not test.negated:
                found = {alike(serial, text) for text in test.texts}
            case Asked.SERIALS if not test.negated:
                found = {in_serial_range(serial, test.first, test.last)}
            case _:
                continue
        if found == {Match.OUT}:
            return False
    return True


def _fits(machine: _Machine, ref: ProductRef, products: set[UUID]) -> bool | None:
    """Tell whether a reference means a machine; None: too little is recorded of it."""
    if machine.product_id is not None and products:
        return machine.product_id in products
    if ref.kind and machine.kind != ref.kind:
        return False
    if not ref.maker:
        return True if not products else None
    if not machine.maker:
        return None
    if machine.maker.casefold() != ref.maker.casefold():
        return False
    if not ref.item_number:
        return True
    if not machine.model:
        return None
    return machine.model.casefold() == ref.item_number.casefold()


def _machines(session: Session, kinds: set[str], cut: Cut) -> Iterator[_Machine]:
    rows = select(EquipmentState).where(
        EquipmentState.site_id.in_(cut.sites),
        EquipmentState.kind.in_(sorted(kinds)),
        EquipmentState.valid_to.is_(None),
        believed_at(EquipmentState, cut.number),
    )
    for row in session.scalars(rows.order_by(EquipmentState.recorded_no)):
        yield _Machine(
            id=row.equipment_id,
            kind=row.kind,
            product_id=row.product_id,
            maker=row.maker,
            model=row.model,
            serial=row.serial or None,
        )


def _uses(session: Session, kinds: set[str], cut: Cut) -> Sequence[EquipmentUse]:
    rows = select(EquipmentUse).where(
        EquipmentUse.site_id.in_(cut.sites),
        EquipmentUse.kind.in_(sorted(kinds)),
        EquipmentUse.none_used.is_(False),
        believed_at(EquipmentUse, cut.number),
    )
    ordered = rows.order_by(EquipmentUse.site_id, EquipmentUse.recorded_no, EquipmentUse.line)
    return session.scalars(ordered).all()


def _add_use(
    gathered: Gathered,
    use: EquipmentUse,
    machine: _Machine,
    what: tuple[str, str | None, str | None],
    ends: Mapping[UUID, datetime],
) -> None:
    item, maker, serial = what
    served = run_name(use.run_id) if use.run_id else circuit_name(use.circuit_id or machine.id)
    over = ends.get(use.run_id) if use.run_id else None
    gathered.add(
        (use.site_id, use.recorded_no, use.line, item),
        {
            "part": PartIn(p=str(use.use_id), item=item, maker=maker, serial=serial),
            "circuit": served,
            "start": use.valid_from,
            "end": use.valid_to,
            "equipment": True,
            "disputed": use.disputed,
            "certain": certain_until(use.valid_from, use.valid_to, over),
        },
        _seen(machine, use.use_id, use, use.valid_from, use.valid_to),
    )


def _seen(
    machine: _Machine,
    part_id: UUID,
    use: Any,  # noqa: ANN401 - a use of a machine, or a stay in a place
    start: datetime,
    end: datetime | None,
    *,
    run_id: UUID | None = None,
    place: str = "",
) -> Seen:
    return Seen(
        part_id=part_id,
        circuit_id=getattr(use, "circuit_id", None) if not place else None,
        run_id=run_id or getattr(use, "run_id", None),
        slot="",
        ordinal=1,
        kind=machine.kind,
        product_id=machine.product_id,
        lot=None,
        serial=machine.serial,
        known=Known.SCANNED if machine.serial else Known.SAID,
        state=PartState.RECORDED if machine.serial else PartState.LOT_NOT_RECORDED,
        start=start,
        end=end,
        recorded_no=use.recorded_no,
        place=place,
    )


def _add_same_place(
    session: Session,
    gathered: Gathered,
    machine: _Machine,
    what: tuple[str, str | None],
    cut: Cut,
) -> None:
    """Add whoever was connected where the machine stood, while it stood there."""
    item, maker = what
    stays = select(EquipmentPlace, Place.name).join(
        Place, (Place.site_id == EquipmentPlace.site_id) & (Place.id == EquipmentPlace.place_id)
    )
    stays = stays.where(
        EquipmentPlace.site_id.in_(cut.sites),
        EquipmentPlace.equipment_id == machine.id,
        believed_at(EquipmentPlace, cut.number),
    )
    for stay, name in session.execute(stays.order_by(EquipmentPlace.recorded_no)).all():
        there = span(stay.valid_from, stay.valid_to)
        beside = (
            select(CircuitPlace, CircuitOnRun)
            .join(
                CircuitOnRun,
                (CircuitOnRun.site_id == CircuitPlace.site_id)
                & (CircuitOnRun.circuit_id == CircuitPlace.circuit_id),
            )
            .where(
                CircuitPlace.site_id == stay.site_id,
                CircuitPlace.place_id == stay.place_id,
                believed_at(CircuitPlace, cut.number),
                believed_at(CircuitOnRun, cut.number),
            )
        )
        for stood, on in session.execute(beside):
            both = _meet(there, stood.valid_from, stood.valid_to)
            both = _meet(both, on.flow_from or on.valid_from, on.valid_to)
            if both is None:
                continue
            gathered.add(
                (on.site_id, on.recorded_no, on.line, f"{item} {stay.recorded_no} {stay.line}"),
                {
                    "part": PartIn(
                        p=f"{machine.id} beside", item=item, maker=maker, serial=machine.serial
                    ),
                    "circuit": run_name(on.run_id),
                    "start": both.start,
                    "end": both.end,
                    "equipment": True,
                    "doubts": frozenset({Reason.SAME_PLACE}),
                },
                _seen(
                    machine, machine.id, stay, both.start, both.end, run_id=on.run_id, place=name
                ),
            )


def _meet(one: Span | None, start: datetime, end: datetime | None) -> Span | None:
    other = span(start, end)
    return None if one is None or other is None else overlap(one, other)
