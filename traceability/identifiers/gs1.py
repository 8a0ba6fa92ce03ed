"""GS1 element strings: split, verified, and read as product, lot, serial and dates.

Sources: GS1 General Specifications, sections 3.2 (element strings), 4.13 (relations between
identifiers), 7.8 (separators); GS1 Barcode Syntax Dictionary, release 2026-01-27 (the table).
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from .gs1_checks import SET_82
from .gs1_dates import day_of, strict_day
from .gs1_separators import SWALLOWING, lost_separator, replaced_separators
from .gs1_table import IDENTIFIER_LENGTH, TABLE, TWO_DIGITS
from .reading import Element, Fault, Reading, Source, Standard, Status

__all__ = ["GS", "Placed", "partner_faults", "read_element_string", "read_elements", "rejected"]

GS: Final = "\x1d"
"""The separator: FNC1 inside a symbol is sent as this character."""

Placed = tuple[str, str, int]
"""Identifier, value, and the 0-based place of the value in the body."""


def read_element_string(body: str, source: Source, *, gs_capable: bool = True) -> Reading:
    """Return the reading of raw element strings.

    Args:
        body: the characters behind the symbology identifier, without line end.
        source: what `body` belongs to.
        gs_capable: False for a station known to lose separators (rule R-LS2).
    """
    pieces, fault, open_end = _split(body, source.today)
    if fault is None and not pieces:
        return rejected((Fault(code="empty"),), pieces, source)
    strange = fault is not None and fault.code in ("bad-charset", "too-long")
    if strange or "<" in body or "%" in body or "(" in body:
        second = _with_separators(body, source.today)
        if second:
            place = fault.position if fault else pieces[-1][2]
            return _doubted("separator-replaced", place, pieces, second, source)
    if open_end and (fault is None or fault.code == "too-long"):
        identifier, value, at = pieces[-1]
        if identifier in SWALLOWING:
            tail = lost_separator(identifier, value, today=source.today, gs_capable=gs_capable)
            if tail:
                place = at + len(tail[0][1])
                other = (*_pairs(pieces[:-1]), *tail)
                return _doubted("lost-separator", place, pieces, other, source)
    if fault is None:
        return read_elements(pieces, source)
    return rejected((fault,), pieces, source)


def _split(body: str, today: date) -> tuple[list[Placed], Fault | None, bool]:
    """Return the verified elements, what stopped them, and whether the last ran to the end."""
    pieces: list[Placed] = []
    plain = body.isascii()
    at, end = 0, len(body)
    open_end = False
    while at < end:
        identifier = body[at : at + 2]
        start = at + 2
        entry = TWO_DIGITS.get(identifier)
        if entry is None:
            if identifier[0] == GS:  # more separators than needed do no harm
                at += 1
                continue
            start = at + IDENTIFIER_LENGTH.get(identifier, 2)
            identifier = body[at:start]
            entry = TABLE.get(identifier)
            if entry is None:
                return pieces, Fault(code="unknown-identifier", position=at), False
        fixed = entry.fixed
        if fixed:
            stop = at = start + fixed
        else:
            stop = body.find(GS, start)
            open_end = stop < 0
            if open_end:
                stop = end
            at = stop + 1
        value = body[start:stop]
        pieces.append((identifier, value, start))
        code = entry.verify(value if plain else _ascii(value), today)
        if code is not None:
            if fixed and GS in value:
                code = "bad-length"
            place = _place(code, start, value, all_digits=entry.parts[0].characters == "digits")
            return pieces, Fault(code=code, position=place, identifier=identifier), open_end
    return pieces, None, open_end


def _with_separators(body: str, today: date) -> list[Element] | None:
    """Return the elements if something in `body` can only stand for the separator."""
    for mended in replaced_separators(body):
        pieces, fault, _ = _split(mended, today)
        if fault is None and len(pieces) > 1:
            return _pairs(pieces)
    return None


def read_elements(pieces: Sequence[Placed], source: Source) -> Reading:
    """Return the reading of elements that were each verified: partners, then meaning."""
    present = {identifier: value for identifier, value, _ in pieces}
    if len(present) < len(pieces):
        for identifier, value, at in reversed(pieces):
            if present[identifier] != value:
                clash = Fault(code="repeated-conflict", position=at, identifier=identifier)
                return rejected((clash,), pieces, source)
    faults = partner_faults(present)
    if not faults:
        return _meaning(present, source, Status.OK, ())
    places = {identifier: at for identifier, _, at in reversed(pieces)}
    faults = tuple(replace(fault, position=places[fault.identifier or ""]) for fault in faults)
    if faults[0].code == "missing-required":
        return _meaning(present, source, Status.REJECTED, faults)
    return rejected(faults, pieces, source)


def partner_faults(present: dict[str, str]) -> tuple[Fault, ...]:
    """Return what the identifiers `present` on one item forbid or miss; forbidden pairs first.

    The rule speaks of everything marked on one item, so a caller that has read a second symbol
    tests the two together. Positions are 0: only the caller knows places.

    Source: GS1 General Specifications, section 4.13; the pairs from the dictionary.
    """
    forbidden, missing = [], []
    for identifier in present:
        entry = TABLE.get(identifier)
        if entry is None:  # the digits of an add-on symbol
            continue
        if entry.never_with and not entry.never_with.isdisjoint(present):
            forbidden.append(Fault(code="forbidden-pair", identifier=identifier))
        for single, groups in entry.needs:
            if single.isdisjoint(present) and not any(group <= present.keys() for group in groups):
                missing.append(Fault(code="missing-required", identifier=identifier))
                break
    return (*forbidden, *missing) if forbidden or missing else ()


def _meaning(
    present: dict[str, str],
    source: Source,
    status: Status,
    faults: tuple[Fault, ...],
    alternative: tuple[Element, ...] | None = None,
) -> Reading:
    text, today, offset, symbology_identifier = source
    expiry = made = quantity = clock = None
    day_given = True
    if "17" in present:
        expiry = day_of(present["17"], today)
        day_given = present["17"][4:] != "00"
    elif "7003" in present:
        expiry, clock = strict_day(present["7003"], today), present["7003"][6:]
    if "11" in present:
        made = day_of(present["11"], today)
    elif "8008" in present:
        made = strict_day(present["8008"], today)
    counted = present.get("30") or present.get("37")
    if counted:
        quantity = int(counted)
    product = present.get("01")
    if product is None and "8006" in present:
        product = present["8006"][:14]
    lot, serial = present.get("10"), present.get("21")
    cautions: tuple[str, ...] = ()
    if expiry is not None and expiry.year - today.year > _FAR_YEARS:
        cautions = ("expiry-far",)
    if serial is not None and serial == lot:
        cautions = (*cautions, "serial-like-lot")
    return Reading(
        text=text,
        status=status,
        standard=Standard.GS1,
        device_identifier=product,
        lot=lot,
        serial=serial,
        quantity=quantity,
        expiry=expiry,
        expiry_day_given=day_given,
        expiry_time=clock,
        made=made,
        elements=tuple(present.items()),
        reason_codes=(faults[0].code,) if faults else (),
        faults=_shifted(faults, offset) if faults else (),
        cautions=cautions,
        alternative=alternative,
        symbology_identifier=symbology_identifier,
        private=_of_a_person((*present.items(), *(alternative or ()))),
    )


_FAR_YEARS: Final = 20
"""An expiry further ahead is worth a look at the print. Own choice, no source."""

_OF_PERSONS: Final = frozenset({"8018", *(name for name in TABLE if "7250" <= name <= "7259")})
"""A patient's number, and what stands beside it: birth, sex, names, address."""


