"""Words on what was told: makers' notices, rulings on lot texts, corrections."""

from collections.abc import Iterable, Iterator

from traceability.domain.events import Kind, Recorded
from traceability.domain.shelves import facts as told
from traceability.recall.told.changes import changed
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


@tells("corrected", "claim-ruled")
def corrected(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """A later word on an earlier entry. A ruling on two claims holds one word for each."""
    words = [event] if event.kind == "corrected" else [event.inner(r) for r in event.rows("words")]
    said = list(_said(telling, words))
    ids = telling.several.setdefault(event.number, [])
    for line, (of, part, changes, void) in enumerate(said):
        head = stem(event, str(line) if len(said) > 1 else "")
        ids.append(head["id"])
        yield told.Correction(**head, of=of, part=part, changes=changes, void=void)


def _said(
    telling: Telling, words: Iterable[Recorded]
) -> Iterator[tuple[str, str | None, dict[str, object] | None, bool]]:
    """Yield what each word says of each fact that it speaks of."""
    for word in words:
        part = word.text_or_none("part")
        void = word.flag("void")
        own = telling.fact_of_part.get(part or "")
        also = word.body.get("also")
        further = [n for n in also if isinstance(n, int)] if isinstance(also, list) else []
        for number in (word.number_of("of"), *further):
            spoken_of = telling.event(number)
            if spoken_of is None:
                continue
            facts = telling.facts_of(number)
            changes = {}
            if not void:
                given = word.body.get("changes")
                changes = changed(telling, spoken_of, given, of_part=part is not None)
            for fact in [own] if own in facts else facts:
                name = None if part is None else telling.part_name(part)
                yield fact, name, changes or None, void
