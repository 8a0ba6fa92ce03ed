"""What a person says of a place without a scan: ticked, lot not readable, not recorded, not fitted.

Three different facts beside the tick, and never a blank: *lot not readable* (the part is in),
*lot not recorded* (the part is in), *not fitted* (the part is not in).
"""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.on_circuit import priming_since, the_circuit, the_sheet
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.actions.part_rows import NOT_READ
from traceability.domain.events import Kind, Plain
from traceability.domain.in_place import free_places, suggested
from traceability.domain.moments import believed_moment
from traceability.domain.parts import Known, PartState
from traceability.domain.people import Right
from traceability.domain.sheets import Need, Sheet
from traceability.domain.trolley import Finding
from traceability.errors import BadValue, UnknownCode
from traceability.storage.circuits import Circuit
from traceability.storage.kept_apart import uuid7
from traceability.storage.lookup import in_place
from traceability.storage.trolley_acts import last_act

SAYABLE: Final = (
    PartState.TICKED,
    PartState.LOT_NOT_READABLE,
    PartState.LOT_NOT_RECORDED,
    PartState.NOT_FITTED,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Say(Asked):
    """A person says what a place holds."""

    kind: ClassVar[str] = "say"
    right: ClassVar[Right | None] = Right.ACT
    circuit_id: UUID
    state: str
    at: datetime
    slot: str = ""
    """Empty: the place of the last scan that was asked back, else the place suggested next."""
    all_open: bool = False
    """Every open part of the slot at once: all ties ticked with one touch."""


def say(asked: Say, *, site: Site) -> Done:
    """Record what was said.

    Raises:
        UnknownCode, BadValue, WrongState: nothing was written.
    """
    return answer_once(asked, _say, site)


def _say(asked: Say, session: Session, site: Site) -> Done:
    circuit = the_circuit(session, site, asked.circuit_id)
    if asked.state not in SAYABLE:
        raise BadValue(field="state", value=asked.state, why="not-one-of", of=SAYABLE)
    priming_since(session, circuit, "say")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now, not_before=circuit.begun_at)
    sheet = the_sheet(session, circuit)
    state = PartState(asked.state)
    places, product = _places(asked, state, sheet, circuit, session)
    rows = [
        said_part(sheet, slot_id, ordinal, state, product, uuid7(ledger.now))
        for slot_id, ordinal in places
    ]
    slot = sheet.slot(places[0][0])
    facts: dict[str, Plain] = {
        "state": state,
        "slot": places[0][0],
        "place": slot.name if slot else "",
        "added": len(rows),
    }
    body = {
        "circuit": circuit.id,
        "verdict": "accepted",
        "code": "said",
        "facts": facts,
        "scan": None,
        "parts": rows,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.PART_PLACED,
        body,
        at=at,
        subject=circuit.id,
        code="said",
        facts=facts,
    )


def said_part(
    sheet: Sheet, slot_id: str, ordinal: int, state: PartState, product: UUID | None, part_id: UUID
) -> dict[str, object]:
    """Return the row of a part that nobody scanned."""
    slot = sheet.slot(slot_id)
    if slot is None:
        raise UnknownCode(what="place", value=slot_id)
    return {
        **NOT_READ,
        "part": part_id,
        "slot": slot_id,
        "ordinal": ordinal,
        "kind": slot.kind,
        "state": state,
        "known": Known.SAID,
        "product": product,
        "volume_ml": slot.volume_ml,
        "leaves": slot.leaves,
        "stays": slot.stays,
    }


def _places(
    asked: Say, state: PartState, sheet: Sheet, circuit: Circuit, session: Session
) -> tuple[list[tuple[str, int]], UUID | None]:
    """Return the places meant, and the product where a scan named it without its lot."""
    filled = in_place(session, circuit)
    slot_id, product = asked.slot, None
    act = last_act(session, circuit, asked.sent.device_id)
    if act is not None and act.code in {Finding.LOT_NOT_IN_CODE, Finding.SERIAL_NOT_IN_CODE}:
        facts = json.loads(act.facts)
        of_kind = [slot for slot in sheet.slots if slot.kind == facts["kind"]]
        free = free_places(of_kind, filled)
        if free and (not slot_id or slot_id in {slot.id for slot in of_kind}):
            slot_id = slot_id or free[0][0]
            product = UUID(facts["product"])
    slot = sheet.slot(slot_id or suggested(sheet, filled))
    if slot is None:
        raise UnknownCode(what="place", value=slot_id)
    if (state is PartState.TICKED) != (
        slot.need is Need.TICK
    ) and state is not PartState.NOT_FITTED:
        why = "needs-a-lot" if state is PartState.TICKED else "needs-a-tick"
        raise BadValue(field=slot.name, value=asked.state, why=why)
    free = free_places([slot], filled)
    if not free:
        raise BadValue(field=slot.name, value=asked.state, why="nothing-open")
    return (free if asked.all_open else free[:1]), product
