"""The one door of this room: what a scanner sent -> what it says, and how sure that is.

The symbology identifier decides the standard when one was sent; without one the first characters
do, and never the other way about. Rules R-1 to R-3 of the project; identifiers: ISO/IEC 15424.
"""

from dataclasses import replace
from datetime import date
from typing import Final

from . import wedge
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
from .ifa import ENVELOPE, read_envelope, read_pzn
from .isbt_128 import read_isbt_128
from .pairs import completed
from .reading import Context, Fault, Reading, Standard, Status

__all__ = ["interpret"]

MOST_CHARACTERS: Final = 400
"""One product symbol holds less. Own choice, no source."""
MOST_IN_OWN_TAG: Final = 3_000
"""Our own tags' symbols begin with their marker, are larger, and are read elsewhere."""
_OWN_MARKER: Final = "CT"

_NO_CONTEXT: Final = Context()


def interpret(
    text: str,
    *,
    symbology_identifier: str | None = None,
    today: date,
    context: Context = _NO_CONTEXT,
) -> Reading:
    """Return what `text` says. Never raises, whatever the text.

    Args:
        text: the characters exactly as they came, separator as U+001D.
        symbology_identifier: such as "]d2", when it was sent apart from the text.
        today: decides the century of two-digit years and what is a believable date.
        context: what is known of the station and of the symbol read just before.
    """
    if context.channel == "keyboard":
        return _typed(text, symbology_identifier, today, context)
    return _sent(text, symbology_identifier, today, context)


def _sent(text: str, symbology_identifier: str | None, today: date, context: Context) -> Reading:
    """Read characters that are what the scanner sent."""
    if len(text) > MOST_IN_OWN_TAG + 5:
        return _refused("too-long", text)
    body, offset = text, 0
    if body[:1] == "]":
        front = in_front(body)
        if front and (not symbology_identifier or front == symbology_identifier):
            symbology_identifier, body, offset = front, body[3:], 3
    body = body.rstrip("\r\n\t")
    if not body or body.isspace():
        return _refused("empty", text)
    if len(body) > MOST_CHARACTERS and (
        not body.startswith(_OWN_MARKER) or len(body) > MOST_IN_OWN_TAG
    ):
        return _refused("too-long", text)
    carrier = carrier_of(symbology_identifier)
    if carrier is Carrier.GS1:
        reading = read_element_string(
            body, text=text, today=today, offset=offset, gs_capable=context.gs_capable
        )
    else:
        reading = _by_carrier(carrier, body, text, offset, today, context)
    if context.previous is not None:
        reading = completed(reading, _previous(context, today), today)
    if symbology_identifier:
        reading = replace(reading, symbology_identifier=symbology_identifier)
    return reading


def _previous(context: Context, today: date) -> Reading:
    return _sent(context.previous or "", None, today, replace(context, previous=None))


def _by_carrier(
    carrier: Carrier, body: str, text: str, offset: int, today: date, context: Context
) -> Reading:
    match carrier:
        case Carrier.NOT_SENT:
            return _without_identifier(body, text, offset, today, context)
        case Carrier.RETAIL | Carrier.RETAIL_8:
            return _retail(carrier, body, text, offset)
        case Carrier.ITF_CHECKED if is_number(body) and len(body) == 14:
            return read_number(body, text=text, offset=offset)
        case Carrier.UNKNOWN:
            return _unknown(body, text, offset, today, context)
        case Carrier.CODE_39:
            return _code_39(body, text, offset, today, context)
        case _:
            return _plain(body, text, offset, today, context)


def _without_identifier(
    body: str, text: str, offset: int, today: date, context: Context
) -> Reading:
    """Read a text without symbology identifier (rule R-3)."""
    if is_number(body) and len(body) in (12, 13, 14):
        return read_number(body, text=text, offset=offset, sure=False)
    for head, size in (("01", 14), ("02", 14), ("00", 18)):
        number = body[2 : 2 + size]
        if body.startswith(head) and len(number) == size and is_number(number):
            if number_right(number):
                return read_element_string(
                    body, text=text, today=today, offset=offset, gs_capable=context.gs_capable
                )
            if head == "01":
                fault = Fault(code="bad-check-digit", position=offset + 15, identifier="01")
                return Reading(
                    text=text,
                    status=Status.SUSPECT,
                    standard=Standard.GS1,
                    elements=(("01", number),),
                    reason_codes=(fault.code,),
                    faults=(fault,),
                )
    if is_bracketed(body):
        return read_bracketed(body, text=text, today=today, offset=offset)
    if GS in body and not body.startswith(ENVELOPE):
        return read_element_string(
            body, text=text, today=today, offset=offset, gs_capable=context.gs_capable
        )
    return _plain(body, text, offset, today, context)


def _plain(body: str, text: str, offset: int, today: date, context: Context) -> Reading:
    """Read what is no GS1 carrier: its first characters name the standard, or none does."""
    first = body[0]
    if first == "+" or (first == "*" and body[1:2] == "+" and body[-1] == "*"):
        bare = body[1:-1] if first == "*" else body
        primary = context.previous
        return read_hibc(
            bare,
            text=text,
            offset=offset + (first == "*"),
            primary=primary if primary and is_primary(_bare(primary)) else None,
        )
    if first in "=&":
        return read_isbt_128(body, text=text, offset=offset)
    if body.startswith(ENVELOPE):
        return read_envelope(body, text=text, offset=offset)
    return read_link(body, text=text, today=today, offset=offset) or Reading(
        text=text, status=Status.UNSTRUCTURED
    )


