"""What lies in the priming room: lots that follow each other, and serials that count up."""

from bisect import bisect_right
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import count
from random import Random
from typing import Final

from .catalogue import Code, Product, code_of

NOTICE_LOT: Final = "T77-0B1"
"""The tap lot that the notice names."""
LOOK_ALIKE_LOT: Final = "T77-OB1"
"""Another lot of the same taps, with a letter where the first has a zero."""
FREE_LOT: Final = "T81-002"
"""The lot that is taken since the notice came."""
NOTICE_DAYS_AGO: Final = 2.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """One lot of a product and since when it is taken from the shelf."""

    since: datetime
    text: str
    expiry: date


class Stock:
    """Every product's lots over the two years."""

    def __init__(
        self, products: dict[str, Product], *, rng: Random, begins: datetime, ends: datetime
    ) -> None:
        """Decide all lots before the story begins."""
        self.products = products
        self._lots = {
            key: _lots(product, rng, begins, ends) for key, product in sorted(products.items())
        }
        self._lots["tap"] = _with_the_notice(self._lots["tap"], ends)
        self._used: set[tuple[str, str]] = set()
        self._serials = {key: count(rng.randrange(1000, 4000)) for key in sorted(products)}

    def lot(self, key: str, at: datetime, *, before: int = 0) -> Lot:
        """Return the lot in use then; `before` = 1 for the leftovers of the one before it."""
        lots = self._lots[key]
        here = bisect_right([each.since for each in lots], at) - 1
        return lots[max(here - before, 0)]

    def lots_between(self, key: str, start: datetime, end: datetime) -> list[Lot]:
        """Return the lots that are begun within the time."""
        return [lot for lot in self._lots[key] if start < lot.since < end]

    def is_fresh(self, key: str, at: datetime) -> bool:
        """Tell whether a new lot was begun within the last days, so that leftovers lie about.

        The notice's lot left none: it went into the quarantine bin.
        """
        lot = self.lot(key, at)
        return lot.text != FREE_LOT and at - lot.since < timedelta(days=4)

    def was_used(self, key: str, lot: Lot) -> bool:
        """Tell whether a piece of the lot has been scanned before."""
        return (key, lot.text) in self._used

    def code(self, key: str, lot: Lot) -> Code:
        """Return what a piece of the lot says; pump heads and oxygenators count up."""
        product = self.products[key]
        self._used.add((key, lot.text))
        if product.kind in {"pump-head", "oxygenator"}:
            serial = f"{product.item_number}-{next(self._serials[key]):06d}"
            return code_of(product, lot=lot.text, serial=serial, expiry=lot.expiry)
        return code_of(product, lot=lot.text, expiry=lot.expiry)


def _lots(product: Product, rng: Random, begins: datetime, ends: datetime) -> list[Lot]:
    lots, since, number = [], begins - timedelta(days=20), rng.randrange(2, 60)
    while since < ends:
        expiry = (since + timedelta(days=rng.randrange(420, 1000))).date()
        # Makers print the last day of a month.
        expiry = expiry.replace(day=1) - timedelta(days=1)
        lots.append(Lot(since=since, text=_text(product, rng, since, number), expiry=expiry))
        since += timedelta(days=rng.randrange(18, 46))
        number += rng.randrange(1, 4)
    return lots


def _text(product: Product, rng: Random, since: datetime, number: int) -> str:
    match product.kind:
        case "tap":
            return f"T{since:%y}{number:02d}-{rng.randrange(1, 9):03d}"
        case "circuit-pack":
            return f"PK{since:%y}-{100 + number}"
        case "fluid":
            letters = "0123456789BIKO"
            return f"{number % 10}K" + "".join(rng.choice(letters) for _ in range(6))
        case _:
            return f"{product.item_number[:2]}{since:%y%m}{number:02d}"


def _with_the_notice(lots: list[Lot], ends: datetime) -> list[Lot]:
    """Put the three lots of the notice's story at the end of the taps."""
    fixed = [(110, LOOK_ALIKE_LOT), (75, NOTICE_LOT), (NOTICE_DAYS_AGO, FREE_LOT)]
    tail = [
        Lot(
            since=ends - timedelta(days=days),
            text=text,
            expiry=(ends + timedelta(days=800)).date().replace(day=1) - timedelta(days=1),
        )
        for days, text in fixed
    ]
    return [each for each in lots if each.since < tail[0].since] + tail
