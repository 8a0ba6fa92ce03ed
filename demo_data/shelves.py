"""The shelves of the priming room: counted first in the last weeks, then received by scan.

At the present moment one part limits, one lot expires before a stored circuit would, one lot is on
hold in the quarantine bin, and one was used and never booked in.
"""

from datetime import datetime, timedelta
from itertools import count
from typing import Final
from uuid import UUID, uuid5

from traceability.actions.once import Sent
from traceability.actions.stock.count import Counted, CountStock, count_stock
from traceability.actions.stock.move import MoveStock, move_stock
from traceability.actions.stock.receive import ReceiveStock, receive_stock
from traceability.actions.stock.take_out import TakeOutStock, take_out_stock
from traceability.domain.keys import product_key

from .catalogue import carton_code, code_of
from .hospital import DESK, ON_TROLLEY_1, QUARANTINE, RETRIEVAL_STORE, SITE_ID, VENN, Stand
from .stage import Story
from .stock import FREE_LOT, LOOK_ALIKE_LOT, NOTICE_DAYS_AGO, NOTICE_LOT, Lot
from .ward import Ward

BOOK_DAYS: Final = 56
"""Since when the unit keeps its stock in the book."""

FIRST_COUNT: Final = {
    "pack-adult": 14,
    "pack-neonatal": 5,
    "gas": 16,
    "straight-adult": 40,
    "straight-neonatal": 12,
    "connector-adult": 22,
    "connector-neonatal": 9,
}
"""What was there at the first count, of the lot then in use."""

LAST_COUNT: Final = {
    "pack-adult": 3,
    "pack-neonatal": 4,
    "gas": 7,
    "straight-adult": 26,
    "straight-neonatal": 8,
    "connector-adult": 11,
    "connector-neonatal": 6,
}
"""The same some minutes ago: circuit packs limit."""


class Keeping:
    """Whoever keeps the stock, at the desk."""

    def __init__(self, ward: Ward) -> None:
        """Begin with an id of its own: the rest of the story stays as it is without it."""
        self.ward = ward
        self._acts = count(1)

    def _sent(self) -> Sent:
        request_id = uuid5(SITE_ID, f"stock act {next(self._acts)}")
        return Sent(device_id=DESK.id, actor_id=VENN.id, request_id=request_id)

    def _product(self, key: str) -> UUID:
        product = self.ward.stock.products[key]
        return product_key(product.standard, product.identifier, site_id=SITE_ID)

    @property
    def _now(self) -> datetime:
        return self.ward.stage.now

    def receive(self, key: str, lot: Lot, *, packs: int = 1, carton: bool = False) -> None:
        """Scan what a delivery brought."""
        product = self.ward.stock.products[key]
        scanned = (
            carton_code(product, lot=lot.text, expiry=lot.expiry)
            if carton
            else code_of(product, lot=lot.text, expiry=lot.expiry)
        )
        asked = ReceiveStock(
            sent=self._sent(),
            at=self._now,
            text=scanned.text,
            symbology_identifier=scanned.symbology_identifier,
            packs=packs,
            place_id=RETRIEVAL_STORE.id,
            supplier="Van of Inventium Supply",
        )
        receive_stock(asked, site=self.ward.stage.site)
        self.ward.count("stock received")

    def count(self, key: str, lots: dict[str, int], stand: Stand, expiry: str = "") -> None:
        """Count lots of a product in a place."""
        asked = CountStock(
            sent=self._sent(),
            product_id=self._product(key),
            rows=tuple(
                Counted(lot_text=text, place_id=stand.id, quantity=number, expiry=expiry)
                for text, number in lots.items()
            ),
            at=self._now,
        )
        count_stock(asked, site=self.ward.stage.site)
        self.ward.count("stock counted")

    def move(self, key: str, lot: str, quantity: int, to: Stand) -> None:
        """Carry pieces out of the store."""
        asked = MoveStock(
            sent=self._sent(),
            product_id=self._product(key),
            lot_text=lot,
            quantity=quantity,
            from_place_id=RETRIEVAL_STORE.id,
            to_place_id=to.id,
            at=self._now,
        )
        move_stock(asked, site=self.ward.stage.site)
        self.ward.count("stock moved")

    def take_out(self, key: str, lot: str, quantity: int, reason: str) -> None:
        """Take pieces out of the store unused."""
        asked = TakeOutStock(
            sent=self._sent(),
            product_id=self._product(key),
            lot_text=lot,
            quantity=quantity,
            place_id=RETRIEVAL_STORE.id,
            reason=reason,
            at=self._now,
        )
        take_out_stock(asked, site=self.ward.stage.site)
        self.ward.count("stock taken out")


