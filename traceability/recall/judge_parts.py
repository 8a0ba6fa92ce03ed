"""Which parts are asked for, which may be, and what leaves each of those open."""

from collections.abc import Iterable
from typing import Final, Protocol, TypeAlias
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.parts import PartState
from traceability.domain.scopes import Match, alike
from traceability.recall import exposure
from traceability.recall.cut import Cut
from traceability.recall.exposure import PartSeen
from traceability.recall.question import Question
from traceability.recall.sort_shelves import Judged


class Piece(Protocol):
    """What is judged: a part in a circuit, a run part, a machine."""

    @property
    def product_id(self) -> UUID | None:
        """Its product, if it is known."""

    @property
    def state(self) -> PartState:
        """What the record says of it."""

    @property
    def serial(self) -> str | None:
        """Its serial, if it is recorded."""


DISPUTED: Final = frozenset({"claim_disputed"})


def judged_parts(
    session: Session, question: Question, cut: Cut
) -> tuple[list[Judged], frozenset[str]]:
    """Return every part that is asked for or may be, and the kinds that were looked at for gaps.

    All other parts are another lot, or another part. A part that several rules find stands under
    the first: held, alike, gap, disputed.
    """
    found = _held(session, question, cut)
    kinds = _kinds(question, [one.part for one in found.values()])
    for part in exposure.parts_of_lots(session, exposure.lots_alike(session, question, cut), cut):
        _add(found, part, ("lot_text_alike",))
    for part in _pieces_of_products(session, question, cut):
        _add(found, part, unit_reasons(part, question))
    products = [product.id for product in question.products]
    for part in exposure.parts_with_gaps(session, products, kinds, cut):
        reasons = gap_reasons(part, question)
        if reasons is not None:
            _add(found, part, reasons)
    for part in exposure.disputed_parts(session, kinds, cut):
        _add(found, part, ("claim_disputed",))
    return list(found.values()), kinds


Parts: TypeAlias = dict[tuple[UUID, int, int], Judged]
"""By the key of their rows."""


def _held(session: Session, question: Question, cut: Cut) -> Parts:
    whole = [product.id for product in question.whole]
    found: Parts = {}
    for part in (
        *exposure.parts_of_lots(session, [lot.id for lot in question.lots], cut),
        *exposure.parts_of_products(session, whole, cut),
        *exposure.parts_of_units(session, [unit.id for unit in question.units], cut),
    ):
        _add(found, part, ())
    return found


def _add(found: Parts, part: PartSeen, reasons: tuple[str, ...]) -> None:
    open_by = frozenset(reasons) | (DISPUTED if part.disputed else frozenset())
    key = (part.circuit_id, part.recorded_no, part.line)
    found.setdefault(key, Judged(part=part, reasons=open_by))


def _kinds(question: Question, held: Iterable[PartSeen]) -> frozenset[str]:
    """Return the kinds of the question, and those under which its parts were put in.

    A product's kind may have been mended since; a part went in under the word of its day.
    """
    kinds = question.kinds
    return kinds | {part.kind for part in held} if kinds else kinds


def gap_reasons(part: Piece, question: Question) -> tuple[str, ...] | None:
    """Return why a part without a lot may be asked for; () if it is, None if it cannot be."""
    whole = {product.id for product in question.whole}
    if part.product_id in whole:
        return ()
    if part.product_id is None:
        missing = "inner_lot_not_known" if part.state is PartState.INSIDE_PACK else ""
        by_lot = missing or ("lot_not_recorded" if question.lots or whole else "")
        reasons = {by_lot, missing or "maker_not_recorded"} - {""}
        return tuple(reasons | ({"serial_not_recorded"} if question.units else set()))
    if any(lot.product.id == part.product_id for lot in question.lots):
        return ("lot_not_recorded",)
    return unit_reasons(part, question) or None


def _pieces_of_products(session: Session, question: Question, cut: Cut) -> list[PartSeen]:
    """Return pieces with a lot whose serial is not recorded, or only like one asked for."""
    if not question.units:
        return []
    products = list({unit.product.id for unit in question.units})
    parts = exposure.parts_of_products(session, products, cut)
    return [part for part in parts if unit_reasons(part, question)]


def unit_reasons(part: Piece, question: Question) -> tuple[str, ...]:
    """Return what leaves open whether this is a piece asked for by its serial; () if nothing."""
    asked = [unit for unit in question.units if unit.product.id == part.product_id]
    if not asked:
        return ()
    if part.serial is None:
        return ("serial_not_recorded",)
    matches = {alike(part.serial, unit.serial) for unit in asked}
    return ("serial_text_alike",) if Match.ALIKE in matches else ()
