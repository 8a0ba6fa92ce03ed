"""IFA codes: PPN in an ISO 15434 envelope, PZN in Code 39, and ASC MH10 identifiers beside them.

Sources: IFA, "Technical information regarding PZN coding: check digit calculations of PZN, PPN and
Basic UDI-DI", 26 January 2024 (read in full); IFA PPN-Code Specification for Retail Packaging
v2.01 (2013-06-26) for the fields (title and contents seen, field rules from pages that restate
it); ISO/IEC 15434 for the envelope and ANSI MH10.8.2 for the other identifiers, from memory.
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

from collections.abc import Callable
from datetime import date
from typing import Final

from .checks import gs1_check
from .faulty import Faulty, require_characters, require_length
from .gs1_dates import long_day, month_end
from .reading import Element, Fault, Reading, Source, Standard, Status

__all__ = ["ENVELOPE", "gs1_content", "ppn_check", "pzn_check", "read_envelope", "read_pzn"]

ENVELOPE: Final = "[)>"
_RS, _GS, _EOT = "\x1e", "\x1d", "\x04"

_DIGITS: Final = frozenset("0123456789")
_UPPER: Final = _DIGITS | frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
_TEXT: Final = _UPPER | frozenset("abcdefghijklmnopqrstuvwxyz-_")
_PRINTABLE: Final = frozenset(map(chr, range(32, 127)))

_LOT_MOST: Final = 20
_PPN_MOST: Final = 22
_PZN_AGENCY: Final = "11"
"""Product registration agency of the PZN."""

_PRODUCT: Final = ("9N", "8P", "25P", "1P")
"""Identifiers of which one must name the product."""

_OTHER_WRITTEN: Final = (
    "P 2P 3P 4P 5P 18P 22P 26P 30P 33P 34P 35P T 3T 25T 30T 33T 4D 5D 6D 7D 10D 11D 12D 13D 15D "
    "17D 18D 19D 1S 3S 25S 26S 27S V 1V 2V 3V 8V 10V 17V 18V 19V 20V 21V 1Q 2Q 3Q 4Q 5Q 6Q 7Q 1L "
    "4L 5L 20L 21L 27L 33L 1B 2B 25B 1Z 2Z 10Z 11Z 12Z 14Z 25H 1K 2K 9K 1R 4R J 1J 2J 5J 6J"
)
_OTHER: Final = frozenset(_OTHER_WRITTEN.split())
"""Further identifiers of ANSI MH10.8.2 that stand on packs; kept, not interpreted. From memory."""


def gs1_content(body: str) -> str | None:
    """Return the element strings inside a format 05 envelope, None for any other text."""
    head, end = f"{ENVELOPE}{_RS}05{_GS}", f"{_RS}{_EOT}"
    if body.startswith(head) and body.endswith(end):
        return body[len(head) : -len(end)]
    return None


def pzn_check(digits: str) -> str:
    """Return the check digit of a PZN's first seven digits; "" if that number is never issued.

    Weights 1 to 7, modulo 11; remainder 10 is not issued. Source: IFA 2024-01-26, PZN.
    """
    remainder = sum(int(digit) * weight for weight, digit in enumerate(digits, start=1)) % 11
    return "" if remainder == 10 else str(remainder)


def ppn_check(data: str) -> str:
    """Return the two check digits of a PPN's agency code and product number.

    The ASCII values weighted 2, 3, 4, ... modulo 97. Source: IFA 2024-01-26, PPN.
    """
    total = sum(ord(character) * weight for weight, character in enumerate(data, start=2))
    return f"{total % 97:02}"


def read_pzn(body: str, source: Source) -> Reading | None:
    """Return the reading of a PZN in Code 39 ("-" and eight digits); None if it is none."""
    digits = body[1:]
    if body[:1] != "-" or not digits or not _DIGITS.issuperset(digits):
        return None
    if len(digits) != 8:
        return _rejected("bad-length", 1, source, [])
    elements = [("PZN", digits)]
    if pzn_check(digits[:7]) != digits[7]:
        return _rejected("bad-check-digit", 8, source, elements)
    data = _PZN_AGENCY + digits
    return Reading(
        text=source.text,
        symbology_identifier=source.symbology_identifier,
        status=Status.OK,
        standard=Standard.IFA,
        device_identifier=data + ppn_check(data),
        elements=tuple(elements),
    )


def read_envelope(body: str, source: Source) -> Reading:
    """Return the reading of a format 06 envelope.

    Args:
        body: the data, beginning with "[)>".
        source: what `body` belongs to.

    An envelope without its end may have lost data there: it is read and called suspect.
    """
    elements: list[Element] = []
    try:
        fields, at, whole = _fields(body)
        for written in fields:
            if written:
                elements.append(_element(written, at))
            at += len(written) + 1
        known = _without_repeats(elements)
        if not any(name in known for name in _PRODUCT):
            raise Faulty("missing-required", 0)
        _agree(known)
    except Faulty as wrong:
        return _rejected(wrong.code, wrong.at, source, elements)
    short = known.get("D")
    expiry = _short_day(short) if short else None
    if "14D" in known and expiry is None:
        expiry = long_day(known["14D"])
    fault = Fault(code="bad-length", position=source.offset + len(body))
    quantity = known.get("Q")
    return Reading(
        text=source.text,
        symbology_identifier=source.symbology_identifier,
        status=Status.OK if whole else Status.SUSPECT,
        standard=Standard.IFA,
        device_identifier=known.get("9N") or known.get("8P"),
        lot=known.get("1T"),
        serial=known.get("S"),
        quantity=int(quantity) if quantity else None,
        expiry=expiry,
        expiry_day_given=not (short and short[4:] == "00"),
        made=long_day(known["16D"]) if "16D" in known else None,
        elements=tuple(known.items()),
        reason_codes=() if whole else (fault.code,),
        faults=() if whole else (fault,),
    )


def _fields(body: str) -> tuple[list[str], int, bool]:
    """Return the fields, where the first begins, and whether the envelope is whole."""
    head = body[len(ENVELOPE) :]
    if not head.startswith(_RS) or head[3:4] != _GS:
        raise Faulty("bad-length" if len(head) < 4 else "unknown-identifier", len(ENVELOPE))
    if head[1:3] != "06":
        raise Faulty("unknown-identifier", len(ENVELOPE) + 1)
    content, end, trailer = head[4:].partition(_RS)
    whole = bool(end) and trailer == _EOT
    if trailer not in ("", _EOT):
        raise Faulty("unknown-identifier", len(ENVELOPE) + 4 + len(content))
    return content.rstrip(_EOT).split(_GS), len(ENVELOPE) + 4, whole


def _element(written: str, at: int) -> Element:
    letter = next((i for i, c in enumerate(written) if c not in _DIGITS), len(written))
    name, value = written[: letter + 1], written[letter + 1 :]
    verify = _VERIFIERS.get(name)
    if verify is None:
        raise Faulty("unknown-identifier", at)
    verify(value, at + len(name))
    return name, value


def _lot(value: str, at: int) -> None:
    _require(value, at, _TEXT, most=_LOT_MOST)


def _short_date(value: str, at: int) -> None:
    _require(value, at, _DIGITS)
    if len(value) != 6 or _short_day(value) is None:
        raise Faulty("bad-date", at)


def _long_date(value: str, at: int) -> None:
    _require(value, at, _DIGITS)
    if len(value) != 8 or long_day(value) is None:
        raise Faulty("bad-date", at)


def _gtin(value: str, at: int) -> None:
    if len(value) != 14:
        raise Faulty("bad-length", at)
    _require(value, at, _DIGITS)
    if gs1_check(value[:-1]) != value[-1]:
        raise Faulty("bad-check-digit", at + 13)


def _count(value: str, at: int) -> None:
    _require(value, at, _DIGITS, most=8)


def _printable(value: str, at: int) -> None:
    _require(value, at, _PRINTABLE)


def _product(value: str, at: int) -> None:
    """Verify a PPN: both its check digits and, for a PZN inside, the PZN's own."""
    if value.startswith("PP"):  # Basic UDI-DI: a registration key, not a product code
        raise Faulty("unknown-identifier", at)
    if len(value) < 5 or (value.startswith(_PZN_AGENCY) and len(value) != 12):
        raise Faulty("bad-length" if len(value) <= _PPN_MOST else "too-long", at)
    _require(value, at, _UPPER, most=_PPN_MOST)
    if not _DIGITS.issuperset(value[-2:]):
        raise Faulty("bad-charset", at + len(value) - 2)
    if ppn_check(value[:-2]) != value[-2:]:
        raise Faulty("bad-check-digit", at + len(value) - 2)
    if value.startswith(_PZN_AGENCY):
        number = value[2:10]
        if not _DIGITS.issuperset(number):
            raise Faulty("bad-charset", at + 2)
        if pzn_check(number[:7]) != number[7]:
            raise Faulty("bad-check-digit", at + 9)


