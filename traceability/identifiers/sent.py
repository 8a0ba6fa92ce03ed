"""Characters that are what the scanner sent: which standard they follow, and its reading.

The symbology identifier decides when one was sent; without one the first characters do, and never
against it. Rules R-1 to R-3; identifiers: ISO/IEC 15424.
"""

from dataclasses import replace
from datetime import date
from typing import Final

from .aim_symbology import Carrier, carrier_of, in_front
from .code_39 import restored
from .gs1 import GS, read_element_string
from .gs1_forms import (
    is_bracketed,
    is_number,
    number_right,
    read_bracketed,
    read_link,
    read_number,
    upc_e_expanded,
)
from .hibc import is_primary, read_hibc
from .ifa import ENVELOPE, gs1_content, read_envelope, read_pzn
from .isbt_128 import read_isbt_128
from .pairs import completed
from .reading import Context, Fault, Reading, Source, Standard, Status

__all__ = ["LINE_ENDS", "MOST_IN_OWN_TAG", "read_sent"]

LINE_ENDS: Final = "\r\n\t"
"""What scanners add behind the data; no supported standard's data end so."""

MOST_CHARACTERS: Final = 400
"""One product symbol holds less. Own choice, no source."""

MOST_IN_OWN_TAG: Final = 3_000
"""Our own tags' symbols begin with their marker, are larger, and are read elsewhere."""

_OWN_MARKER: Final = "CT"
_PREFIX: Final = 3
_GTIN_SIZES: Final = (12, 13, 14)
_OPENINGS: Final = (("01", 14), ("02", 14), ("00", 18))
"""Identifiers that show element strings where no symbology identifier came (R-3), and the length
of their data."""


def read_sent(
    text: str, symbology_identifier: str | None, today: date, context: Context
) -> Reading:
    """Return the reading of `text`; arguments as of `interpret`."""
    body, offset = text, 0
    if body[:1] == "]":
        front = in_front(body)
        if front and (not symbology_identifier or front == symbology_identifier):
            symbology_identifier, body, offset = front, body[_PREFIX:], _PREFIX
    if len(body) > MOST_CHARACTERS:
        own = body.startswith(_OWN_MARKER) and len(body) <= MOST_IN_OWN_TAG
        if not own and len(body.rstrip(LINE_ENDS)) > MOST_CHARACTERS:
            return _refused("too-long", Source(text, today))
    body = body.rstrip(LINE_ENDS)
    source = Source(text, today, offset, symbology_identifier or None)
    if not body or body.isspace():
        return _refused("empty", source)
    carrier = carrier_of(symbology_identifier)
    if carrier is Carrier.GS1:
        reading = read_element_string(body, source, gs_capable=context.gs_capable)
    else:
        reading = _by_carrier(carrier, body, source, context)
    if context.previous is not None:
        before = read_sent(context.previous, None, today, replace(context, previous=None))
        reading = completed(reading, before, today)
    return reading


def _by_carrier(carrier: Carrier, body: str, source: Source, context: Context) -> Reading:
    match carrier:
        case Carrier.NOT_SENT:
            return _without_identifier(body, source, context)
        case Carrier.RETAIL | Carrier.RETAIL_8:
            return _retail(carrier, body, source, context)
        case Carrier.ITF_CHECKED if is_number(body) and len(body) == _GTIN_SIZES[-1]:
            return read_number(body, source)
        case Carrier.UNKNOWN:
            return _unknown(body, source, context)
        case Carrier.CODE_39:
            return _code_39(body, source, context)
        case _:
            return _plain(body, source, context)


def _without_identifier(body: str, source: Source, context: Context) -> Reading:
    """Read a text without symbology identifier (R-3)."""
    if is_number(body) and len(body) in _GTIN_SIZES:
        return read_number(body, source, sure=False)
    opening = _opening(body)
    if opening is not None and not number_right(opening):
        if body.startswith("01"):
            return read_number(opening, source._replace(offset=source.offset + 2), sure=False)
        opening = None
    if opening is None:
        if is_bracketed(body):
            return read_bracketed(body, source)
        if GS not in body or body.startswith(ENVELOPE):
            return _plain(body, source, context)
    return read_element_string(body, source, gs_capable=context.gs_capable)


