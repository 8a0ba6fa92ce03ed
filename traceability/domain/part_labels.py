"""Labels for items without a code of their own: what their symbol says, and how it is read.

An item under the unit's own GS1 company prefix gets proper GS1 element strings. Any other gets the
private form `CTU.site.ITEM--LOT--YYMMDD` with its check character: two hyphens part item, lot and
expiry, so neither may hold two hyphens in a row. No scanner can take it for a product of somebody.
"""

import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from traceability.domain.tags import (
    BrokenSymbol,
    OwnSymbol,
    SymbolKind,
    site_and_name,
    write_symbol,
)
from traceability.identifiers.write import CannotWrite, write_element_string

PARTED: Final = "--"
_NAME: Final = re.compile(r"[A-Z0-9]+(-[A-Z0-9]+)*")


class CannotLabel(ValueError):
    """The item or its lot cannot stand in a symbol; `field` says which."""

    def __init__(self, field: str) -> None:
        """Keep which it was."""
        super().__init__(field)
        self.field = field


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLabel:
    """What a part's label says."""

    standard: str
    """"gs1" for an item under the unit's own prefix; else "none"."""
    item: str
    """GTIN as 14 digits, or the unit's own short code."""
    name: str
    maker: str
    lot: str
    expiry: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRead:
    """What a label of ours says of a part."""

    site_code: str
    item: str
    lot: str
    expiry: date | None


def part_symbol(site_code: str, part: PartLabel) -> tuple[str, str]:
    """Return the symbol's text and its kind.

    Raises:
        CannotLabel: item or lot hold what the symbol cannot.
    """
    if part.standard == "gs1":
        elements = [("01", part.item)]
        elements += [("17", f"{part.expiry:%y%m%d}")] if part.expiry else []
        try:
            return write_element_string([*elements, ("10", part.lot)]), "gs1-datamatrix"
        except CannotWrite as wrong:
            raise CannotLabel("lot" if wrong.identifier == "10" else "item") from wrong
    for field, value in (("item", part.item), ("lot", part.lot)):
        if not _NAME.fullmatch(value):
            raise CannotLabel(field)
    day = [f"{part.expiry:%y%m%d}"] if part.expiry else []
    body = PARTED.join([part.item, part.lot, *day])
    return write_symbol(SymbolKind.PART, f"{site_code}.{body}"), "datamatrix"


def read_part(symbol: OwnSymbol) -> PartRead | None:
    """Return what a whole symbol of a part says; None: it is another kind, or says no lot."""
    if symbol.kind is not SymbolKind.PART:
        return None
    code, name = site_and_name(symbol.body)
    item, *rest = name.split(PARTED)
    if not rest or len(rest) > 2:  # noqa: PLR2004 - lot and expiry
        return None
    expiry = _day(rest[1]) if len(rest) > 1 else None
    if len(rest) > 1 and expiry is None:
        return None
    return PartRead(site_code=code, item=item, lot=rest[0], expiry=expiry)


def read_part_of(own: OwnSymbol | BrokenSymbol | None) -> PartRead | None:
    """Return what a part's label says, whatever was read; None: it is no whole label of a part."""
    return read_part(own) if isinstance(own, OwnSymbol) else None


def _day(text: str) -> date | None:
    try:
        return datetime.strptime(f"20{text}", "%Y%m%d").date()  # noqa: DTZ007 - a day has no zone
    except ValueError:
        return None
