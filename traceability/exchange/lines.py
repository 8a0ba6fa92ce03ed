"""Lines of a list -> what they say of the scope, every one of them."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from traceability.domain.notice_scope import ProductRef, ScopeTest
from traceability.domain.scope_draft import Doubt, Doubtful, Entry, Meaning
from traceability.exchange.codes import scan_entry
from traceability.exchange.headings import Column, heading_of
from traceability.exchange.lot_words import Named, named_in

__all__ = ["entries_of_lines", "named_entries", "shorter_than_others"]

SYMBOL_STARTS: Final = ("]", "(01)", "(02)", "(10)", "(21)", "+", "=", "&", "[)>")


def entries_of_lines(
    text: str, *, today: date, serials: bool = False, name: str = "line"
) -> Iterator[Entry]:
    """Yield what each line of a list names. A line that says "serial" alone heads what follows."""
    for number, line in enumerate(text.splitlines(), start=1):
        place, given = f"{name} {number}", line.strip()
        if not given:
            continue
        heading = None if set(given) & set(",;\t|") else heading_of(given)
        if heading in {Column.LOT, Column.SERIAL}:
            serials = heading is Column.SERIAL
            yield Entry(place=place, given=given, heading=True)
        elif given.startswith(SYMBOL_STARTS) or "\x1d" in given:
            yield scan_entry(given, place=place, today=today)
        else:
            yield from named_entries(place, given, named_in(given, serials=serials), many=True)


def named_entries(
    place: str,
    given: str,
    named: Iterator[Named],
    *,
    products: Sequence[ProductRef | None] = (None,),
    doubts: tuple[Doubt, ...] = (),
    beside: str = "",
    many: bool = False,
) -> Iterator[Entry]:
    """Yield an entry for each thing that a line or cell names; `many`: each shows its own part."""
    for at, each in enumerate(named, start=1):
        yield Entry(
            place=place if at == 1 else f"{place}, item {at}",
            given=each.given if many else given,
            meanings=tuple(
                Meaning(test=test, product=product) for test in each.tests for product in products
            ),
            doubts=tuple(dict.fromkeys((*doubts, *each.doubts))),
            why=each.why,
            beside=beside,
        )


LEAST_NEIGHBOURS: Final = 3


def shorter_than_others(entries: Sequence[Entry]) -> Iterator[Entry]:
    """Mark texts of digits alone that are shorter than all their like: zeros may be lost.

    A table saved from a spreadsheet has lost the evidence; the length of the others is what
    remains. Only where the others agree on one length.
    """
    lengths = Counter(len(text) for each in entries if (text := _digits_of(each)))
    most = lengths.most_common(1)[0][0] if lengths else 0
    agreed = (
        bool(most) and lengths[most] >= LEAST_NEIGHBOURS and lengths[most] * 2 > lengths.total()
    )
    for each in entries:
        text = _digits_of(each) if agreed else ""
        test = each.meanings[0].test if text else None
        if not text or test is None or len(text) >= most:
            yield each
            continue
        padded = Meaning(
            test=ScopeTest(kind=test.kind, texts=(text.zfill(most),)),
            product=each.meanings[0].product,
        )
        yield replace(
            each,
            meanings=tuple(dict.fromkeys((*each.meanings, padded))),
            doubts=(*each.doubts, Doubt(Doubtful.SHORTER, str(most))),
        )


def _digits_of(entry: Entry) -> str:
    test = entry.meanings[0].test if entry.meanings else None
    text = test.texts[0] if test is not None and len(test.texts) == 1 else ""
    return text if text.isascii() and text.isdigit() else ""
