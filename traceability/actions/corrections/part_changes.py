"""What a person types of a part, as an entry's row holds it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.corrections import pieces_told
from traceability.domain.days import last_day_of_use
from traceability.domain.events import Plain, Recorded
from traceability.domain.keys import lot_key, unit_key
from traceability.domain.parts import Known, PartState
from traceability.errors import BadValue, CannotCorrect, UnknownCode
from traceability.storage.circuits import Circuit, Part
from traceability.storage.items import Product

LONGEST: Final = 60
"""Characters of a lot or a serial; the standards' own limits are below it."""
CAN_BE: Final = (
    PartState.RECORDED,
    PartState.LOT_NOT_RECORDED,
    PartState.LOT_NOT_READABLE,
    PartState.NOT_FITTED,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartSaid:
    """What the piece really is; all of it, as the form shows it."""

    state: str
    product_id: UUID | None
    lot: str
    serial: str
    expiry: str
    """ "2033-03-31", or "2033-03" where only the month is printed; empty: none."""


def part_row(event: Recorded, part: UUID) -> Mapping[str, Plain] | None:
    """Return the row of a piece in an entry, as it stands."""
    return next((row for row in pieces_told(event) if row.get("part") == str(part)), None)


def part_changes(
    session: Session, site_id: UUID, row: Mapping[str, Plain], said: PartSaid
) -> dict[str, Plain]:
    """Return what differs, by name as in the row; nothing where all is as it was.

    Raises:
        BadValue, UnknownCode: what was typed cannot be. CannotCorrect: the piece of that serial
        is in another circuit.
    """
    if said.state not in CAN_BE:
        raise BadValue(field="state", value=said.state, why="not-one-of", of=CAN_BE)
    for field, text in (("lot", said.lot), ("serial", said.serial)):
        if len(text) > LONGEST:
            raise BadValue(field=field, value="", why="too-long")
    product = session.get(Product, (site_id, said.product_id)) if said.product_id else None
    if said.product_id and product is None:
        raise UnknownCode(what="product", value=str(said.product_id))
    if product is not None and product.kind != row.get("kind"):
        raise CannotCorrect(why="other-kind", what=product.name)
    recorded = said.state == PartState.RECORDED
    if recorded and (product is None or not (said.lot or said.serial)):
        raise BadValue(field="product, and lot or serial", value="", why="empty")
    fitted = said.state != PartState.NOT_FITTED
    lot, serial = (said.lot, said.serial) if recorded else ("", "")
    wanted: dict[str, Plain] = {
        "state": said.state,
        "product": str(product.id) if product and fitted else None,
        "lot": lot or None,
        "lot_id": str(lot_key(product.id, lot)) if product and lot else None,
        "serial": serial or None,
        "unit": str(unit_key(product.id, serial)) if product and serial else None,
        **_expiry(said.expiry if recorded else ""),
    }
    changed: dict[str, Plain] = {
        name: value for name, value in wanted.items() if row.get(name) != value
    }
    if set(changed) == {"expiry_day"}:
        return {}
    if "unit" in changed and wanted["unit"]:
        _require_free(session, site_id, UUID(str(wanted["unit"])), UUID(str(row["part"])))
    if changed:
        changed["known"] = Known.TYPED.value if recorded else Known.SAID.value
    return changed


def _expiry(text: str) -> dict[str, Plain]:
    if not text:
        return {"expiry": None, "expiry_day": None}
    try:
        last = last_day_of_use(text)
        if last.isoformat()[: len(text)] != text:
            raise ValueError
    except (ValueError, OverflowError):
        raise BadValue(field="expires", value=text, why="no-date") from None
    return {"expiry": text, "expiry_day": _day(last)}


def _day(last: date) -> str:
    return last.isoformat()


def _require_free(session: Session, site_id: UUID, unit_id: UUID, part_id: UUID) -> None:
    """Refuse a serial whose piece stands in a circuit now: one piece is in one place."""
    rows = (
        select(Circuit.number)
        .join(Part, (Part.site_id == Circuit.site_id) & (Part.circuit_id == Circuit.id))
        .where(
            Part.site_id == site_id,
            Part.unit_id == unit_id,
            Part.valid_to.is_(None),
            Part.superseded_no.is_(None),
            Part.part_id != part_id,
        )
        .limit(1)
    )
    number = session.scalar(rows)
    if number is not None:
        raise CannotCorrect(why="serial-elsewhere", number=number)
