"""North American coupon data: chains of fields that announce their own lengths.

No part of a circuit carries one; they are read so that every identifier of the table is.
Source: GS1 North American Coupon Application Guideline (fields of (8110) and (8112)), from
memory; verdicts compared with an independent PostScript barcode library.
"""

from collections.abc import Callable
from datetime import date

from .gs1_dates import strict_day

__all__ = ["coupon", "coupon_offer"]


class _Short(Exception):
    """The data end inside a field."""


class _Wrong(Exception):
    """A digit that its field does not allow, or something that is no date."""

    def __init__(self, code: str = "bad-charset") -> None:
        """Keep the reason code."""
        super().__init__(code)
        self.code = code


class _Fields:
    """Takes fields off the front of a string of digits."""

    def __init__(self, part: str) -> None:
        if not part.isdigit():
            raise _Wrong
        self._rest = part

    def take(self, length: int) -> str:
        if len(self._rest) < length:
            raise _Short
        taken, self._rest = self._rest[:length], self._rest[length:]
        return taken

    def one_of(self, allowed: str) -> str:
        digit = self.take(1)
        if digit not in allowed:
            raise _Wrong
        return digit

    def announced(self, allowed: str, more: int = 0) -> None:
        self.take(int(self.one_of(allowed)) + more)

    def company(self, *, none_allowed: bool) -> None:
        size = self.one_of("0123456" + ("9" if none_allowed else ""))
        if size != "9":
            self.take(int(size) + 6)

    def requirement(self) -> None:
        self.announced("12345")
        self.one_of("012349")
        self.take(3)

    def left(self) -> bool:
        return bool(self._rest)


def coupon(part: str, today: date) -> str | None:
    """Return None or the reason code for the data of (8110)."""
    return _outcome(_coupon, part, today)


def coupon_offer(part: str, today: date) -> str | None:
    """Return None or the reason code for the data of (8112)."""
    return _outcome(_offer, part, today)


def _outcome(read: Callable[[str, date], None], part: str, today: date) -> str | None:
    try:
        read(part, today)
    except _Short:
        return "bad-length"
    except _Wrong as wrong:
        return wrong.code
    return None


def _coupon(part: str, today: date) -> None:
    data = _Fields(part)
    data.company(none_allowed=False)
    data.take(6)
    data.announced("12345")
    data.requirement()
    days: dict[str, date] = {}
    while data.left():
        _coupon_option(data, days, today)
    if "3" in days and "4" in days and days["3"] < days["4"]:  # ends before it starts
        raise _Wrong("bad-date")


def _coupon_option(data: _Fields, days: dict[str, date], today: date) -> None:
    kind = data.one_of("1234569")
    if kind == "1":
        data.one_of("0123")
    if kind in "12":
        data.requirement()
        data.company(none_allowed=True)
    elif kind in "34":
        day = strict_day(data.take(6), today)
        if day is None:
            raise _Wrong("bad-date")
        days[kind] = day
    elif kind == "5":
        data.announced("0123456789", more=6)
    elif kind == "6":
        data.announced("1234567", more=6)
    else:
        data.one_of("01256")
        data.one_of("012")
        data.take(1)
        data.one_of("01")


def _offer(part: str, today: date) -> None:
    data = _Fields(part)
    data.one_of("01")
    data.company(none_allowed=False)
    data.take(6)
    data.announced("0123456789", more=6)
    if data.left():
        raise _Wrong("too-long")
