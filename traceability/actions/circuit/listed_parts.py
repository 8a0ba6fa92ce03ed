"""The lines of a sending hospital's list, turned into rows of parts."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.circuit.stated_products import (
    KnownProduct,
    product_by_id,
    stated_product,
)
from traceability.actions.prime.late_parts import doubt_units_named_twice, stands_in
from traceability.domain.contents_file import ContentsFile, FileProduct
from traceability.domain.days import last_day_of_use
from traceability.domain.keys import lot_key, unit_key
from traceability.domain.parts import Known, PartState
from traceability.domain.sheets import BLOOD_KIND, Where, read_sheet
from traceability.domain.trolley import FLUID_KIND, PACK_KIND
from traceability.errors import BadValue
from traceability.storage.circuits import Circuit, Sheet
from traceability.storage.items import Product
from traceability.storage.kept_apart import uuid7
from traceability.storage.lookup import (
    newest_sheet,
)
from traceability.storage.moves import list_of
from traceability.storage.unit_lookup import (
    circuit_with_unit,
)

PRIMING_PLACE: Final = "used-in-priming"
"""Where a part stands that left with the prime's end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedPart:
    """One line of the list."""

    kind: str = ""
    """Kind of part; empty: the product's."""
    slot: str = ""
    """Place or line by which the list names the piece, the same in a later list; empty: none."""
    product_id: UUID | None = None
    """A product that is known here."""
    product: FileProduct | None = None
    """A product as the sending hospital knows it; recorded here if it is new."""
    lot_text: str | None = None
    serial: str | None = None
    expiry: str | None = None
    volume_ml: int | None = None
    state: str = ""
    """One of `PartState`; empty: by what is given."""
    priming_only: bool = False


def lines_of(contents: ContentsFile) -> tuple[ListedPart, ...]:
    """Return the lines of a file that the sending hospital's own record wrote."""
    return tuple(
        ListedPart(
            kind=part.kind,
            product=part.product,
            lot_text=part.lot,
            serial=part.serial,
            expiry=part.expires,
            volume_ml=part.volume_ml,
            state=part.state,
            priming_only=part.priming_only,
        )
        for part in contents.parts
    )


@dataclass(slots=True, kw_only=True)
class Listed:
    """What an event's body holds of a list, and what is new because of it."""

    rows: list[dict[str, object]] = field(default_factory=list)
    new_products: list[dict[str, object]] = field(default_factory=list)
    pack_unknown: bool = False
    """A pack is in the list and nobody here knows what such a pack holds."""
    kind_unknown: bool = False
    """A part without a lot is of a kind that no product and no sheet here has: a question about
    that part by our word for it would pass it over."""

    @property
    def cautions(self) -> tuple[str, ...]:
        """Why a list that is said to be complete does not count as such."""
        checks = {
            "pack-contents-not-known": self.pack_unknown,
            "kind-not-known-here": self.kind_unknown,
        }
        return tuple(code for code, applies in checks.items() if applies)


def listed_rows(
    parts: Sequence[ListedPart],
    circuit: Circuit,
    session: Session,
    *,
    held: Mapping[str, Sequence[int]],
    as_it_stands: bool,
    now: datetime,
) -> Listed:
    """Return the rows for these lines; a place's ordinals leave out what is `held` there.

    Raises:
        UnknownCode, BadValue: nothing was written.
    """
    made = Listed()
    ordinals = {slot: set(taken) for slot, taken in held.items()}
    kinds, kinds_here = {part.kind for part in parts}, _kinds_here(session, circuit.site_id)
    states = {part.state for part in parts}
    packs: list[tuple[dict[str, object], str]] = []
    for part in parts:
        product = _product(part, circuit.site_id, session, made)
        row = _row(part, product, circuit, session, now)
        row["ordinal"] = _next_free(ordinals, str(row["slot"]))
        made.rows.append(row)
        kinds.add(str(row["kind"]))
        if row["lot"] is None and row["kind"] not in kinds_here:
            made.kind_unknown = True
        if row["kind"] == PACK_KIND and row["state"] != PartState.NOT_FITTED:
            packs.append((row, product.circuit_type if product else ""))
    if doubt_units_named_twice(made.rows) and not as_it_stands:
        raise BadValue(field="serial", value="", why="serial-twice")
    if PartState.INSIDE_PACK not in states:
        for pack, circuit_type in packs:
            inside = _inside(pack, circuit_type, kinds, circuit, session, now)
            made.pack_unknown |= inside is None
            for row in inside or ():
                row["ordinal"] = _next_free(ordinals, str(row["slot"]))
                made.rows.append(row)
    return made


