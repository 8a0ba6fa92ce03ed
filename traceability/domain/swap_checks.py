"""What speaks against a piece that goes into a circuit outside its prime, all of it at once."""

from collections.abc import Iterable
from datetime import date

from traceability.domain.people import Right
from traceability.domain.sheets import Slot
from traceability.domain.trolley import (
    FLUID_KIND,
    WAY_ON,
    Finding,
    Piece,
    is_suction,
    same_words,
)

__all__ = ["against_swap", "right_to_go_on"]


def against_swap(piece: Piece, slot: Slot | None, today: date) -> tuple[Finding, ...]:
    """Return all that speaks against putting this piece into a place of a running circuit.

    Everything at once, the most dangerous first: nobody at a bedside reads one list after another.
    """
    same_fluid = slot is None or same_words(slot.substance, piece.substance)
    suction = slot is not None and is_suction(piece, slot)
    checks = {
        Finding.WRONG_FLUID: piece.kind == FLUID_KIND and not same_fluid,
        Finding.SUCTION_SIDE: suction,
        Finding.ON_HOLD: bool(piece.on_hold),
        Finding.IN_NOTICE: bool(piece.in_notice),
        Finding.EXPIRED: piece.expiry is not None and piece.expiry < today,
        Finding.SAME_SERIAL_ELSEWHERE: piece.elsewhere is not None,
    }
    return tuple(finding for finding, applies in checks.items() if applies)


def right_to_go_on(findings: Iterable[Finding]) -> Right:
    """Return the right that goes past all of these: the strongest that one of them needs."""
    needed = {WAY_ON[finding] for finding in findings}
    ranked = (Right.PAST_STOP, Right.PAST_DATE)
    return next((right for right in ranked if right in needed), Right.ACT)
