"""What the columns of a table mean: by their headings, else by what stands in them."""

import re
from collections.abc import Sequence
from typing import Final

from traceability.exchange.headings import Column, heading_of
from traceability.exchange.tables import Row
from traceability.exchange.texts import is_product_code

__all__ = ["find_heading", "guess"]

FIRST_ROWS: Final = 30
"""Rows in which a heading may stand, below a title."""


def find_heading(rows: Sequence[Row]) -> tuple[int, list[Column | None]] | None:
    """Return the index of the heading's row and what each column means; None: there is no heading.

    A heading names at least a lot, a serial or a product, in a cell of its own.
    """
    for at, row in enumerate(rows[:FIRST_ROWS]):
        found = [heading_of(cell.text) for cell in row.cells]
        if any(each not in {None, Column.BESIDE, Column.QUANTITY, Column.NAME} for each in found):
            filled = sum(1 for cell in row.cells if cell.text)
            if sum(1 for each in found if each) * 2 >= filled:
                return at, found
    return None


def guess(rows: Sequence[Row]) -> list[Column | None]:
    """Return what columns seem to mean where nothing heads them; a person has to confirm it."""
    width = max((len(row.cells) for row in rows), default=0)
    found: list[Column | None] = [None] * width
    left: list[int] = []
    for at in range(width):
        texts = [
            row.cells[at].text for row in rows[:200] if at < len(row.cells) and row.cells[at].text
        ]
        if not texts:
            continue
        if sum(1 for each in texts if is_product_code(each)) * 5 >= len(texts) * 4:
            found[at] = Column.CODE
        elif any(re.search(r"[0-9]", each) for each in texts) and not _are_dates(texts):
            left.append(at)
    if left:
        # Lots differ from row to row more than anything else that stands beside them.
        lots = max(
            left,
            key=lambda at: (len({row.cells[at].text for row in rows if at < len(row.cells)}), -at),
        )
        found[lots] = Column.LOT
    return found


def _are_dates(texts: Sequence[str]) -> bool:
    dated = re.compile(
        r"[0-9]{4}-[0-9]{2}(-[0-9]{2}.*)?|[0-9]{1,2}[./][0-9]{1,2}[./][0-9]{2,4}|[0-9]{2}/[0-9]{4}"
    )
    return all(dated.fullmatch(each) for each in texts)
