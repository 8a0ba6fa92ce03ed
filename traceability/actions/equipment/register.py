"""The register of machines, and where each stands."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_run import moment_within
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.at_the_run import EQUIPMENT_KINDS
from traceability.domain.events import Kind
from traceability.domain.moments import Manner
from traceability.domain.people import Right
from traceability.errors import BadValue, UnknownCode
from traceability.storage.equipment import Equipment, EquipmentPlace, EquipmentState
from traceability.storage.items import Product
from traceability.storage.kept_apart import uuid7
from traceability.storage.site import Place

LONGEST: Final = 80
DAYS: Final = ("serviced_on", "disinfected_on")


@dataclass(frozen=True, slots=True, kw_only=True)
class SetEquipment(Asked):
    """Add a machine, or say what is so now of one that is known."""

    kind: ClassVar[str] = "set-equipment"
    right: ClassVar[Right | None] = Right.EQUIPMENT
    equipment_id: UUID | None = None
    """None: a new one."""
    what: str
    """Its kind, of `domain.at_the_run.EQUIPMENT_KINDS`."""
    product_id: UUID | None = None
    maker: str = ""
    model: str = ""
    serial: str = ""
    """As printed; empty: not recorded."""
    asset_number: str = ""
    software: str = ""
    made: str = ""
    owner: str = ""
    """Of a loan."""
    serviced_on: str = ""
    """Day as 2026-11-25; empty: not recorded."""
    disinfected_on: str = ""
    active: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveEquipment(Asked):
    """The machine stands somewhere else now."""

    kind: ClassVar[str] = "move-equipment"
    right: ClassVar[Right | None] = Right.ACT
    equipment_id: UUID
    place_id: UUID
    at: datetime
    manner: Manner = Manner.PLANNED


def set_equipment(asked: SetEquipment, *, site: Site) -> Done:
    """Record the machine; what was known of it before stays readable with its dates.

    Raises:
        BadValue: no such kind, nothing to know it by, a number in use, a day to come.
        UnknownCode: no such machine or product. Nothing was written.
    """
    return answer_once(asked, _set, site)


def move_equipment(asked: MoveEquipment, *, site: Site) -> Done:
    """Record the new place.

    Raises:
        UnknownCode: no such machine or place. WrongMoment: planned acts only; before it came to
        where it stands, or in the future. Nothing was written.
    """
    return answer_once(asked, _move, site)


def _set(asked: SetEquipment, session: Session, site: Site) -> Done:
    texts = ("maker", "model", "serial", "asset_number", "software", "made", "owner")
    said = {name: getattr(asked, name).strip() for name in texts}
    said["asset_number"] = said["asset_number"].upper()
    _check(asked, said, session, site)
    ledger = ledger_of(asked, session, site)
    _require_free(session, site, said["asset_number"], asked.equipment_id)
    today = ledger.now.astimezone(site.zone).date()
    days = {name: _day(name, getattr(asked, name), today) for name in DAYS}
    equipment_id = asked.equipment_id or uuid7(ledger.now)
    body = {
        "equipment": equipment_id,
        "kind": asked.what,
        "product": asked.product_id,
        **said,
        **days,
        "active": asked.active,
    }
    number = ledger.append(Kind.EQUIPMENT_SET, body, happened_at=ledger.now)
    return Done(first_no=number, last_no=number, subject=equipment_id, code="equipment-set")


def _day(name: str, text: str, today: date) -> str | None:
    """Return the day as the event's body holds it; None: not recorded."""
    field, given = name.replace("_", " "), text.strip()
    if not given:
        return None
    try:
        day = date.fromisoformat(given)
    except ValueError:
        raise BadValue(field=field, value=given, why="no-day") from None
    if day > today:
        raise BadValue(field=field, value=given, why="to-come")
    return day.isoformat()


def _check(asked: SetEquipment, said: dict[str, str], session: Session, site: Site) -> None:
    if asked.what not in EQUIPMENT_KINDS:
        raise BadValue(field="kind", value=asked.what, why="not-one-of", of=EQUIPMENT_KINDS)
    for name, text in said.items():
        if len(text) > LONGEST:
            raise BadValue(field=name.replace("_", " "), value="", why="too-long")
    if not (said["asset_number"] or said["serial"]):
        raise BadValue(field="asset number or serial", value="", why="empty")
    for key, table in ((asked.equipment_id, Equipment), (asked.product_id, Product)):
        if key is not None and session.get(table, (site.id, key)) is None:
            raise UnknownCode(what=table.__tablename__, value=str(key))


def _require_free(session: Session, site: Site, number: str, besides: UUID | None) -> None:
    rows = select(EquipmentState.equipment_id).filter_by(
        site_id=site.id, asset_number=number, valid_to=None, superseded_no=None
    )
    if number and any(each != besides for each in session.scalars(rows)):
        raise BadValue(field="asset number", value=number, why="in-use")


def _move(asked: MoveEquipment, session: Session, site: Site) -> Done:
    machine = session.get(Equipment, (site.id, asked.equipment_id), with_for_update=True)
    place = session.get(Place, (site.id, asked.place_id))
    if machine is None or place is None:
        missing = "place" if machine else "equipment"
        raise UnknownCode(what=missing, value="")
    ledger = ledger_of(asked, session, site)
    rows = select(EquipmentPlace.valid_from).filter_by(
        site_id=site.id, equipment_id=machine.id, valid_to=None, superseded_no=None
    )
    at, noted = moment_within(
        asked.at,
        asked.manner,
        now=ledger.now,
        since=session.scalar(rows),
        since_side="before-that",
    )
    body = {
        "equipment": machine.id,
        "place": place.id,
        "manner": asked.manner,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.EQUIPMENT_MOVED,
        body,
        at=at,
        subject=machine.id,
        facts={"place": place.name},
    )
