"""Parts as an event's body holds them: one shape, whoever puts the part in and however."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from types import MappingProxyType
from typing import Final

from traceability.actions.prime.scanned import Understood
from traceability.domain.in_place import InPlace, free_places
from traceability.domain.parts import Known, PartState
from traceability.domain.sheets import Sheet, Where
from traceability.storage.kept_apart import uuid7

NOT_READ: Final[Mapping[str, object]] = MappingProxyType(
    {
        "product": None,
        "lot": None,
        "lot_id": None,
        "serial": None,
        "unit": None,
        "expiry": None,
        "expiry_day": None,
        "volume_ml": None,
        "leaves": False,
        "stays": False,
        "pack": None,
        "disputed": False,
    }
)
"""What stands for a part whose code nobody read; whoever knows more says so over it."""


def as_read(understood: Understood) -> dict[str, object]:
    """Return what the code of a piece says of it."""
    piece = understood.piece
    return {
        "kind": piece.kind,
        "state": PartState.RECORDED if piece.lot or piece.serial else PartState.LOT_NOT_RECORDED,
        "known": piece.known,
        "product": understood.product.id,
        "lot": piece.lot,
        "lot_id": understood.lot_id,
        "serial": piece.serial,
        "unit": understood.unit_id,
        "expiry": understood.expiry_printed,
        "expiry_day": piece.expiry.isoformat() if piece.expiry else None,
        "volume_ml": piece.volume_ml,
    }


def inside_pack(
    sheet: Sheet, filled: Sequence[InPlace], pack: Mapping[str, object], now: datetime
) -> list[dict[str, object]]:
    """Return the rows of what a pack brings into the places that are still empty."""
    slots = {
        slot.id: slot for slot in sheet.slots if slot.inside_pack and slot.where is not Where.PACK
    }
    return [
        {
            **NOT_READ,
            "part": uuid7(now),
            "slot": slot_id,
            "ordinal": ordinal,
            "kind": slots[slot_id].kind,
            "state": PartState.INSIDE_PACK,
            "known": Known.PACK,
            "leaves": slots[slot_id].leaves,
            "pack": pack["part"],
        }
        for slot_id, ordinal in free_places(slots.values(), filled)
    ]
