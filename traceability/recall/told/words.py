"""Words on what was told: makers' notices, rulings on lot texts, corrections."""

from collections.abc import Iterator

from traceability.domain.events import Kind, Recorded
from traceability.domain.shelves import facts as told
from traceability.recall.told.registry import Telling, stem, tells


@tells(Kind.CARTON_TOLD)
def carton_told(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """These packs hold this inner lot."""
    pack_item, pack_maker = telling.item(event.key_or_none("product"))
    inner_item, _ = telling.item(event.key_or_none("inner_product"))
    yield told.CartonNotice(
        **stem(event),
        pack_item=pack_item,
        pack_maker=pack_maker or "",
        pack_lots=tuple(event.texts("lots")),
        inner_item=inner_item,
        inner_lot=event.text("inner_lot_text"),
        sole=event.flag("sole"),
        complete=event.flag("complete"),
    )


@tells(Kind.LOT_RULED)
def lot_ruled(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """Two texts mean one lot, or two."""
    item, maker = telling.item(event.key_or_none("product"))
    yield told.Ruling(
        **stem(event),
        item=item,
        maker=maker or "",
        captured=event.text("captured"),
        notice=event.text("notice"),
        same=event.flag("same"),
    )
