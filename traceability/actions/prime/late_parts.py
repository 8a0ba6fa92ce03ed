"""Parts as a paper names them, turned into the rows that a scan would have made."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.part_rows import NOT_READ, inside_pack
from traceability.actions.prime.pieces import NO_CIRCUIT
from traceability.actions.prime.say import said_part
from traceability.domain.days import last_day_of_use
from traceability.domain.in_place import InPlace, free_places
from traceability.domain.keys import lot_key, unit_key
from traceability.domain.parts import GAPS, Known, PartState
from traceability.domain.sheets import BLOOD_KIND, Need, Sheet, Slot
from traceability.domain.swap_checks import against_swap
from traceability.domain.trolley import FLUID_KIND, PACK_KIND, Piece
from traceability.domain.use_by import PartExpiry
from traceability.errors import BadValue, UnknownCode
from traceability.storage.circuits import Part
from traceability.storage.items import Product
from traceability.storage.kept_apart import uuid7
from traceability.storage.lookup import (
    hold_on,
)
from traceability.storage.unit_lookup import (
    circuit_with_unit,
)

MOST_ORDINALS = 99
"""More pieces than that in one place is a slip of the pen. Own choice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LatePart:
    """One part as it stands on the paper."""

    slot: str
    """The place of the sheet; another word for what the sheet has no place for."""
    ordinal: int = 1
    kind: str = ""
    """Kind of part; empty: the product's, else the place's."""
    product_id: UUID | None = None
    """None: the paper does not say which product."""
    lot_text: str | None = None
    """As printed. Without a product it means nothing, and the lot counts as not recorded."""
    serial: str | None = None
    expiry: str | None = None
    """As printed: `YYYY-MM-DD`, or `YYYY-MM` where only the month is given."""
    box: str | None = None
    """Code of the outer box it came from, where the paper says so."""
    state: str = ""
    """One of `PartState`; empty: *recorded* where a lot or serial is given, else *lot not
    recorded*."""
    known: str = Known.TYPED
    """One of `Known`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LateRows:
    """The rows of an event's body, and what follows from them."""

    rows: tuple[dict[str, object], ...]
    filled: tuple[InPlace, ...]
    expiries: tuple[PartExpiry, ...]
    """Of what stays in the circuit."""
    cautions: tuple[str, ...]

    @property
    def has_blood(self) -> bool:
        """Whether a blood component went in."""
        return any(
            row["kind"] == BLOOD_KIND and row["state"] != PartState.NOT_FITTED for row in self.rows
        )

    @property
    def bags_ml(self) -> int:
        """What the bags hold that stay, in millilitres."""
        return sum(int(str(row["volume_ml"] or 0)) for row in self.rows if row["stays"])

    def filled_up(self, sheet: Sheet, now: datetime) -> "LateRows":
        """Return the same with every place spoken for: ticked, or *lot not recorded*."""
        ticks = {slot.id for slot in sheet.slots if slot.need is Need.TICK}
        added = [
            said_part(
                sheet,
                slot_id,
                ordinal,
                PartState.TICKED if slot_id in ticks else PartState.LOT_NOT_RECORDED,
                None,
                uuid7(now),
            )
            for slot_id, ordinal in free_places(sheet.slots, self.filled)
        ]
        return replace(self, rows=(*self.rows, *added))


def rows_of(
    parts: Sequence[LatePart],
    sheet: Sheet,
    session: Session,
    site_id: UUID,
    *,
    day: date,
    now: datetime,
    circuit_id: UUID = NO_CIRCUIT,
) -> LateRows:
    """Return the rows for these parts; `day` is the unit's day on which the prime began.

    `circuit_id` is the circuit that was taken before it was entered.

    Raises:
        UnknownCode: no such product. BadValue: two parts in one place, or words that are none of
        ours. Nothing was written.
    """
    made = [_row(part, sheet, session, site_id, circuit_id, day=day, now=now) for part in parts]
    rows = [row for row, _, _ in made]
    _require_places_once(rows)
    twice = doubt_units_named_twice(rows)
    filled = [_in_place(row) for row in rows]
    for pack in [row for row in rows if row["kind"] == PACK_KIND]:
        inside = inside_pack(sheet, filled, pack, now)
        rows += inside
        filled += [_in_place(row) for row in inside]
    return LateRows(
        rows=tuple(rows),
        filled=tuple(filled),
        expiries=tuple(
            PartExpiry(
                name=product.name,
                lot=part.lot_text,
                expiry=last_day_of_use(part.expiry),
                day_given=len(part.expiry) == len("2027-03-31"),
            )
            for part, (row, product, _) in zip(parts, made, strict=True)
            if part.expiry and product is not None and not row["leaves"]
        ),
        cautions=tuple(
            dict.fromkeys(
                [*(code for _, _, codes in made for code in codes), *(["serial-twice"] * twice)]
            )
        ),
    )


