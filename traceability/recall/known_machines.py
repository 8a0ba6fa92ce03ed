"""Machines that a clause asks for or may ask for: what they served, and who lay beside them.

A water-borne fault of a heater-cooler concerns the air of the room: whoever was connected in the
same place meanwhile cannot be excluded. Source: design rules on same-place exposure; common
practice, no source.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from traceability.domain.at_the_run import EQUIPMENT_KINDS
from traceability.domain.parts import Known, PartState
from traceability.domain.shelves.facts import PartIn, Register
from traceability.domain.shelves.reasons import Reason
from traceability.domain.shelves.scope import Clause
from traceability.domain.spans import Span, join, overlap, span
from traceability.recall.asked import ASKED, AskedClause, Compiled, products_of
from traceability.recall.cut import Cut
from traceability.recall.gathering import Gathered, Seen, circuit_name, run_name
from traceability.recall.known_run_parts import certain_until, support_ended
from traceability.recall.machines_meant import Machine, fits, machines_of, may_be
from traceability.recall.record import blocks
from traceability.storage.base import believed_at
from traceability.storage.circuits import CircuitPlace
from traceability.storage.equipment import NOT_READ, EquipmentPlace, EquipmentUse
from traceability.storage.runs import CircuitOnRun
from traceability.storage.site import Place

__all__ = ["gather_machines"]

OTHER: Final = "other"
"""Maker under which machines stand that a clause certainly does not mean."""

AIRBORNE: Final = frozenset({"heater-cooler"})
"""Kinds of machines whose faults reach the air of the room."""


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
    machines = {machine.id: machine for machine in machines_of(session, kinds, cut)}
    item = each.clause.items[0]

    def whose(machine: Machine) -> str | None:
        """Tell whether the clause means a machine; None: that cannot be told."""
        said = [fits(machine, ref, {p.id for p in found}) for ref, found in refs]
        if True in said:
            return ASKED
        return None if None in said else OTHER

    makers = {key: whose(machine) for key, machine in machines.items()}
    wanted = [
        key
        for key, machine in machines.items()
        if makers[key] != OTHER and may_be(each.clause, machine.serial)
    ]
    uses = _uses(session, kinds, wanted, each.clause, cut)
    ends = support_ended(session, {use.run_id for use in uses if use.run_id}, cut)
    for use in uses:
        machine = machines.get(use.equipment_id) if use.equipment_id else None
        if machine is None:
            machine = Machine(
                id=use.use_id,
                kind=use.kind,
                product_id=use.product_id,
                maker="",
                model="",
                serial=use.serial,
            )
        maker = makers.get(machine.id, whose(machine))
        serial = use.serial or machine.serial
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
        if maker != OTHER and machine.kind in AIRBORNE and may_be(each.clause, machine.serial):
            _add_same_place(session, gathered, machine, (item, maker), cut)


_LONG_AGO: Final = datetime(1900, 1, 1, tzinfo=UTC)
"""Of entries of the register, whose dates exclude nothing."""


def _uses(
    session: Session, kinds: set[str], wanted: Sequence[UUID], clause: Clause, cut: Cut
) -> list[EquipmentUse]:
    """Return uses of the machines wanted and of those nobody named, in the clause's own window.

    What others served matters only beside a use whose machine nobody named: a machine is in one
    place at a time.
    """
    rows = select(EquipmentUse).where(
        EquipmentUse.site_id.in_(cut.sites),
        EquipmentUse.none_used.is_(False),
        believed_at(EquipmentUse, cut.number),
    )
    if clause.until is not None:
        rows = rows.where(EquipmentUse.valid_from < clause.until)
    if clause.since is not None:
        rows = rows.where(
            or_(EquipmentUse.valid_to.is_(None), EquipmentUse.valid_to > clause.since)
        )
    of_kind = rows.where(EquipmentUse.kind.in_(sorted(kinds)))
    nameless = list(session.scalars(of_kind.where(NOT_READ)))
    found = list(nameless)
    for block in blocks(wanted):
        found += session.scalars(rows.where(EquipmentUse.equipment_id.in_(block)))
    found += session.scalars(of_kind.where(EquipmentUse.equipment_id.is_(None)))
    if nameless:
        times = join(time for use in nameless if (time := span(use.valid_from, use.valid_to)))
        early = of_kind.where(EquipmentUse.equipment_id.not_in(wanted))
        found += [use for use in session.scalars(early) if _meets(use, times)]
    by_row = {(use.site_id, use.recorded_no, use.line): use for use in found}
    return [by_row[key] for key in sorted(by_row)]


def _meets(use: EquipmentUse, times: Sequence[Span]) -> bool:
    there = span(use.valid_from, use.valid_to)
    return there is not None and any(overlap(there, time) is not None for time in times)


def _add_use(
    gathered: Gathered,
    use: EquipmentUse,
    machine: Machine,
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
            # A machine of the register without a serial is that machine and no other.
            "foreign": use.equipment_id is not None and serial is None,
            "disputed": use.disputed,
            "certain": certain_until(use.valid_from, use.valid_to, over),
        },
        _seen(machine, use.use_id, use, use.valid_from, use.valid_to),
    )


def _seen(
    machine: Machine,
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
    machine: Machine,
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
