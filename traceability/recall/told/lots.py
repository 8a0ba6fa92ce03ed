"""The stock book: what came in, and what left without going into a circuit."""

from collections.abc import Iterator

from traceability.domain.events import Recorded
from traceability.domain.shelves import facts as told
from traceability.recall.told.registry import Telling, stem, tells


@tells("stock-received")
def stock_received(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """Units came in; without maker or lot they are no line that a part could be matched with."""
    item, maker = telling.item(event.key_or_none("product"))
    lot = event.text_or_none("lot_text")
    if maker is None or lot is None:
        return
    yield told.Receipt(
        **stem(event),
        item=item,
        maker=maker,
        lot=lot,
        qty=event.number_of("quantity"),
        box=event.text_or_none("box"),
        made=event.day_or_none("made"),
        shipped=event.day_or_none("shipped"),
    )


@tells("stock-out")
def stock_out(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """Units left unused."""
    item, maker = telling.item(event.key_or_none("product"))
    yield told.StockOut(
        **stem(event),
        item=item,
        maker=maker,
        lot=event.text_or_none("lot_text"),
        qty=event.number_of("quantity"),
    )
