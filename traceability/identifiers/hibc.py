"""HIBC supplier labels: primary, secondary, and both in one symbol.

Source: ANSI/HIBC 2.6 (2016), sections 2.2 (primary), 2.3 (secondary and supplementary data),
appendix B (check and link characters), appendix F table F1 (date forms). $$8 and $$9 belong to
earlier editions (public decoders' test data). Two-digit years are 20YY: decision of the project,
no published pivot found.
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

from dataclasses import dataclass, field
from datetime import date
from typing import Final

from .checks import HIBC_ALPHABET, hibc_check
from .gs1_dates import long_day, month_end, ordinal_day
from .reading import Element, Fault, Reading, Source, Standard, Status

__all__ = ["is_primary", "read_hibc"]

_ALPHABET: Final = frozenset(HIBC_ALPHABET)
_ALPHANUMERIC: Final = frozenset(HIBC_ALPHABET[:36])
_LOT: Final = _ALPHANUMERIC | frozenset("-. ")
_DIGITS: Final = frozenset("0123456789")
_LETTERS: Final = _ALPHANUMERIC - _DIGITS
_SHORTEST: Final = 3
"""Plus sign, one character, check character."""
_LABELLER_LENGTH: Final = 4
_PRODUCT_MOST: Final = 18
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


class _Wrong(Exception):
    """Against the standard; carries the reason code and the place in the body."""

    def __init__(self, code: str, at: int) -> None:
        super().__init__(code, at)
        self.code = code
        self.at = at


@dataclass(slots=True)
class _Found:
    """What has been read so far."""

    elements: list[Element] = field(default_factory=list)
    values: dict[str, tuple[str, object]] = field(default_factory=dict)
    product: str | None = None
    day_given: bool = True
    hour: str | None = None

    def add(self, name: str, written: str, meaning: str, value: object, at: int) -> None:
        """Keep an element; what is stated twice must agree."""
        self.elements.append((name, written))
        known = self.values.setdefault(meaning, (name, value))
        if known[1] != value:
            raise _Wrong("repeated-conflict", at)

    def get(self, meaning: str) -> object:
        return self.values.get(meaning, ("", None))[1]


def is_primary(text: str) -> bool:
    """Say whether `text` is a whole HIBC primary symbol with a right check character."""
    return (
        len(text) > _LABELLER_LENGTH + 2
        and text[0] == "+"
        and text[1].isalpha()
        and "/" not in text[:-1]
        and _ALPHABET.issuperset(text)
        and hibc_check(text[:-1]) == text[-1]
    )


def read_hibc(body: str, source: Source, *, primary: str | None = None) -> Reading:
    """Return the reading of HIBC data that begin with "+".

    Args:
        body: the data, check character included; never trimmed, for a space can be that.
        source: what `body` belongs to.
        primary: the primary symbol of the same pack, if it was read just before.
    """
    if body.startswith("++"):  # Basic UDI-DI: a registration key, not a product code
        return Reading(
            text=source.text,
            symbology_identifier=source.symbology_identifier,
            status=Status.UNSTRUCTURED,
            cautions=("registration-key",),
        )
    found = _Found()
    private = body.startswith("+/")
    try:
        _read(body, found, primary)
    except _Wrong as wrong:
        fault = Fault(code=wrong.code, position=source.offset + max(wrong.at, 0))
        return Reading(
            text=source.text,
            symbology_identifier=source.symbology_identifier,
            status=Status.REJECTED,
            standard=Standard.HIBC,
            elements=tuple(found.elements),
            reason_codes=(wrong.code,),
            faults=(fault,),
            private=private,
        )
    lot, serial, quantity = found.get("lot"), found.get("serial"), found.get("quantity")
    expiry, made = found.get("expiry"), found.get("made")
    return Reading(
        text=source.text,
        symbology_identifier=source.symbology_identifier,
        status=Status.OK,
        standard=Standard.HIBC,
        device_identifier=found.product,
        lot=lot if isinstance(lot, str) else None,
        serial=serial if isinstance(serial, str) else None,
        quantity=quantity if isinstance(quantity, int) else None,
        expiry=expiry if isinstance(expiry, date) else None,
        expiry_day_given=found.day_given,
        expiry_time=found.hour,
        made=made if isinstance(made, date) else None,
        elements=tuple(found.elements),
    )


def _read(body: str, found: _Found, primary: str | None) -> None:
    """Read a whole symbol: check character first, before any field (R-H1)."""
    _require_all(body, _ALPHABET, 0)
    if len(body) < _SHORTEST:
        raise _Wrong("bad-length", 0)
    if hibc_check(body[:-1]) != body[-1]:
        raise _Wrong("bad-check-digit", len(body) - 1)
    data = body[:-1]
    if data[1] in _LETTERS:
        head, slash, rest = data.partition("/")
        _primary(head, found)
        if slash:
            _secondary(rest, len(head) + 1, found)
    elif data[1] in "$0123456789":
        _secondary_alone(data, found, primary)
    else:  # with "/" a provider's label: patients, places, records (R-H2)
        raise _Wrong("unknown-identifier", 1)


def _secondary_alone(data: str, found: _Found, primary: str | None) -> None:
    link = data[-1]
    _secondary(data[1:-1], 1, found)
    found.elements.append(("link", link))
    if primary is not None and primary[-1] != link:
        raise _Wrong("link-mismatch", len(data) - 1)


def _primary(head: str, found: _Found) -> None:
    labeller, product, unit = head[1:5], head[5:-1], head[-1]
    if len(head) < _LABELLER_LENGTH + 3:
        raise _Wrong("bad-length", 0)
    if len(product) > _PRODUCT_MOST:
        raise _Wrong("too-long", 5 + _PRODUCT_MOST)
    _require_all(head[1:], _ALPHANUMERIC, 1)
    if unit not in _DIGITS:
        raise _Wrong("bad-charset", len(head) - 1)
    found.elements += [("lic", labeller), ("pcn", product), ("um", unit)]
    found.product = head[1:]


def _secondary(data: str, at: int, found: _Found) -> None:
    pieces = data.split("/")
    for number, piece in enumerate(pieces):
        last = number == len(pieces) - 1
        if number == 0 and piece[:1] in ("$", *_DIGITS) and piece[:3] not in ("14D", "16D"):
            _lot_and_date(piece, at, found)
        else:
            _supplementary(piece, at, found, last=last)
        at += len(piece) + 1


def _lot_and_date(piece: str, at: int, found: _Found) -> None:
    """Read the secondary data that begin with "$", "$+", "$$", "$$+" or a date YYJJJ."""
    if piece.startswith("$$+"):
        rest, at = _flagged_date(piece[3:], at + 3, "01234567", found)
        _require_some(rest, at)
        _text("serial", "serial", rest, at, found)
    elif piece.startswith("$$"):
        _counted_and_dated(piece[2:], at + 2, found)
    elif piece.startswith("$+"):
        _require_some(piece[2:], at + 2)
        _text("serial", "serial", piece[2:], at + 2, found)
    elif piece.startswith("$"):
        _require_some(piece[1:], at + 1)
        _text("lot", "lot", piece[1:], at + 1, found)
    else:
        _date("%y%j", piece[:5], 5, at, found)
        _text("lot", "lot", piece[5:], at + 5, found)


def _counted_and_dated(rest: str, at: int, found: _Found) -> None:
    """Read what stands behind "$$": a quantity (older editions), a date, a lot."""
    if rest[:1] in ("8", "9"):
        size = 2 if rest[0] == "8" else 5
        quantity = rest[1 : 1 + size]
        _require_digits(quantity, size, at + 1)
        found.add("qty", quantity, "quantity", int(quantity), at + 1)
        rest, at = rest[1 + size :], at + 1 + size
        if not rest:
            return
    only_lot = rest[:1] == "7"
    rest, at = _flagged_date(rest, at, "01234567", found)
    if only_lot:
        _require_some(rest, at)
    _text("lot", "lot", rest, at, found)


def _flagged_date(rest: str, at: int, flags: str, found: _Found) -> tuple[str, int]:
    """Read the date in front of a lot or serial; return what is left and where it begins."""
    flag = rest[:1]
    if not flag:
        raise _Wrong("bad-length", at)
    if flag not in flags:
        raise _Wrong("unknown-identifier", at)
    if flag in "01":  # no flag: the month begins with 0 or 1
        _date("%m%y", rest[:4], 4, at, found)
        return rest[4:], at + 4
    form, size = _FORMS[flag]
    if size:
        _date(form, rest[1 : 1 + size], size, at + 1, found)
    return rest[1 + size :], at + 1 + size


def _date(form: str, written: str, size: int, at: int, found: _Found) -> None:
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
        raise _Wrong("bad-date", at)
    if "H" in parts:
        found.hour = written[-2:]
    found.add("exp", day.isoformat(), "expiry", day, at)


def _text(name: str, meaning: str, written: str, at: int, found: _Found) -> None:
    """Keep a lot or serial, if there is one."""
    if len(written) > _LOT_MOST:
        raise _Wrong("too-long", at + _LOT_MOST)
    _require_all(written, _LOT, at)
    if written:
        found.add(name, written, meaning, written, at)


def _require_some(written: str, at: int) -> None:
    if not written:
        raise _Wrong("bad-length", at)


def _supplementary(piece: str, at: int, found: _Found, *, last: bool) -> None:
    if piece.startswith(("14D", "16D")):
        name, written = piece[:3], piece[3:]
        if not _DIGITS.issuperset(written):
            raise _Wrong("bad-charset", at + 3)
        day = long_day(written) if len(written) == 8 else None
        if day is None:
            raise _Wrong("bad-date", at + 3)
        found.add(name, written, "expiry" if name == "14D" else "made", day, at)
    elif piece.startswith("S"):
        _require_some(piece[1:], at + 1)
        _text("S", "serial", piece[1:], at + 1, found)
    elif piece.startswith("Q") and last:
        written = piece[1:]
        if len(written) > _QUANTITY_MOST:
            raise _Wrong("too-long", at)
        _require_digits(written, max(len(written), 1), at + 1)
        found.add("Q", written, "quantity", int(written), at)
    else:
        raise _Wrong("unknown-identifier" if piece else "bad-length", at)


def _require_digits(written: str, size: int, at: int) -> None:
    if len(written) < size:
        raise _Wrong("bad-length", at)
    _require_all(written, _DIGITS, at)


def _require_all(written: str, allowed: frozenset[str], at: int) -> None:
    if not allowed.issuperset(written):
        place = next(i for i, character in enumerate(written) if character not in allowed)
        raise _Wrong("bad-charset", at + place)
