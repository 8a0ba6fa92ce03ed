"""HIBC secondary data: lot or serial, expiry, quantity, and the supplementary fields behind "/".

Source: ANSI/HIBC 2.6 (2016), section 2.3, appendix F table F1 (date forms). $$8 and $$9 belong to
earlier editions (public decoders' test data). Two-digit years are 20YY: decision of the project,
no published pivot found.
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

from dataclasses import dataclass, field
from datetime import date
from typing import Final

from .checks import HIBC_ALPHABET
from .faulty import Faulty, require_characters, require_length
from .gs1_dates import long_day, month_end, ordinal_day
from .reading import Element

__all__ = ["DIGITS", "Found", "read_secondary"]

DIGITS: Final = frozenset("0123456789")
_LOT: Final = frozenset(HIBC_ALPHABET[:36] + "-. ")
_LOT_MOST: Final = 18
_QUANTITY_MOST: Final = 5

_FORMS: Final = {
    "2": ("%m%d%y", 6),
    "3": ("%y%m%d", 6),
    "4": ("%y%m%d%H", 8),
    "5": ("%y%j", 5),
    "6": ("%y%j%H", 7),
    "7": ("", 0),
}
"""Date forms by their flag behind $$. ANSI/HIBC 2.6, table F1."""


@dataclass(slots=True)
class Found:
    """What has been read of a symbol so far; the fields mean what they mean in `Reading`."""

    elements: list[Element] = field(default_factory=list)
    product: str | None = None
    lot: str | None = None
    serial: str | None = None
    quantity: int | None = None
    expiry: date | None = None
    day_given: bool = True
    hour: str | None = None
    made: date | None = None

    def keep(self, element: Element, meaning: str, value: object, at: int) -> None:
        """Keep an element under the name of the field it means; twice stated must agree."""
        self.elements.append(element)
        if getattr(self, meaning) not in (None, value):
            raise Faulty("repeated-conflict", at)
        setattr(self, meaning, value)


def read_secondary(data: str, at: int, found: Found) -> None:
    """Read secondary data and what follows behind "/" into `found`; they begin at `at`."""
    pieces = data.split("/")
    for number, piece in enumerate(pieces):
        last = number == len(pieces) - 1
        if number == 0 and piece[:1] in ("$", *DIGITS) and piece[:3] not in ("14D", "16D"):
            _lot_and_date(piece, at, found)
        else:
            _supplementary(piece, at, found, last=last)
        at += len(piece) + 1


def _lot_and_date(piece: str, at: int, found: Found) -> None:
    """Read the secondary data that begin with "$", "$+", "$$", "$$+" or a date YYJJJ."""
    if piece.startswith("$$+"):
        rest, at = _flagged_date(piece[3:], at + 3, "01234567", found)
        require_length(rest, 1, _LOT_MOST, at)
        _text("serial", "serial", rest, at, found)
    elif piece.startswith("$$"):
        _counted_and_dated(piece[2:], at + 2, found)
    elif piece.startswith("$+"):
        require_length(piece[2:], 1, _LOT_MOST, at + 2)
        _text("serial", "serial", piece[2:], at + 2, found)
    elif piece.startswith("$"):
        require_length(piece[1:], 1, _LOT_MOST, at + 1)
        _text("lot", "lot", piece[1:], at + 1, found)
    else:
        _date("%y%j", piece[:5], 5, at, found)
        _text("lot", "lot", piece[5:], at + 5, found)


def _counted_and_dated(rest: str, at: int, found: Found) -> None:
    """Read what stands behind "$$": a quantity (older editions), a date, a lot."""
    if rest[:1] in ("8", "9"):
        size = 2 if rest[0] == "8" else 5
        quantity = rest[1 : 1 + size]
        _require_digits(quantity, size, at + 1)
        found.keep(("qty", quantity), "quantity", int(quantity), at + 1)
        rest, at = rest[1 + size :], at + 1 + size
        if not rest:
            return
    only_lot = rest[:1] == "7"
    rest, at = _flagged_date(rest, at, "01234567", found)
    if only_lot:
        require_length(rest, 1, _LOT_MOST, at)
    _text("lot", "lot", rest, at, found)


def _flagged_date(rest: str, at: int, flags: str, found: Found) -> tuple[str, int]:
    """Read the date in front of a lot or serial; return what is left and where it begins."""
    flag = rest[:1]
    if not flag:
        raise Faulty("bad-length", at)
    if flag not in flags:
        raise Faulty("unknown-identifier", at)
    if flag in "01":  # no flag: the month begins with 0 or 1
        _date("%m%y", rest[:4], 4, at, found)
        return rest[4:], at + 4
    form, size = _FORMS[flag]
    if size:
        _date(form, rest[1 : 1 + size], size, at + 1, found)
    return rest[1 + size :], at + 1 + size


def _date(form: str, written: str, size: int, at: int, found: Found) -> None:
    _require_digits(written, size, at)
    parts, left = {}, written
    for name in form[1::2]:
        width = 3 if name == "j" else 2
        parts[name], left = int(left[:width]), left[width:]
    year = 2000 + parts["y"]
    if "j" in parts:
        day = ordinal_day(year, parts["j"])
    elif "d" in parts:
        day = long_day(f"{year}{parts['m']:02}{parts['d']:02}")
    else:
        day = month_end(year, parts["m"])
        found.day_given = False
    if day is None or parts.get("H", 0) > 23:
        raise Faulty("bad-date", at)
    if "H" in parts:
        found.hour = written[-2:]
    found.keep(("exp", day.isoformat()), "expiry", day, at)


def _text(name: str, meaning: str, written: str, at: int, found: Found) -> None:
    """Keep a lot or serial, if there is one."""
    require_length(written, 0, _LOT_MOST, at)
    require_characters(written, _LOT, at)
    if written:
        found.keep((name, written), meaning, written, at)


def _supplementary(piece: str, at: int, found: Found, *, last: bool) -> None:
    if piece.startswith(("14D", "16D")):
        name, written = piece[:3], piece[3:]
        require_characters(written, DIGITS, at + 3)
        day = long_day(written) if len(written) == 8 else None
        if day is None:
            raise Faulty("bad-date", at + 3)
        found.keep((name, written), "expiry" if name == "14D" else "made", day, at)
    elif piece.startswith("S"):
        require_length(piece[1:], 1, _LOT_MOST, at + 1)
        _text("S", "serial", piece[1:], at + 1, found)
    elif piece.startswith("Q") and last:
        written = piece[1:]
        require_length(written, 1, _QUANTITY_MOST, at + 1)
        require_characters(written, DIGITS, at + 1)
        found.keep(("Q", written), "quantity", int(written), at)
    else:
        raise Faulty("unknown-identifier" if piece else "bad-length", at)


def _require_digits(written: str, size: int, at: int) -> None:
    require_length(written, size, size, at)
    require_characters(written, DIGITS, at)