def _opening(body: str) -> str | None:
    """Return the number behind a leading (01), (02) or (00); None if there is none so long."""
    for identifier, size in _OPENINGS:
        number = body[len(identifier) : len(identifier) + size]
        if body.startswith(identifier) and len(number) == size and is_number(number):
            return number
    return None


def _plain(body: str, source: Source, context: Context) -> Reading:
    """Read what is no GS1 carrier: its first characters name the standard, or none does."""
    starred = body[0] == "*" == body[-1] and body[1:2] == "+"
    if starred:  # Code 39 printed and typed with its start and stop signs
        body, source = body[1:-1], source._replace(offset=source.offset + 1)
    match body[0]:
        case "+":
            primary = _primary(context.previous)
            return read_hibc(body, source, primary=primary)
        case "=" | "&":
            return read_isbt_128(body, source)
    if body.startswith(ENVELOPE):
        inside = gs1_content(body)
        if inside is None:
            return read_envelope(body, source)
        offset = source.offset + body.index(inside)
        return read_element_string(inside, source._replace(offset=offset))
    return read_link(body, source) or _unstructured(body, source)


def _unstructured(body: str, source: Source) -> Reading:
    """Return a plain code as read; a label made without FNC1 is worth a word."""
    number = _opening(body) if source.symbology_identifier else None
    return Reading(
        text=source.text,
        status=Status.UNSTRUCTURED,
        cautions=("looks-like-gs1",) if number and number_right(number) else (),
        symbology_identifier=source.symbology_identifier,
    )


def _primary(previous: str | None) -> str | None:
    """Return the HIBC primary symbol that was read before, bare; None if it was none."""
    if previous is None:
        return None
    bare = previous[_PREFIX:] if in_front(previous) else previous
    bare = bare.rstrip(LINE_ENDS)
    if bare[:2] == "*+" and bare[-1] == "*":
        bare = bare[1:-1]
    return bare if is_primary(bare) else None


def _code_39(body: str, source: Source, context: Context) -> Reading:
    """Read Code 39, which also carries the PZN and may have been read as full ASCII (R-C39)."""
    number = read_pzn(body, source)
    if number is not None:
        return number
    mended = restored(body)
    if mended is not None and mended[0] == "+":
        found = read_hibc(mended, source._replace(offset=0), primary=_primary(context.previous))
        if found.status is Status.OK:
            fault = Fault(code="bad-charset")
            return replace(
                found,
                status=Status.SUSPECT,
                reason_codes=(fault.code,),
                faults=(fault,),
                recovered=mended,
            )
    return _plain(body, source, context)


def _retail(carrier: Carrier, body: str, source: Source, context: Context) -> Reading:
    """Read the digits of an EAN or UPC symbol."""
    match len(body) if is_number(body) else 0, carrier:
        case 8, Carrier.RETAIL_8:
            return read_number(body, source)
        case ((12 | 13), Carrier.RETAIL):
            return read_number(body, source)
        case ((15 | 18), Carrier.RETAIL):  # EAN-13 with an add-on of two or five digits
            return read_number(body[:13], source, add_on=body[13:])
        case 8, Carrier.RETAIL if whole := upc_e_expanded(body):
            return read_number(whole, source)
    opening = _opening(body)
    if opening is not None and number_right(opening):  # ]e0 typed with Caps Lock on
        return _unknown(body, source, context)
    strange = next((i for i, character in enumerate(body) if not is_number(character)), None)
    code = "bad-length" if strange is None else "bad-charset"
    return _refused(code, source, strange or 0, Standard.GS1)


def _unknown(body: str, source: Source, context: Context) -> Reading:
    """Read behind an identifier that does not exist as if none had been sent; suspect (R-2)."""
    found = _without_identifier(body, source, context)
    fault = Fault(code="unknown-identifier")
    return replace(
        found, status=Status.SUSPECT, reason_codes=(fault.code,), faults=(fault, *found.faults)
    )


def _refused(
    code: str, source: Source, place: int = 0, standard: Standard = Standard.NONE
) -> Reading:
    return Reading(
        text=source.text,
        status=Status.REJECTED,
        standard=standard,
        reason_codes=(code,),
        faults=(Fault(code=code, position=source.offset + place),),
        symbology_identifier=source.symbology_identifier,
    )