def _product(
    part: ListedPart, site_id: UUID, session: Session, made: Listed
) -> KnownProduct | None:
    if part.product_id is not None:
        return product_by_id(part.product_id, site_id, session)
    if part.product is None:
        return None
    known, new = stated_product(part.product, part.kind, site_id, session)
    if new is not None and new["product"] not in [row["product"] for row in made.new_products]:
        made.new_products.append(new)
    return known


def _row(
    part: ListedPart,
    product: KnownProduct | None,
    circuit: Circuit,
    session: Session,
    now: datetime,
) -> dict[str, object]:
    kind = (product.kind if product else "") or part.kind
    if not kind:
        raise BadValue(field="kind of part", value="", why="empty")
    told = product is not None and bool(part.lot_text or part.serial)
    state = part.state or (PartState.RECORDED if told else PartState.LOT_NOT_RECORDED)
    if state not in set(PartState):
        raise BadValue(field="state", value=part.state, why="not-one-of", of=tuple(PartState))
    if state == PartState.RECORDED and not told:
        state = PartState.LOT_NOT_RECORDED
    if state != PartState.RECORDED and told:
        raise BadValue(field=kind, value=part.lot_text or part.serial, why="lot-and-none")
    try:
        expires = last_day_of_use(part.expiry) if part.expiry else None
    except ValueError:
        raise BadValue(field="expiry", value=part.expiry, why="bad-day") from None
    unit_id = unit_key(product.id, part.serial) if product and part.serial else None
    elsewhere = unit_id and circuit_with_unit(session, circuit.site_id, unit_id, circuit.id)
    fluid = kind in {FLUID_KIND, BLOOD_KIND}
    return {
        "part": uuid7(now),
        "slot": PRIMING_PLACE if part.priming_only else part.slot or kind,
        "ordinal": 0,
        "kind": kind,
        "state": PartState(state),
        "known": Known.STATED,
        "product": product and product.id,
        "lot": lot_key(product.id, part.lot_text) if product and part.lot_text else None,
        "lot_text": part.lot_text,
        "serial": part.serial,
        "unit": unit_id,
        "expiry": part.expiry,
        "expiry_day": expires and expires.isoformat(),
        "volume_ml": part.volume_ml or (product.volume_ml if product else None),
        "leaves": part.priming_only,
        "stays": fluid and not part.priming_only,
        "disputed": bool(elsewhere) or _stands_here(session, circuit, unit_id),
        "pack": None,
    }


def _stands_here(session: Session, circuit: Circuit, unit_id: UUID | None) -> bool:
    """Tell whether we put this very unit in ourselves; the list before this one is no claim."""
    before = list_of(session, circuit)
    number = before.recorded_no if before else None
    return stands_in(session, circuit.site_id, circuit.id, unit_id, besides_no=number)


def _inside(
    pack: Mapping[str, object],
    circuit_type: str,
    kinds: set[str],
    circuit: Circuit,
    session: Session,
    now: datetime,
) -> list[dict[str, object]] | None:
    """Return what our sheet says is inside such a pack and the list does not name; None: unknown.

    Else a notice about an inner part would exclude the circuit because its list names no such part.
    """
    sheet = newest_sheet(session, circuit.site_id, circuit_type) if circuit_type else None
    if sheet is None:
        return None
    return [
        {
            **pack,
            "part": uuid7(now),
            "slot": slot.kind,
            "kind": slot.kind,
            "state": PartState.INSIDE_PACK,
            "known": Known.PACK,
            "product": None,
            "lot": None,
            "lot_text": None,
            "serial": None,
            "unit": None,
            "expiry": None,
            "expiry_day": None,
            "volume_ml": None,
            "leaves": slot.leaves,
            "stays": False,
            "disputed": False,
            "pack": pack["part"],
        }
        for slot in sheet.slots
        if slot.inside_pack and slot.where is not Where.PACK and slot.kind not in kinds
        for _ in range(slot.count)
    ]


def _kinds_here(session: Session, site_id: UUID) -> set[str]:
    products = session.scalars(select(Product.kind).filter_by(site_id=site_id).distinct())
    bodies = session.scalars(select(Sheet.body).filter_by(site_id=site_id))
    return {
        *products,
        *(slot.kind for body in bodies for slot in read_sheet(json.loads(body)).slots),
    }


def _next_free(ordinals: dict[str, set[int]], slot: str) -> int:
    taken = ordinals.setdefault(slot, set())
    free = next(number for number in range(1, len(taken) + 2) if number not in taken)
    taken.add(free)
    return free