_SWALLOWED: Final = re.compile(r"8018\d{8}")
"""A patient's number that a lost separator made the end of another field. Half a number is enough:
a text that is refused is worth less than the person it may name."""


def _of_a_person(elements: Iterable[Element]) -> bool:
    """Say whether a person is named; a patient's number with a slip in it is one still."""
    return any(identifier in _OF_PERSONS for identifier, _ in elements)


def _doubted(
    code: str,
    place: int,
    pieces: Sequence[Placed],
    other: Iterable[Element],
    source: Source,
) -> Reading:
    """Return the reading as it came, with the other one beside it."""
    as_read = read_elements(pieces, source)
    if as_read.status is Status.REJECTED and as_read.reason_codes != ("missing-required",):
        return as_read
    fault = Fault(code=code, position=place, identifier=pieces[-1][0])
    return _meaning(dict(_pairs(pieces)), source, Status.SUSPECT, (fault,), tuple(other))


def rejected(faults: tuple[Fault, ...], pieces: Sequence[Placed], source: Source) -> Reading:
    """Return what is wrong, with the elements that were met before it; the faulty one as well."""
    return Reading(
        text=source.text,
        status=Status.REJECTED,
        standard=Standard.GS1,
        elements=tuple(_pairs(pieces)),
        reason_codes=(faults[0].code,),
        faults=_shifted(faults, source.offset),
        symbology_identifier=source.symbology_identifier,
        private=_of_a_person(_pairs(pieces)) or bool(_SWALLOWED.search(source.text)),
    )


def _shifted(faults: tuple[Fault, ...], offset: int) -> tuple[Fault, ...]:
    return tuple(replace(fault, position=fault.position + offset) for fault in faults)


def _pairs(pieces: Iterable[Placed]) -> list[Element]:
    return [(identifier, value) for identifier, value, _ in pieces]


def _ascii(value: str) -> str:
    """Return `value` with everything outside ASCII as a control character that no set allows.

    Python counts the digits of all scripts as digits; the standard counts ten.
    """
    return value.encode("ascii", "replace").decode().replace("?", "\x7f")


def _place(code: str, at: int, value: str, *, all_digits: bool) -> int:
    if code != "bad-charset":
        return at
    fine = "0123456789" if all_digits else SET_82
    return at + next((i for i, character in enumerate(value) if character not in fine), 0)