_VERIFIERS: Final[dict[str, Callable[[str, int], None]]] = {
    **dict.fromkeys((*_OTHER, "25P", "1P"), _printable),
    "9N": _product,
    "8P": _gtin,
    "1T": _lot,
    "S": _lot,
    "D": _short_date,
    "14D": _long_date,
    "16D": _long_date,
    "Q": _count,
}
"""The test of each identifier's value, which raises `Faulty`."""


def _require(value: str, at: int, allowed: frozenset[str], *, most: int = 400) -> None:
    require_length(value, 1, most, at)
    require_characters(value, allowed, at)


def _short_day(written: str) -> date | None:
    """Return the day of YYMMDD, always 20YY; day 00 is the month's last. PPN-Code spec, 4.2."""
    if written[4:] == "00":
        return month_end(2000 + int(written[:2]), int(written[2:4]))
    return long_day("20" + written)


def _without_repeats(elements: list[Element]) -> dict[str, str]:
    known: dict[str, str] = {}
    for name, value in elements:
        if known.setdefault(name, value) != value:
            raise Faulty("repeated-conflict", 0)
    return known


def _agree(known: dict[str, str]) -> None:
    if "D" in known and "14D" in known and _short_day(known["D"]) != long_day(known["14D"]):
        raise Faulty("repeated-conflict", 0)


def _rejected(code: str, position: int, source: Source, elements: list[Element]) -> Reading:
    return Reading(
        text=source.text,
        symbology_identifier=source.symbology_identifier,
        status=Status.REJECTED,
        standard=Standard.IFA,
        elements=tuple(elements),
        reason_codes=(code,),
        faults=(Fault(code=code, position=source.offset + position),),
    )
