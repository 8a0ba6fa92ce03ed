"""Parts as an event's body holds them: one shape, whoever puts the part in and however."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from traceability.actions.prime.scanned import Understood
from traceability.domain.parts import PartState

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