def _row(
    part: LatePart,
    sheet: Sheet,
    session: Session,
    site_id: UUID,
    circuit_id: UUID,
    *,
    day: date,
    now: datetime,
) -> tuple[dict[str, object], Product | None, list[str]]:
    product = None
    if part.product_id is not None:
        product = session.get(Product, (site_id, part.product_id))
        if product is None:
            raise UnknownCode(what="product", value=str(part.product_id))
    state, known, expires = _words(part)
    slot = sheet.slot(part.slot)
    kind = part.kind or (product.kind if product else "") or (slot.kind if slot else "")
    lot_id = lot_key(product.id, part.lot_text) if product and part.lot_text else None
    unit_id = unit_key(product.id, part.serial) if product and part.serial else None
    elsewhere = circuit_with_unit(session, site_id, unit_id, circuit_id) if unit_id else None
    volume = product.volume_ml if product and product.volume_ml else slot and slot.volume_ml
    row: dict[str, object] = {
        **NOT_READ,
        "part": uuid7(now),
        "slot": part.slot,
        "ordinal": part.ordinal,
        "kind": kind,
        "state": state,
        "known": known,
        "product": product and product.id,
        "lot": part.lot_text,
        "lot_id": lot_id,
        "serial": part.serial,
        "unit": unit_id,
        "expiry": part.expiry,
        "expiry_day": expires and expires.isoformat(),
        "volume_ml": volume,
        "leaves": slot.leaves if slot else False,
        "stays": slot.stays if slot else kind == FLUID_KIND,
        "disputed": elsewhere is not None or stands_in(session, site_id, circuit_id, unit_id),
        "box": part.box,
    }
    hold = hold_on(session, site_id, lot_id, product.id if product else None)
    piece = Piece(
        product_id=product.id if product else NO_CIRCUIT,
        name=product.name if product else "",
        kind=kind,
        substance=product.substance if product else "",
        expiry=expires,
        on_hold=(hold.notice or hold.reason) if hold else "",
        elsewhere=elsewhere,
    )
    return row, product, _against(piece, product, slot, sheet, day)


def stands_in(
    session: Session,
    site_id: UUID,
    circuit_id: UUID,
    unit_id: UUID | None,
    *,
    besides_no: int | None = None,
) -> bool:
    """Tell whether this very unit is in that circuit by another entry than `besides_no`."""
    rows = select(Part.recorded_no).filter_by(
        site_id=site_id,
        circuit_id=circuit_id,
        unit_id=unit_id,
        valid_to=None,
        superseded_no=None,
        disputed=False,
    )
    if unit_id is None:
        return False
    return any(number != besides_no for number in session.scalars(rows))


def _against(
    piece: Piece, product: Product | None, slot: Slot | None, sheet: Sheet, day: date
) -> list[str]:
    """Return all that a trolley would have said against this part."""
    findings = against_swap(piece, slot if product else None, day)
    codes = [str(finding) for finding in findings]
    if slot is None:
        codes.append("not-on-sheet")
    elif piece.kind != slot.kind:
        codes.append("other-kind")
    if product and piece.kind == PACK_KIND and product.circuit_type != sheet.circuit_type:
        codes.append("wrong-type")
    return codes


def _words(part: LatePart) -> tuple[PartState, Known, date | None]:
    """Return state, how it is known, and the last usable day, in words of ours."""
    if not part.slot or not 1 <= part.ordinal <= MOST_ORDINALS:
        raise BadValue(field="place", value=f"{part.slot} {part.ordinal}", why="out-of-range")
    told = part.product_id is not None and bool(part.lot_text or part.serial)
    given = part.state or (PartState.RECORDED if told else PartState.LOT_NOT_RECORDED)
    if given not in set(PartState):
        raise BadValue(field="state", value=part.state, why="not-one-of", of=tuple(PartState))
    if part.known not in set(Known):
        raise BadValue(field="how it is known", value=part.known, why="not-one-of", of=tuple(Known))
    state = PartState(given)
    if state is PartState.RECORDED and not told:
        state = PartState.LOT_NOT_RECORDED
    if part.lot_text and part.product_id and state in {*GAPS, PartState.NOT_FITTED}:
        raise BadValue(field=part.slot, value=part.lot_text, why="lot-and-none")
    try:
        expires = last_day_of_use(part.expiry) if part.expiry else None
    except ValueError:
        raise BadValue(field="expiry", value=part.expiry, why="bad-day") from None
    return state, Known(part.known), expires


def _require_places_once(rows: Sequence[dict[str, object]]) -> None:
    places = [(row["slot"], row["ordinal"]) for row in rows]
    for row in rows:
        if places.count((row["slot"], row["ordinal"])) > 1:
            raise BadValue(field=str(row["slot"]), value=str(row["ordinal"]), why="place-twice")


def doubt_units_named_twice(rows: Sequence[dict[str, object]]) -> bool:
    """Mark as disputed what bears the serial of a row before it; return whether there is any.

    One of the two is a slip of the pen, and nobody knows which: both are kept.
    """
    seen: set[object] = set()
    found = False
    for row in rows:
        again = row["unit"] is not None and row["unit"] in seen
        seen.add(row["unit"])
        found |= again
        row["disputed"] = row["disputed"] is True or again
    return found


def _in_place(row: dict[str, object]) -> InPlace:
    return InPlace(
        slot=str(row["slot"]),
        ordinal=int(str(row["ordinal"])),
        state=PartState(str(row["state"])),
        kind=str(row["kind"]),
    )
