"""What a paper says of machines: which served a circuit, from when, and until when.

It has happened, so it is taken as told. A machine that was then somewhere else by another entry is
kept in both places, and the second claim is disputed.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.at_the_run import EQUIPMENT_KINDS
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, UnknownCode
from traceability.storage.equipment import EquipmentState, EquipmentUse
from traceability.storage.items import Product
from traceability.storage.kept_apart import uuid7


@dataclass(frozen=True, slots=True, kw_only=True)
class EnterUseLate(Asked):
    """A machine served this circuit from `at` on."""

    kind: ClassVar[str] = "enter-use-late"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    at: datetime
    what: str
    """Its kind, of `domain.at_the_run.EQUIPMENT_KINDS`."""
    product_id: UUID | None = None
    """None: the paper does not say which."""
    serial: str | None = None
    """As printed; None: not written down."""
    use_id: UUID | None = None
    """The line of the paper, where its end may be entered first; None: a new id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EndUseLate(Asked):
    """It served until `at`; the use itself may not be entered yet."""

    kind: ClassVar[str] = "end-use-late"
    right: ClassVar[Right | None] = Right.ACT
    use_id: UUID
    at: datetime


def enter_use_late(asked: EnterUseLate, *, site: Site) -> Done:
    """Record the use.

    Raises:
        UnknownCode: no such circuit or product. BadValue: no such kind. Nothing was written.
    """
    return answer_once(asked, _enter, site)


def end_use_late(asked: EndUseLate, *, site: Site) -> Done:
    """Record the end of a use."""
    return answer_once(asked, _end, site)


def _enter(asked: EnterUseLate, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    if asked.what not in EQUIPMENT_KINDS:
        raise BadValue(field="kind", value=asked.what, why="not-one-of", of=EQUIPMENT_KINDS)
    if asked.product_id and session.get(Product, (site.id, asked.product_id)) is None:
        raise UnknownCode(what="product", value=str(asked.product_id))
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    use_id = asked.use_id or uuid7(ledger.now)
    equipment_id = _registered(asked, session, site)
    body = {
        "use": use_id,
        "equipment": equipment_id,
        "what": asked.what,
        "product": asked.product_id,
        "serial": asked.serial,
        "circuit": circuit.id,
        "run": None,
        "none_used": False,
        "disputed": _claimed(use_id, equipment_id, session, site),
        "manner": "late",
        "reason": "",
        "by": asked.sent.actor_id,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.EQUIPMENT_ON,
        body,
        at=at,
        subject=use_id,
        facts={"what": asked.what, "serial": asked.serial},
        disputed=body["disputed"] is True,
    )


def _registered(asked: EnterUseLate, session: Session, site: Site) -> UUID | None:
    if asked.product_id is None or asked.serial is None:
        return None
    rows = select(EquipmentState.equipment_id).filter_by(
        site_id=site.id,
        product_id=asked.product_id,
        serial=asked.serial,
        valid_to=None,
        superseded_no=None,
    )
    return session.scalars(rows.order_by(EquipmentState.recorded_no).limit(1)).first()


def _claimed(use_id: UUID, equipment_id: UUID | None, session: Session, site: Site) -> bool:
    """Tell whether the machine, or this very use, stands somewhere by another entry."""
    same = [EquipmentUse.use_id == use_id]
    if equipment_id is not None:
        same.append(EquipmentUse.equipment_id == equipment_id)
    rows = select(EquipmentUse.use_id).where(
        EquipmentUse.site_id == site.id,
        or_(*same),
        EquipmentUse.valid_to.is_(None),
        EquipmentUse.superseded_no.is_(None),
        EquipmentUse.disputed.is_(False),
    )
    return session.scalars(rows.limit(1)).first() is not None


def _end(asked: EndUseLate, session: Session, site: Site) -> Done:
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body = {"use": asked.use_id, "manner": "late", "device_at": asked.at, "cautions": noted}
    number = ledger.append(Kind.EQUIPMENT_OFF, body, happened_at=at)
    return Done(
        first_no=number,
        last_no=number,
        subject=asked.use_id,
        code="equipment-off",
        cautions=noted,
    )
