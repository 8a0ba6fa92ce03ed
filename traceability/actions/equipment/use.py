"""A machine serves a run or a circuit, and serves it no longer; or none of its kind did.

A machine serves one place at a time. A second claim is refused while somebody can still look; said
anyway, or in an emergency, both are kept and the second is disputed.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.circuit.add_part import ended_at
from traceability.actions.equipment.which import Machine, machine_of
from traceability.actions.on_circuit import require_goes_past, the_circuit
from traceability.actions.on_run import moment_within, the_run
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.at_the_run import EQUIPMENT_KINDS, in_one_place
from traceability.domain.events import Kind
from traceability.domain.moments import Manner
from traceability.domain.people import Right
from traceability.errors import BadValue, EquipmentBusy, UnknownCode
from traceability.storage.circuits import Circuit
from traceability.storage.equipment import EquipmentUse
from traceability.storage.kept_apart import uuid7
from traceability.storage.ledger import OpenLedger
from traceability.storage.lookup import hold_on, phase_of
from traceability.storage.runs import CircuitOnRun, Run


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentOn(Asked):
    """A machine serves from `at` on; give a run or a circuit."""

    kind: ClassVar[str] = "equipment-on"
    right: ClassVar[Right | None] = Right.ACT
    run_id: UUID | None = None
    circuit_id: UUID | None = None
    at: datetime
    equipment_id: UUID | None = None
    """Chosen from the register; else `text` or `what` says which."""
    text: str = ""
    what: str = ""
    none_used: bool = False
    """None of the kind `what` is used: a fact as well."""
    manner: Manner = Manner.PLANNED
    reason: str = ""
    by: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentOff(Asked):
    """The machine serves no longer."""

    kind: ClassVar[str] = "equipment-off"
    right: ClassVar[Right | None] = Right.ACT
    use_id: UUID
    at: datetime
    manner: Manner = Manner.PLANNED


def equipment_on(asked: EquipmentOn, *, site: Site) -> Done:
    """Record the use. What ended already ends the use too.

    Raises:
        UnknownCode: no such run, circuit or machine. BadValue: nothing says what it is, or one is
        in use and none is said to be. Planned acts only: EquipmentBusy, BadScan, CautionsFirst,
        NotAllowed, WrongMoment. Nothing was written.
    """
    return answer_once(asked, _on, site)


def equipment_off(asked: EquipmentOff, *, site: Site) -> Done:
    """Record the end of the use.

    Raises:
        UnknownCode: no such use goes on. WrongMoment: planned acts only. Nothing was written.
    """
    return answer_once(asked, _off, site)


def _on(asked: EquipmentOn, session: Session, site: Site) -> Done:
    if (asked.run_id is None) == (asked.circuit_id is None):
        raise BadValue(field="run or circuit", value="", why="empty")
    on: Circuit | Run
    if asked.run_id is not None:
        on = run = the_run(session, site, asked.run_id)
        since, until, side = run.begun_at, run.ended_at, "before-run"
    else:
        on = circuit = the_circuit(session, site, asked.circuit_id or UUID(int=0))
        since, side = circuit.begun_at, "before-prime"
        until = ended_at(session, circuit, phase_of(session, circuit))
    ledger = ledger_of(asked, session, site)
    at, noted = moment_within(
        asked.at,
        asked.manner,
        now=ledger.now,
        since=since,
        since_side=side,
        until=until,
        until_side="run-ended" if asked.run_id else "circuit-ended",
    )
    machine = _machine(asked, on, session, site, at)
    first_no = ledger.next_no
    noted += _cautions(asked, machine, on, session, site)
    end = None if until is None else max(until, at)
    disputed = _settle(asked, machine, on, ledger, site, at, end)
    use_id = uuid7(ledger.now)
    body = {
        "use": use_id,
        "equipment": machine.equipment_id,
        "what": machine.kind,
        "product": machine.product_id,
        "serial": machine.serial,
        "circuit": asked.circuit_id,
        "run": asked.run_id,
        "none_used": asked.none_used,
        # What it served has ended: the use is closed in the same entry, for another use of this
        # machine may be open today.
        "until": end,
        "disputed": disputed,
        "manner": asked.manner,
        "reason": asked.reason,
        "by": asked.by or asked.sent.actor_id,
        "device_at": asked.at,
        "cautions": noted,
    }
    number = ledger.append(Kind.EQUIPMENT_ON, body, happened_at=at)
    return Done(
        first_no=first_no,
        last_no=number,
        subject=use_id,
        code="equipment-on",
        facts={"what": machine.kind, "serial": machine.serial},
        disputed=disputed,
        cautions=noted,
    )


def _machine(
    asked: EquipmentOn, on: Circuit | Run, session: Session, site: Site, at: datetime
) -> Machine:
    if asked.none_used:
        if asked.what not in EQUIPMENT_KINDS:
            raise BadValue(field="kind", value=asked.what, why="not-one-of", of=EQUIPMENT_KINDS)
        return Machine(kind=asked.what)
    return machine_of(
        session,
        site,
        equipment_id=asked.equipment_id,
        text=asked.text,
        what=asked.what,
        on=on,
        today=at.astimezone(site.zone).date(),
        refusable=asked.manner.refusable,
    )


def _cautions(
    asked: EquipmentOn, machine: Machine, on: Circuit | Run, session: Session, site: Site
) -> tuple[str, ...]:
    hold = hold_on(session, site.id, machine.product_id)
    found = (*(("on-hold",) if hold else ()), *(() if machine.active else ("out-of-use",)))
    if found and asked.manner.refusable:
        require_goes_past(asked, session, on, found, Right.PAST_STOP if hold else Right.ACT)
    return found


def _settle(
    asked: EquipmentOn,
    machine: Machine,
    on: Circuit | Run,
    ledger: OpenLedger,
    site: Site,
    at: datetime,
    end: datetime | None,
) -> bool:
    """End what this use follows on, and return whether another claim stands against it."""
    session = ledger.session
    here = {"run_id": asked.run_id} if asked.run_id else {"circuit_id": asked.circuit_id}
    beside = session.scalars(
        select(EquipmentUse).filter_by(
            site_id=site.id, kind=machine.kind, superseded_no=None, valid_to=None, **here
        )
    ).all()
    if asked.none_used:
        in_use = [use for use in beside if not use.none_used]
        if in_use and asked.manner.refusable:
            raise BadValue(field=machine.kind, value="", why="one-in-use")
        return bool(in_use)
    contradicted = any(use.none_used and use.valid_from > at for use in beside)
    for use in beside:
        # It was said that none is used, and now one is: that was so until now.
        if use.none_used and use.valid_from <= at:
            ledger.append(Kind.EQUIPMENT_OFF, {"use": use.use_id}, happened_at=at)
    clashing = [
        use
        for use in _uses_of(session, site, machine)
        if not in_one_place([(at, end), (use.valid_from, use.valid_to)])
    ]
    for use in list(clashing):
        if _goes_with(session, on, use, at):
            # It stood on the circuit before, and the circuit is this run's now.
            ledger.append(Kind.EQUIPMENT_OFF, {"use": use.use_id}, happened_at=at)
            clashing.remove(use)
    if clashing and asked.manner.refusable:
        where = _where(session, clashing[0])
        raise EquipmentBusy(name=machine.name, where=where, since=clashing[0].valid_from)
    return bool(clashing) or contradicted


def _uses_of(session: Session, site: Site, machine: Machine) -> list[EquipmentUse]:
    """Return the undisputed uses of this very machine, registered or known by its serial."""
    found: dict[UUID, EquipmentUse] = {}
    # One question for each index: joined by OR, SQLite would read all uses of the site.
    for by in (
        {"equipment_id": machine.equipment_id},
        {"serial": machine.serial, "kind": machine.kind},
    ):
        if None in by.values():
            continue
        rows = select(EquipmentUse).filter_by(
            site_id=site.id, superseded_no=None, disputed=False, **by
        )
        found |= {use.use_id: use for use in session.scalars(rows)}
    same = (
        use
        for use in found.values()
        # The same serial of another product is another machine.
        if use.equipment_id == machine.equipment_id
        or None in (use.product_id, machine.product_id)
        or use.product_id == machine.product_id
    )
    return sorted(same, key=lambda use: use.valid_from)


def _goes_with(session: Session, on: Circuit | Run, use: EquipmentUse, at: datetime) -> bool:
    """Tell whether the machine comes to the run with its circuit."""
    if not isinstance(on, Run) or use.circuit_id is None or use.valid_to is not None:
        return False
    rows = select(CircuitOnRun).filter_by(
        site_id=on.site_id,
        circuit_id=use.circuit_id,
        run_id=on.id,
        superseded_no=None,
        disputed=False,
    )
    return use.valid_from <= at and any(
        row.valid_from <= at and (row.valid_to is None or row.valid_to > at)
        for row in session.scalars(rows)
    )


def _where(session: Session, use: EquipmentUse) -> str:
    if use.run_id is not None:
        return f"run {session.get_one(Run, (use.site_id, use.run_id)).number}"
    circuit = session.get_one(Circuit, (use.site_id, use.circuit_id))
    return f"circuit {circuit.number}"


def _off(asked: EquipmentOff, session: Session, site: Site) -> Done:
    ledger = ledger_of(asked, session, site)
    use = session.scalar(
        select(EquipmentUse).filter_by(
            site_id=site.id, use_id=asked.use_id, valid_to=None, superseded_no=None
        )
    )
    if use is None:
        raise UnknownCode(what="equipment in use here", value="")
    at, noted = moment_within(
        asked.at,
        asked.manner,
        now=ledger.now,
        since=use.valid_from,
        since_side="before-equipment",
    )
    body = {
        "use": use.use_id,
        "manner": asked.manner,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.EQUIPMENT_OFF,
        body,
        at=at,
        subject=use.use_id,
        facts={"what": use.kind},
    )
