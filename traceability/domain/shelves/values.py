"""Whether one part is what one clause asks for: yes, open with its reasons, or no.

A part is judged from its identifiers as captured, or as one arrangement fills them in.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final

from traceability.domain.scopes import Match, in_dates, in_serial_range, shipped_in
from traceability.domain.shelves.facts import CartonNotice, Receipt
from traceability.domain.shelves.scope import Asked, Clause
from traceability.domain.shelves.situation import Situation, Use
from traceability.domain.shelves.texts import Texts

__all__ = ["NO", "YES", "Judge", "Reason", "Unit", "Value"]


class Reason(StrEnum):
    """Why something cannot be excluded."""

    LOT_NOT_RECORDED = "lot_not_recorded"
    SERIAL_NOT_RECORDED = "serial_not_recorded"
    MAKER_NOT_RECORDED = "maker_not_recorded"
    CONTENTS_UNKNOWN = "contents_unknown"
    INNER_LOT_NOT_KNOWN = "inner_lot_not_known"
    DATE_NOT_KNOWN = "date_not_known"
    LOT_TEXT_ALIKE = "lot_text_alike"
    STOCK_BOOK_INCOMPLETE = "stock_book_incomplete"


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """Identifiers of a unit, as captured or as arranged."""

    maker: str | None
    lot: str | None
    serial: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """Yes, no, or open for at least one reason."""

    yes: bool = False
    reasons: frozenset[Reason] = frozenset()

    @property
    def no(self) -> bool:
        """Neither yes nor open."""
        return not self.yes and not self.reasons


YES: Final = Value(yes=True)
NO: Final = Value()


def _open(*reasons: Reason) -> Value:
    return Value(reasons=frozenset(reasons))


def _from(match: Match | None, unknown: Reason) -> Value:
    """Return the value of a comparison; None means that there was nothing to compare."""
    if match is None:
        return _open(unknown)
    if match is Match.ALIKE:
        return _open(Reason.LOT_TEXT_ALIKE)
    return YES if match is Match.IN else NO


class Judge:
    """Judges parts against clauses by one situation's book, rulings and carton notices."""

    def __init__(self, situation: Situation) -> None:
        """Index what is looked up for every part."""
        self.situation = situation
        self.texts = Texts.of(situation.rulings)
        self.receipts: dict[tuple[str, str], dict[str, list[Receipt]]] = {}
        for line in situation.receipts:
            lots = self.receipts.setdefault((line.item, line.maker), {})
            lots.setdefault(line.lot, []).append(line)
        self._lots: dict[tuple[str, str, str, tuple[str, ...]], Value] = {}
        self.notices: dict[tuple[str, str], list[CartonNotice]] = {}
        for notice in situation.notices:
            key = (notice.pack_item, notice.inner_item)
            self.notices.setdefault(key, []).append(notice)

    def booked(self, item: str, maker: str, lot: str) -> str | None:
        """Return the booked text that a captured lot stands for, or None."""
        return self.texts.booked(item, maker, lot, self.receipts.get((item, maker), ()))

    def captured(self, use: Use) -> Unit:
        """Return what was recorded on a part itself, or on the pack it is inside."""
        part = use.part if use.pack is None else self.situation.uses[use.pack].part
        return Unit(maker=part.maker, lot=part.lot, serial=part.serial)

    def value(self, use: Use, unit: Unit, clause: Clause) -> Value:
        """Return the value of a part, given its identifiers (of an inner part: its pack's)."""
        if use.part.item not in clause.items:
            return NO
        maker = unit.maker if use.pack is None else use.part.maker
        if maker is not None and maker != clause.maker:
            return NO
        value = (
            self._inner(use, unit, clause) if use.pack is not None else self._own(use, unit, clause)
        )
        if maker is None and not value.no:
            return Value(reasons=value.reasons | {Reason.MAKER_NOT_RECORDED})
        return value

    def _own(self, use: Use, unit: Unit, clause: Clause) -> Value:
        match clause.asked:
            case Asked.MODELS:
                return YES
            case Asked.SERIALS:
                return _serial(unit.serial, clause)
            case Asked.LOTS if unit.lot is not None:
                return self._lot(use.part.item, unit.lot, clause)
            case _ if unit.lot is None:
                ours = Reason.STOCK_BOOK_INCOMPLETE
                return _open(Reason.LOT_NOT_RECORDED if use.foreign else ours)
            case Asked.MADE:
                return _all([_made(line, clause) for line in self._lines(use, unit.lot, clause)])
            case _:
                return self._shipped(use, unit.lot, clause)

    def _lot(self, item: str, lot: str, clause: Clause) -> Value:
        """Judge a lot text; many parts share one, so each is compared once."""
        key = (item, clause.maker, lot, clause.lots)
        if key not in self._lots:
            found = self.texts.match_any(item, clause.maker, lot, clause.lots)
            self._lots[key] = _from(found, Reason.LOT_NOT_RECORDED)
        return self._lots[key]

    def _lines(self, use: Use, lot: str, clause: Clause) -> list[Receipt]:
        """Return the receipts of the lot that a captured text stands for."""
        text = self.booked(use.part.item, clause.maker, lot)
        return [] if text is None else self.receipts[use.part.item, clause.maker][text]

    def _shipped(self, use: Use, lot: str, clause: Clause) -> Value:
        """Judge by deliveries that were here before the part went in, of its box if it names one.

        What another hospital fitted came by no delivery of ours.
        """
        if use.foreign:
            return _open(Reason.DATE_NOT_KNOWN)
        lines = self._lines(use, lot, clause)
        box = use.part.box
        if box is not None and any(line.box == box for line in lines):
            lines = [line for line in lines if line.box == box]
        return _all(
            [
                shipped_in(line.shipped, self._local(line), clause.first_day, clause.last_day)
                for line in lines
                if line.at <= use.start
            ]
        )

    def _local(self, line: Receipt) -> date:
        return line.at.astimezone(self.situation.zone).date()

    def _inner(self, use: Use, pack: Unit, clause: Clause) -> Value:
        """Judge a part inside a pack: only makers' statements say what is in there."""
        if clause.asked is Asked.MODELS:
            return YES
        if clause.asked is not Asked.LOTS:
            return _open(Reason.INNER_LOT_NOT_KNOWN)
        item = use.part.item
        pack_item = self.situation.uses[use.pack or 0].part.item
        said = [
            notice
            for notice in self.notices.get((pack_item, item), ())
            if pack.maker is None or notice.pack_maker == pack.maker
        ]
        value = self._by_notices(item, pack, clause, said)
        if pack.maker is None and not value.no:
            return Value(reasons=value.reasons | {Reason.MAKER_NOT_RECORDED})
        return value

    def _by_notices(self, item: str, pack: Unit, clause: Clause, said: list[CartonNotice]) -> Value:
        if pack.lot is None:
            return _open(Reason.INNER_LOT_NOT_KNOWN)
        listed = [
            self.texts.match_any(n.pack_item, n.pack_maker, pack.lot, n.pack_lots) for n in said
        ]
        inner = [self.texts.match_any(item, clause.maker, n.inner_lot, clause.lots) for n in said]
        pairs = list(zip(listed, inner, strict=True))
        if (Match.IN, Match.IN) in pairs:
            return YES
        if any(Match.OUT not in pair for pair in pairs):
            return _open(Reason.LOT_TEXT_ALIKE)
        naming = [n for n, place in zip(said, listed, strict=True) if place is Match.IN]
        if naming and all(notice.sole for notice in naming):
            return NO  # listed with other inner lots only, and nothing else is inside
        elsewhere = [n for n, p in zip(said, listed, strict=True) if n.complete and p is Match.OUT]
        settled = all(
            any(
                self.texts.match(item, clause.maker, n.inner_lot, lot) is Match.IN
                for n in elsewhere
            )
            for lot in clause.lots
        )
        return NO if settled else _open(Reason.INNER_LOT_NOT_KNOWN)


def _serial(serial: str | None, clause: Clause) -> Value:
    first, last = clause.first_serial, clause.last_serial
    if first is None and last is None:
        return YES
    found = None if serial is None else in_serial_range(serial, first, last)
    return _from(found, Reason.SERIAL_NOT_RECORDED)


def _made(line: Receipt, clause: Clause) -> Match | None:
    return in_dates(line.made, clause.first_day, clause.last_day)


def _all(found: list[Match | None]) -> Value:
    """Return yes or no where every line says so; open where they differ or say nothing."""
    only = set(found)
    if only == {Match.IN}:
        return YES
    return NO if only == {Match.OUT} else _open(Reason.DATE_NOT_KNOWN)
