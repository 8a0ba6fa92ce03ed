"""The list on a tag that says all off line, as lines of the sending hospital's list."""

import re
from typing import Final

from traceability.actions.circuit.listed_parts import ListedPart
from traceability.domain.contents_file import FileProduct
from traceability.domain.parts import UNKNOWN_KIND
from traceability.domain.tag_contents import GAPS, ContentsItem, ContentsRead

GTIN: Final = re.compile(r"\d{14}")
OTHER_AGENCY: Final = re.compile(r"(hibc|isbt128|ifa)\.(.+)")
STATES: Final = {said: state for state, said in GAPS.items()}


def lines_of_tag(read: ContentsRead) -> tuple[ListedPart, ...]:
    """Return a line for each piece that the tag lists."""
    return tuple(_line(item) for item in read.items for _ in range(item.count))


def is_whole(read: ContentsRead) -> bool:
    """Tell whether the tag lists all that it says is in the circuit."""
    return len(read.items) == read.of


def _line(item: ContentsItem) -> ListedPart:
    return ListedPart(
        kind=UNKNOWN_KIND,  # a tag names items; a product that is known here brings its kind
        product=_product(item.item),
        lot_text=item.lot or None,
        serial=item.serial or None,
        state=STATES.get(item.gap, ""),
    )


def _product(item: str) -> FileProduct:
    standard, identifier = "none", item
    if GTIN.fullmatch(item):
        standard = "gs1"
    elif other := OTHER_AGENCY.fullmatch(item):
        standard, identifier = other[1], other[2]
    return FileProduct(standard=standard, identifier=identifier, name=item, maker="")
