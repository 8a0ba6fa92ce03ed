"""What people do at the shelves, in the words of a test's ward."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from tests.make import Ward
from traceability.actions.lots.carton import TellCarton, tell_carton
from traceability.actions.lots.rule import RuleOnLots, rule_on_lots
from traceability.actions.once import Done
from traceability.actions.stock.count import Counted, CountStock, count_stock
from traceability.actions.stock.declare import DeclareBook, declare_book
from traceability.actions.stock.move import MoveStock, move_stock
from traceability.actions.stock.receive import ReceiveStock, receive_stock
from traceability.actions.stock.take_out import TakeOutStock, take_out_stock
from traceability.domain.keys import product_key
from traceability.reads.can_prime import CanPrime, can_prime
from traceability.reads.stock import ProductStock, product_stock


@dataclass(slots=True)
class Shelves:
    """The shelves of a ward; whoever keeps stock is signed in at them."""

    ward: Ward

    def key(self, gtin: str) -> UUID:
        """Return the product's id."""
        return product_key("gs1", gtin, site_id=self.ward.site.id)

    def place(self, name: str) -> UUID:
        """Return a place's id."""
        return self.ward.places[name]

    def receive(self, text: str, *, place: str = "trolley 1", **changes: Any) -> Done:
        """Scan what came in."""
        usual = ReceiveStock(
            sent=self.ward.at("stock").sent(),
            at=self.ward.now,
            text=text,
            place_id=self.place(place) if place else None,
        )
        return receive_stock(replace(usual, **changes), site=self.ward.site)

    def move(self, gtin: str, lot: str, quantity: int, was: str, to: str) -> Done:
        """Carry pieces."""
        asked = MoveStock(
            sent=self.ward.at("stock").sent(),
            product_id=self.key(gtin),
            lot_text=lot,
            quantity=quantity,
            from_place_id=self.place(was) if was else None,
            to_place_id=self.place(to),
            at=self.ward.now,
        )
        return move_stock(asked, site=self.ward.site)

    def count(self, gtin: str, *rows: tuple[str, str, int]) -> Done:
        """Count lots in places."""
        asked = CountStock(
            sent=self.ward.at("stock").sent(),
            product_id=self.key(gtin),
            rows=tuple(
                Counted(lot_text=lot, place_id=self.place(place), quantity=number)
                for lot, place, number in rows
            ),
            at=self.ward.now,
        )
        return count_stock(asked, site=self.ward.site)

    def out(self, gtin: str, lot: str, quantity: int, place: str, reason: str = "broken") -> Done:
        """Throw pieces away, or lend them."""
        asked = TakeOutStock(
            sent=self.ward.at("stock").sent(),
            product_id=self.key(gtin),
            lot_text=lot,
            quantity=quantity,
            place_id=self.place(place) if place else None,
            reason=reason,
            at=self.ward.now,
        )
        return take_out_stock(asked, site=self.ward.site)

    def declare(self, gtin: str, *, complete: bool = True) -> Done:
        """Say that a product's book is complete, or that it is not."""
        asked = DeclareBook(
            sent=self.ward.at("stock").sent(),
            product_id=self.key(gtin),
            complete=complete,
            at=self.ward.now,
        )
        return declare_book(asked, site=self.ward.site)

    def carton(self, pack: str, lots: Sequence[str], inner: str, lot: str, **said: Any) -> Done:
        """Enter what a maker states of packs; `said` is sole and complete, both usually not."""
        usual = TellCarton(
            sent=self.ward.at("pharmacist").sent(),
            product_id=self.key(pack),
            lots=lots,
            inner_product_id=self.key(inner),
            inner_lot=lot,
            sole=False,
            complete=False,
            at=self.ward.now,
        )
        return tell_carton(replace(usual, **said), site=self.ward.site)

    def rule(self, gtin: str, captured: str, notice: str, *, same: bool) -> Done:
        """Rule on two texts that look alike."""
        asked = RuleOnLots(
            sent=self.ward.at("pharmacist").sent(),
            product_id=self.key(gtin),
            captured=captured,
            notice=notice,
            same=same,
            basis="The maker was asked",
            at=self.ward.now,
        )
        return rule_on_lots(asked, site=self.ward.site)

    def of(self, gtin: str) -> ProductStock:
        """Return what the book says of a product."""
        with self.ward.reads() as session:
            found = product_stock(
                session, self.ward.site.id, self.key(gtin), self.ward.now, self.ward.site.zone
            )
        assert found is not None
        return found

    def levels(self, gtin: str) -> dict[tuple[str, str], int]:
        """Return the numbers by lot and place."""
        return {(each.lot or "", each.place): each.quantity for each in self.of(gtin).levels}

    def can_prime(self, weeks: int = 0) -> CanPrime:
        """Return the answer for the ward's one circuit type."""
        with self.ward.reads() as session:
            (found,) = can_prime(
                session, self.ward.site.id, self.ward.now, self.ward.site.zone, weeks=weeks
            )
        return found
