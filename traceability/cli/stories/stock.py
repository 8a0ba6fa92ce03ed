"""Facts about the stock book: what came in, what left without going into a circuit."""

from collections.abc import Iterator

from traceability.actions.once import Done
from traceability.actions.stock.receive import ReceiveStock, receive_stock
from traceability.actions.stock.take_out import TakeOutStock, take_out_stock
from traceability.cli.stories.entering import Entering, enters
from traceability.cli.stories.form import Given
from traceability.domain.stock_book import OutReason


@enters("receipt")
def receipt(story: Entering, fact: Given) -> Iterator[Done]:
    """Pieces came in, written from the delivery."""
    asked = ReceiveStock(
        sent=story.sent(),
        at=fact["at"],
        product_id=story.product(fact["item"], fact["maker"]),
        lot_text=fact["lot"],
        packs=fact["qty"],
        box=fact["box"] or "",
        made="" if fact["made"] is None else fact["made"].isoformat(),
        shipped="" if fact["shipped"] is None else fact["shipped"].isoformat(),
    )
    yield receive_stock(asked, site=story.site)


@enters("stock_out")
def stock_out(story: Entering, fact: Given) -> Iterator[Done]:
    """Pieces left unused; the story's own words for why stay in the file."""
    asked = TakeOutStock(
        sent=story.sent(),
        product_id=story.product(fact["item"], fact["maker"]),
        lot_text=fact["lot"] or "",
        quantity=fact["qty"],
        place_id=None,
        reason=OutReason.OTHER,
        at=fact["at"],
    )
    yield take_out_stock(asked, site=story.site)
