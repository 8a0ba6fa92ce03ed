"""GS1 data in other dress: bare numbers, bracketed text, Digital Link addresses.

Sources: GS1 General Specifications, sections 2.1 and 7.9 (numbers), 4.11 (bracketed text below a
symbol; section from memory); GS1 Digital Link Standard: URI Syntax, section 4 (from memory).
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

import re
from dataclasses import replace
from typing import Final
from urllib.parse import unquote

from .checks import gs1_check
from .gs1 import Placed, read_elements, rejected
from .gs1_table import TABLE
from .reading import Element, Fault, Reading, Source, Standard, Status

__all__ = [
    "is_bracketed",
    "is_number",
    "number_right",
    "read_bracketed",
    "read_link",
    "read_number",
    "upc_e_expanded",
]

_BRACKET: Final = re.compile(r"\((\d{2,4})\)", re.ASCII)
_LINK: Final = re.compile(
    r"https?://[^/?#\s]+(/[^?#\s]*)(?:\?([^#\s]*))?(?:#\S*)?\Z", re.I | re.ASCII
)
_PACKED: Final = re.compile(r"[0-9A-Za-z_-]{10,}={0,2}\Z", re.ASCII)


def is_number(text: str) -> bool:
    """Say whether `text` is ASCII digits and nothing else."""
    return text.isascii() and text.isdigit()


def number_right(digits: str) -> bool:
    """Say whether the last of `digits` is the right GS1 check digit of the others."""
    return len(digits) > 1 and gs1_check(digits[:-1]) == digits[-1]


def upc_e_expanded(digits: str) -> str | None:
    """Return the twelve digits of a UPC-E of eight; None if its check digit is wrong.

    Source: GS1 General Specifications, section 5.2 (zero-suppressed UPC-E), from memory.
    """
    if len(digits) != 8 or digits[0] not in "01":
        return None
    system, body, last, check = digits[0], digits[1:6], digits[6], digits[7]
    if last in "012":
        whole = system + body[:2] + last + "0000" + body[2:]
    elif last == "3":
        whole = system + body[:3] + "00000" + body[3:]
    elif last == "4":
        whole = system + body[:4] + "00000" + body[4]
    else:
        whole = system + body + "0000" + last
    return whole + check if gs1_check(whole) == check else None


def read_number(digits: str, source: Source, *, add_on: str = "", sure: bool = True) -> Reading:
    """Return the reading of a bare GTIN of 8, 12, 13 or 14 digits.

    Args:
        digits: the number with its check digit.
        source: what `digits` belong to.
        add_on: digits of an add-on symbol beside it.
        sure: True when the symbology says that this is a GTIN, so that a wrong check digit
            rejects; False for a number typed or sent without identifier.
    """
    elements: tuple[Element, ...] = (("01", digits.zfill(14)),)
    if add_on:
        elements = (*elements, ("add-on", add_on))
    if number_right(digits):
        return Reading(
            text=source.text,
            symbology_identifier=source.symbology_identifier,
            status=Status.OK,
            standard=Standard.GS1,
            device_identifier=digits.zfill(14),
            elements=elements,
        )
    fault = Fault(code="bad-check-digit", position=source.offset + len(digits) - 1, identifier="01")
    return Reading(
        text=source.text,
        symbology_identifier=source.symbology_identifier,
        status=Status.REJECTED if sure else Status.SUSPECT,
        standard=Standard.GS1,
        elements=elements,
        reason_codes=(fault.code,),
        faults=(fault,),
    )


def is_bracketed(text: str) -> bool:
    """Say whether `text` begins with an identifier in brackets, known or not."""
    return text[:1] == "(" and _BRACKET.match(text) is not None


def read_bracketed(body: str, source: Source) -> Reading:
    """Return the reading of the text below a symbol: identifiers in brackets, no separators.

    Blanks around brackets are typing, for no set of characters has a blank: with them the reading
    is suspect and `recovered` is the text without. An element of predefined length ends by its
    length, so only a lot or the like could hold brackets itself; such a text is read as two
    elements, as a person would.
    """
    tidy = re.sub(r"\s*(\(\d{2,4}\))\s*", r"\1", body.strip())
    if tidy != body:
        found = read_bracketed(tidy, source._replace(offset=0))
        if found.status is not Status.OK:
            return found
        return _tidied(found, tidy)
    marks = list(_BRACKET.finditer(body))
    pieces: list[Placed] = []
    for number, mark in enumerate(marks):
        end = marks[number + 1].start() if number + 1 < len(marks) else len(body)
        identifier, value = mark[1], body[mark.end() : end]
        entry = TABLE.get(identifier)
        if entry is None:
            return _rejected("unknown-identifier", mark.start(), source, pieces)
        pieces.append((identifier, value, mark.end()))
        code = entry.verify(value, source.today) if value.isascii() else "bad-charset"
        if code is not None:
            if entry.fixed and len(value) != entry.fixed:
                code = "bad-length"
            return _rejected(code, mark.end(), source, pieces)
    return read_elements(pieces, source)


def read_link(body: str, source: Source) -> Reading | None:
    """Return the reading of a GS1 Digital Link address; None for any other text or address.

    A compressed one is named as such and not unpacked: it is "unstructured" with the reason
    "compressed-link", for a person cannot compare it with anything printed.
    """
    match = _LINK.match(body)
    if match is None:
        return None
    steps = match[1].strip("/").split("/")
    for start in range(len(steps) - 2, -1, -1):
        entry = TABLE.get(steps[start])
        if entry is not None and entry.qualifiers is not None:
            rest = steps[start:]
            if len(rest) % 2:
                return _compressed(source) if _PACKED.match(rest[-1]) else None
            return _linked(rest, match[2] or "", source)
    if (
        len(steps) == 1
        and re.match(r"https?://id\.gs1\.org/", body, re.I)
        and _PACKED.match(steps[0])
    ):
        return _compressed(source)
    return None


def _linked(steps: list[str], query: str, source: Source) -> Reading:
    pairs = [(steps[i], unquote(steps[i + 1])) for i in range(0, len(steps), 2)]
    qualifiers = [name for name, _ in pairs[1:]]
    pieces: list[Placed] = []
    runs = TABLE[pairs[0][0]].qualifiers or ()
    if not any(_in_order(qualifiers, run) for run in runs):
        return _rejected("unknown-identifier", 0, source, pieces)
    for term in re.split("[&;]", query):
        name, equals, value = term.partition("=")
        if equals and name.isascii() and name.isdigit():
            entry = TABLE.get(name)
            if entry is None or not entry.link_attribute:
                return _rejected("unknown-identifier", 0, source, pieces)
            pairs.append((name, unquote(value)))
    for name, value in pairs:
        pieces.append((name, value, 0))
        code = TABLE[name].verify(value, source.today) if value.isascii() else "bad-charset"
        if code is not None:
            return _rejected(code, 0, source, pieces)
    return read_elements(pieces, source)


def _in_order(names: list[str], run: tuple[str, ...]) -> bool:
    left = iter(run)
    return all(name in left for name in names)


def _compressed(source: Source) -> Reading:
    code = "compressed-link"
    return Reading(
        text=source.text,
        symbology_identifier=source.symbology_identifier,
        status=Status.UNSTRUCTURED,
        reason_codes=(code,),
        faults=(Fault(code=code),),
    )


def _tidied(found: Reading, tidy: str) -> Reading:
    fault = Fault(code="bad-charset")
    return replace(
        found,
        status=Status.SUSPECT,
        reason_codes=(fault.code,),
        faults=(fault,),
        recovered=tidy,
    )


def _rejected(code: str, position: int, source: Source, pieces: list[Placed]) -> Reading:
    return rejected((Fault(code=code, position=position),), pieces, source)
