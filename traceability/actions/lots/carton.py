"""Enter what a maker's notice says of the parts inside packs: which inner lot is in which packs.

Nobody scans a part that comes built into a pack. Only the maker knows its lot, and tells it lot by
lot; what was entered stays, and is withdrawn by a correction.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, UnknownCode
from traceability.storage.items import Product


@dataclass(frozen=True, slots=True, kw_only=True)
class TellCarton(Asked):
    """These packs hold this inner lot."""

    kind: ClassVar[str] = "tell-carton"
    right: ClassVar[Right | None] = Right.HOLD_STOCK
    product_id: UUID
    """The pack."""
    lots: Sequence[str]
    """Pack lots as the notice prints them; none with `complete`: no pack holds it."""
    inner_product_id: UUID
    inner_lot: str
    sole: bool
    """Nothing else of that product is inside these packs."""
    complete: bool
    """No other packs hold this inner lot."""
    at: datetime


def tell_carton(asked: TellCarton, *, site: Site) -> Done:
    """Record the statement.

    Raises:
        UnknownCode: no such product. BadValue: an empty lot. Nothing was written.
    """
    return answer_once(asked, _tell, site)


def _tell(asked: TellCarton, session: Session, site: Site) -> Done:
    for product_id in (asked.product_id, asked.inner_product_id):
        if session.get(Product, (site.id, product_id)) is None:
            raise UnknownCode(what="product", value=str(product_id))
    if not asked.inner_lot.strip():
        raise BadValue(field="inner lot", value="", why="empty")
    if any(not lot.strip() for lot in asked.lots):
        raise BadValue(field="pack lots", value="", why="empty")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body = {
        "product": asked.product_id,
        "lots": list(asked.lots),
        "inner_product": asked.inner_product_id,
        "inner_lot_text": asked.inner_lot,
        "sole": asked.sole,
        "complete": asked.complete,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.CARTON_TOLD,
        body,
        at=at,
        subject=asked.product_id,
        facts={"packs": len(asked.lots), "inner_lot": asked.inner_lot},
    )
