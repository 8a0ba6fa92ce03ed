"""Whether one part is what one clause asks for: yes, open with its reasons, or no.

A part is judged from its identifiers as captured, or as one arrangement fills them in.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from traceability.domain.scopes import Match, alike, in_dates, in_serial_range, shipped_in
from traceability.domain.shelves.facts import CartonNotice, Receipt
from traceability.domain.shelves.reasons import Reason
from traceability.domain.shelves.scope import Asked, Clause, Test
from traceability.domain.shelves.situation import Situation, Use
from traceability.domain.shelves.texts import Texts

__all__ = ["NO", "YES", "Judge", "Unit", "Value", "is_asked"]


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
        self._lots: dict[tuple[str, str, str, Test], Value] = {}
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
        if not is_asked(use, clause):
            return NO
        maker = unit.maker if use.pack is None else use.part.maker
        value = NO
        if maker is None or maker == clause.maker:
            value = _together(self._said(use, unit, test, clause) for test in clause.tests)
        if maker is None and not value.no:
            value = _open(*value.reasons, Reason.MAKER_NOT_RECORDED)
        if use.disputed:
            # If the claim is wrong, something else is in that place.
            value = _open(*value.reasons, Reason.CLAIM_DISPUTED)
        if use.doubts and not value.no:
            value = _open(*value.reasons, *use.doubts)
        return value

    def _said(self, use: Use, unit: Unit, test: Test, clause: Clause) -> Value:
        """Return the value of one test, turned round where it is an exception."""
        if use.pack is not None:
            value = self._inner(use, unit, test, clause)
        else:
            value = self._own(use, unit, test, clause)
        if not test.negated or value.reasons:
            return value
        return NO if value.yes else YES

    def _own(self, use: Use, unit: Unit, test: Test, clause: Clause) -> Value:
        match test.asked:
            case Asked.SERIALS | Asked.SERIAL_LIST:
                return _serial(unit.serial, test)
            case Asked.EXPIRES if use.part.expiry is not None:
                day = in_dates(use.part.expiry, test.first_day, test.last_day)
                return _from(day, Reason.DATE_NOT_KNOWN)
            case Asked.LOTS | Asked.LOT_RANGE if unit.lot is not None:
                return self._lot(use.part.item, unit.lot, test, clause.maker)
            case _ if unit.lot is None:
                ours = Reason.STOCK_BOOK_INCOMPLETE
                return _open(Reason.LOT_NOT_RECORDED if use.foreign else ours)
            case Asked.MADE | Asked.EXPIRES:
                lines = self._lines(use, unit.lot, clause.maker)
                return _all([_dated(line, test) for line in lines])
            case _:
                return self._delivered(use, unit.lot, test, clause.maker)

    def _lot(self, item: str, lot: str, test: Test, maker: str) -> Value:
        """Judge a lot text; many parts share one, so each is compared once."""
        key = (item, maker, lot, test)
        if key not in self._lots:
            if test.asked is Asked.LOTS:
                found = self.texts.match_any(item, maker, lot, test.texts)
            else:
                found = in_serial_range(lot, test.first, test.last)
            self._lots[key] = _from(found, Reason.LOT_NOT_RECORDED)
        return self._lots[key]

    def _lines(self, use: Use, lot: str, maker: str) -> list[Receipt]:
        """Return the receipts of the lot that a captured text stands for."""
        text = self.booked(use.part.item, maker, lot)
        return [] if text is None else self.receipts[use.part.item, maker][text]

    def _delivered(self, use: Use, lot: str, test: Test, maker: str) -> Value:
        """Judge by deliveries that were here before the part went in, of its box if it names one.

        What another hospital fitted came by no delivery of ours.
        """
        if use.foreign:
            return _open(Reason.DATE_NOT_KNOWN)
        lines = self._lines(use, lot, maker)
        box = use.part.box
        if box is not None and any(line.box == box for line in lines):
            lines = [line for line in lines if line.box == box]
        return _all([self._delivery(line, test) for line in lines if line.at <= use.start])

    def _delivery(self, line: Receipt, test: Test) -> Match | None:
        if test.asked is Asked.SUPPLIER:
            if line.supplier is None:
                return None
            return Match.IN if line.supplier in test.texts else Match.OUT
        here = line.at.astimezone(self.situation.zone).date()
        if test.asked is Asked.RECEIVED:
            return in_dates(here, test.first_day, test.last_day)
        return shipped_in(line.shipped, here, test.first_day, test.last_day)

    def _inner(self, use: Use, pack: Unit, test: Test, clause: Clause) -> Value:
        """Judge a part inside a pack: only makers' statements say what is in there."""
        if test.asked is Asked.SERIALS and test.first is None and test.last is None:
            return YES
        if test.asked is not Asked.LOTS:
            return _open(Reason.INNER_LOT_NOT_KNOWN)
        item = use.part.item
        pack_item = self.situation.uses[use.pack or 0].part.item
        said = [
            notice
            for notice in self.notices.get((pack_item, item), ())
            if pack.maker is None or notice.pack_maker == pack.maker
        ]
        value = self._by_notices(item, pack, test.texts, clause.maker, said)
        if pack.maker is None and not value.no:
            return _open(*value.reasons, Reason.MAKER_NOT_RECORDED)
        return value

    def _by_notices(
        self,
        item: str,
        pack: Unit,
        wanted: tuple[str, ...],
        maker: str,
        said: list[CartonNotice],
    ) -> Value:
        if pack.lot is None:
            return _open(Reason.INNER_LOT_NOT_KNOWN)
        listed = [
            self.texts.match_any(n.pack_item, n.pack_maker, pack.lot, n.pack_lots) for n in said
        ]
        inner = [self.texts.match_any(item, maker, n.inner_lot, wanted) for n in said]
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
            any(self.texts.match(item, maker, n.inner_lot, lot) is Match.IN for n in elsewhere)
            for lot in wanted
        )
        return NO if settled else _open(Reason.INNER_LOT_NOT_KNOWN)


def is_asked(use: Use, clause: Clause) -> bool:
    """Return whether a part is, or may be, of an item of the clause."""
    items = clause.items
    return use.part.item in items or not use.may_be.isdisjoint(items)


def _together(values: Iterable[Value]) -> Value:
    """Return no where one says no, yes where all say yes, else open for all that is open."""
    reasons: frozenset[Reason] = frozenset()
    for value in values:
        if value.no:
            return NO
        reasons |= value.reasons
    return Value(reasons=reasons) if reasons else YES


def _serial(serial: str | None, test: Test) -> Value:
    if test.asked is Asked.SERIAL_LIST:
        if serial is None:
            return _open(Reason.SERIAL_NOT_RECORDED)
        found = {alike(serial, text) for text in test.texts}
        best = next((each for each in (Match.IN, Match.ALIKE) if each in found), Match.OUT)
        return _from(best, Reason.SERIAL_NOT_RECORDED)
    if test.first is None and test.last is None:
        return YES
    inside = None if serial is None else in_serial_range(serial, test.first, test.last)
    return _from(inside, Reason.SERIAL_NOT_RECORDED)


def _dated(line: Receipt, test: Test) -> Match | None:
    day = line.made if test.asked is Asked.MADE else line.expiry
    return in_dates(day, test.first_day, test.last_day)


def _all(found: list[Match | None]) -> Value:
    """Return yes or no where every line says so; open where they differ or say nothing."""
    only = set(found)
    if only == {Match.IN}:
        return YES
    return NO if only == {Match.OUT} else _open(Reason.DATE_NOT_KNOWN)