def plan_shelves(ward: Ward) -> None:
    """Put the acts on the shelves on the stage."""
    keeping, stage, ends = Keeping(ward), ward.stage, ward.ends
    first = ends - timedelta(days=BOOK_DAYS)
    stage.begin(_first_count(keeping), first)
    for key in FIRST_COUNT:
        for lot in ward.stock.lots_between(key, first, ends):
            stage.begin(_delivery(keeping, key, lot), lot.since - timedelta(hours=5))
    stage.begin(_taps(keeping), ends - timedelta(days=NOTICE_DAYS_AGO, hours=3))
    stage.begin(_into_quarantine(keeping), ends - timedelta(days=NOTICE_DAYS_AGO, hours=-1))
    stage.begin(_short_lot(keeping), ends - timedelta(days=6))
    stage.begin(_last_count(keeping), ends - timedelta(minutes=4))


def _first_count(keeping: Keeping) -> Story[None]:
    ward = keeping.ward
    for key, number in FIRST_COUNT.items():
        lot = ward.stock.lot(key, ward.stage.now)
        keeping.count(key, {lot.text: number}, RETRIEVAL_STORE, expiry=lot.expiry.isoformat())
        yield timedelta(seconds=40)
    tap = ward.stock.lot("tap", ward.stage.now)
    keeping.count("tap", {tap.text: 53}, RETRIEVAL_STORE)


def _delivery(keeping: Keeping, key: str, lot: Lot) -> Story[None]:
    keeping.receive(key, lot, packs=8)
    yield timedelta(0)


def _taps(keeping: Keeping) -> Story[None]:
    """Two cartons of the free lot come with the notice's morning."""
    ward = keeping.ward
    lot = ward.stock.lot("tap", ward.ends)
    keeping.receive("tap", lot, packs=2, carton=True)
    yield timedelta(minutes=20)
    keeping.move("tap", FREE_LOT, 25, ON_TROLLEY_1)


def _into_quarantine(keeping: Keeping) -> Story[None]:
    """What is left of the notice's lot goes into the quarantine bin."""
    keeping.count("tap", {NOTICE_LOT: 17}, RETRIEVAL_STORE)
    yield timedelta(minutes=3)
    keeping.move("tap", NOTICE_LOT, 17, QUARANTINE)


def _short_lot(keeping: Keeping) -> Story[None]:
    """Gas lines that expire before a circuit stored from today on would; two were broken.

    The CO2 filters that lie there are in the book since then; those in use were never booked in.
    """
    ward = keeping.ward
    soon = (ward.ends + timedelta(days=19)).date()
    keeping.receive("gas", Lot(since=ward.stage.now, text="GL-SHORT7", expiry=soon), packs=6)
    yield timedelta(minutes=2)
    keeping.take_out("gas", "GL-SHORT7", 2, "broken")
    yield timedelta(minutes=2)
    later = (ward.ends + timedelta(days=700)).date()
    keeping.receive("filter", Lot(since=ward.stage.now, text="FL-0B8", expiry=later), packs=15)


def _last_count(keeping: Keeping) -> Story[None]:
    ward = keeping.ward
    first = ward.ends - timedelta(days=BOOK_DAYS)
    for key, number in LAST_COUNT.items():
        here = ward.stock.lot(key, ward.stage.now)
        before = {ward.stock.lot(key, first).text} | {
            lot.text for lot in ward.stock.lots_between(key, first, ward.ends)
        }
        lots = dict.fromkeys(sorted(before - {here.text}), 0) | {here.text: number}
        keeping.count(key, lots, RETRIEVAL_STORE)
    old = {ward.stock.lot("tap", first).text, LOOK_ALIKE_LOT} - {NOTICE_LOT, FREE_LOT}
    keeping.count("tap", dict.fromkeys(sorted(old), 0), RETRIEVAL_STORE)
    yield timedelta(0)
