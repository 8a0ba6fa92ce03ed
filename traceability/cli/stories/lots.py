"""Facts about lots: makers' notices and rulings."""

from collections.abc import Iterator

from traceability.actions.lots.carton import TellCarton, tell_carton
from traceability.actions.lots.rule import RuleOnLots, rule_on_lots
from traceability.actions.once import Done
from traceability.cli.stories.entering import Entering, enters
from traceability.cli.stories.form import Given


@enters("carton_notice")
def carton_notice(story: Entering, fact: Given) -> Iterator[Done]:
    """What a maker says is inside its packs."""
    asked = TellCarton(
        sent=story.sent(),
        product_id=story.product(fact["pack_item"], fact["pack_maker"]),
        lots=fact["pack_lots"],
        inner_product_id=story.product(fact["inner"]["item"], fact["pack_maker"]),
        inner_lot=fact["inner"]["lot"],
        sole=fact["sole"],
        complete=fact["complete"],
        at=fact["at"],
    )
    yield tell_carton(asked, site=story.site)


@enters("ruling")
def ruling(story: Entering, fact: Given) -> Iterator[Done]:
    """One lot, or two."""
    asked = RuleOnLots(
        sent=story.sent(),
        product_id=story.product(fact["item"], fact["maker"]),
        captured=fact["captured"],
        notice=fact["notice"],
        same=fact["same"],
        basis="as told in the story",
        at=fact["at"],
    )
    yield rule_on_lots(asked, site=story.site)