def _bare(primary: str) -> str:
    front = in_front(primary)
    bare = primary[3:] if front else primary
    bare = bare.rstrip("\r\n\t")
    return bare[1:-1] if bare[:1] == "*" == bare[-1:] else bare


def _code_39(body: str, text: str, offset: int, today: date, context: Context) -> Reading:
    """Read Code 39, which also carries the PZN and may have been read as full ASCII (R-C39)."""
    number = read_pzn(body, text=text, offset=offset)
    if number is not None:
        return number
    mended = restored(body)
    if mended is not None:
        found = read_hibc(mended, text=text)
        if found.status is Status.OK:
            fault = Fault(code="bad-charset")
            return replace(
                found,
                status=Status.SUSPECT,
                reason_codes=(fault.code,),
                faults=(fault,),
                recovered=mended,
            )
    return _plain(body, text, offset, today, context)


def _retail(carrier: Carrier, body: str, text: str, offset: int) -> Reading:
    """Read the digits of an EAN or UPC symbol."""
    if not is_number(body):
        at = next(i for i, c in enumerate(body) if not is_number(c))
        return _refused("bad-charset", text, offset + at, Standard.GS1)
    size = len(body)
    if carrier is Carrier.RETAIL_8:
        if size == 8:
            return read_number(body, text=text, offset=offset)
    elif size in (12, 13):
        return read_number(body, text=text, offset=offset)
    elif size in (15, 18):  # EAN-13 with an add-on of two or five digits
        return read_number(body[:13], text=text, offset=offset, add_on=body[13:])
    elif size == 8 and (whole := upc_e_expanded(body)):
        return read_number(whole, text=text, offset=offset)
    return _refused("bad-length", text, offset, Standard.GS1)


def _unknown(body: str, text: str, offset: int, today: date, context: Context) -> Reading:
    """Read behind an identifier that does not exist: as if none had been sent, and suspect."""
    found = _without_identifier(body, text, offset, today, context)
    fault = Fault(code="unknown-identifier")
    return replace(
        found, status=Status.SUSPECT, reason_codes=(fault.code,), faults=(fault, *found.faults)
    )


def _typed(text: str, symbology_identifier: str | None, today: date, context: Context) -> Reading:
    """Read characters that a scanner typed (rule R-W1)."""
    sent = replace(context, channel=None)
    host, scanner = context.host_layout, context.scanner_layout
    if len(text) > MOST_IN_OWN_TAG + 5 or host == scanner:
        return _sent(text, symbology_identifier, today, sent)
    if host not in wedge.LAYOUTS or scanner not in wedge.LAYOUTS:
        return _unproven(text, symbology_identifier, today, sent)
    typed = text.rstrip("\r\n\t")
    originals = wedge.what_was_sent(typed, scanner_layout=scanner, host_layout=host)
    if not originals:
        found = _sent(text, symbology_identifier, today, sent)
        if found.reason_codes in (("empty",), ("too-long",)):
            return found
        return _marked(found, "layout-unproven" if originals is None else "bad-charset")
    readings = [
        replace(_sent(original, symbology_identifier, today, sent), text=text, recovered=original)
        for original in originals
    ]
    fine = [reading for reading in readings if reading.status is Status.OK]
    if len(readings) == 1 or len(fine) == 1:
        return (fine or readings)[0]
    first, second = (fine or readings)[:2]
    return replace(_marked(first, "layout-unproven"), alternative=second.elements)


def _unproven(
    text: str, symbology_identifier: str | None, today: date, context: Context
) -> Reading:
    """Read what came through a keyboard that has not been proven: never better than suspect."""
    found = _sent(text, symbology_identifier, today, context)
    if found.reason_codes in (("empty",), ("too-long",)) and found.standard is Standard.NONE:
        return found
    typed = text.rstrip("\r\n\t")
    if not wedge.is_strange(typed) and "bad-charset" not in found.reason_codes:
        return _marked(found, "layout-unproven")
    layouts, explained = [], {}
    for host_layout, originals in wedge.likely_layouts(typed, context.scanner_layout):
        for original in originals:
            reading = _sent(original, symbology_identifier, today, context)
            if reading.status is Status.OK:
                layouts.append(host_layout)
                explained[reading.elements] = reading
    found = _marked(found, "bad-charset")
    return replace(
        found,
        host_layouts=tuple(dict.fromkeys(layouts)),
        alternative=next(iter(explained)) if len(explained) == 1 else found.alternative,
    )


def _marked(found: Reading, code: str) -> Reading:
    """Return `found` as suspect for `code`, with what else made it suspect."""
    others = found.faults if found.status is Status.SUSPECT else ()
    kept = found.reason_codes if found.status is Status.SUSPECT else ()
    return replace(
        found,
        status=Status.SUSPECT,
        reason_codes=tuple(dict.fromkeys((code, *kept))),
        faults=(Fault(code=code), *(others or found.faults)),
    )


def _refused(
    code: str, text: str, position: int = 0, standard: Standard = Standard.NONE
) -> Reading:
    return Reading(
        text=text,
        status=Status.REJECTED,
        standard=standard,
        reason_codes=(code,),
        faults=(Fault(code=code, position=position),),
    )
