"""GS1 element strings: split, verified, and read as product, lot, serial and dates.

Sources: GS1 General Specifications, sections 3.2 (element strings), 4.13 (relations between
identifiers), 7.8 (separators); GS1 Barcode Syntax Dictionary, release 2026-01-27 (the table).
"""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Final

from .gs1_checks import SET_82
from .gs1_dates import day_of, strict_day
from .gs1_separators import lost_separator, replaced_separators
from .gs1_table import IDENTIFIER_LENGTH, TABLE
from .reading import Element, Fault, Reading, Standard, Status

__all__ = ["GS", "partner_faults", "read_element_string", "read_elements"]

GS: Final = "\x1d"
"""The separator: FNC1 inside a symbol is sent as this character."""

_KEPT_WHEN_INCOMPLETE: Final = frozenset({"missing-required"})

Placed = tuple[str, str, int]
"""Identifier, value, and the 0-based place of the value in the body."""


def read_element_string(
    body: str, *, text: str, today: date, offset: int = 0, gs_capable: bool = True
) -> Reading:
    """Return the reading of raw element strings.

    Args:
        body: the characters behind the symbology identifier, without line end.
        text: all characters as they came; kept in the reading.
        today: decides the century of two-digit years.
        offset: where `body` begins in `text`, for the places of faults.
        gs_capable: False for a station known to lose separators (rule R-LS2).
    """
    pieces, fault, open_end = _split(body, today)
    if open_end and (fault is None or fault.code == "too-long"):
        identifier, value, at = pieces[-1]
        other = lost_separator(identifier, value, today=today, gs_capable=gs_capable)
        if other:
            place = offset + at + len(other[0][1])
            return _doubted("lost-separator", place, pieces, other, text, today, offset)
    if fault is None:
        if ("<" in body or "%" in body or "(" in body) and (second := _with_separators(body, today)):
            place = offset + pieces[-1][2]
            return _doubted("separator-replaced", place, pieces[:-1], second, text, today, offset)
        return read_elements(pieces, text=text, today=today, offset=offset)
    if fault.code in ("bad-charset", "too-long") and (second := _with_separators(body, today)):
        place = offset + fault.position
        return _doubted("separator-replaced", place, pieces[:-1], second, text, today, offset)
    return _rejected((fault,), pieces, text, offset)


def _split(body: str, today: date) -> tuple[list[Placed], Fault | None, bool]:
    """Return the verified elements, what stopped them, and whether the last ran to the end."""
    pieces: list[Placed] = []
    plain = body.isascii()
    at, end = 0, len(body)
    open_end = False
    while at < end:
        if body[at] == GS:  # more separators than needed do no harm
            at += 1
            continue
        identifier = body[at : at + IDENTIFIER_LENGTH.get(body[at : at + 2], 2)]
        entry = TABLE.get(identifier)
        if entry is None:
            return pieces, Fault(code="unknown-identifier", position=at), False
        at += len(identifier)
        if entry.fixed:
            stop = after = at + entry.fixed
        else:
            stop = body.find(GS, at)
            open_end = stop < 0
            if open_end:
                stop = end
            after = stop + 1
        value = body[at:stop]
        pieces.append((identifier, value, at))
        code = entry.verify(value if plain else _ascii(value), today)
        if code is not None:
            if entry.fixed and GS in value:
                code = "bad-length"
            place = _place(code, at, value, all_digits=entry.parts[0].characters == "digits")
            return pieces, Fault(code=code, position=place, identifier=identifier), open_end
        at = after
    return pieces, None, open_end and pieces[-1][2] + len(pieces[-1][1]) == end


def _with_separators(body: str, today: date) -> list[Element] | None:
    """Return the elements if something in `body` can only stand for the separator."""
    for mended in replaced_separators(body):
        pieces, fault, _ = _split(mended, today)
        if fault is None and len(pieces) > 1:
            return _pairs(pieces)
    return None


def read_elements(
    pieces: Sequence[Placed], *, text: str, today: date, offset: int = 0
) -> Reading:
    """Return the reading of elements that were each verified: partners, then meaning."""
    present: dict[str, str] = {}
    for identifier, value, at in pieces:
        known = present.setdefault(identifier, value)
        if known != value:
            clash = Fault(code="repeated-conflict", position=offset + at, identifier=identifier)
            return _rejected((clash,), pieces, text, 0)
    faults = partner_faults(present)
    if faults:
        places = {identifier: at for identifier, _, at in reversed(pieces)}
        faults = tuple(
            Fault(
                code=fault.code,
                position=offset + places[fault.identifier or ""],
                identifier=fault.identifier,
            )
            for fault in faults
        )
        if faults[0].code in _KEPT_WHEN_INCOMPLETE:
            return _meaning(present, text, today, Status.REJECTED, faults)
        return _rejected(faults, pieces, text, 0)
    return _meaning(present, text, today, Status.OK, ())


def partner_faults(present: dict[str, str]) -> tuple[Fault, ...]:
    """Return what the identifiers `present` on one item forbid or miss; forbidden pairs first.

    The rule speaks of everything marked on one item, so a caller that has read a second symbol
    tests the two together. Positions are 0: only the caller knows places.

    Source: GS1 General Specifications, section 4.13; the pairs from the dictionary.
    """
    forbidden, missing = [], []
    for identifier in present:
        entry = TABLE[identifier]
        if entry.never_with and not entry.never_with.isdisjoint(present):
            forbidden.append(Fault(code="forbidden-pair", identifier=identifier))
        for single, groups in entry.needs:
            if single.isdisjoint(present) and not any(
                group.issubset(present) for group in groups
            ):
                missing.append(Fault(code="missing-required", identifier=identifier))
                break
    return (*forbidden, *missing) if forbidden or missing else ()


def _meaning(
    present: dict[str, str],
    text: str,
    today: date,
    status: Status,
    faults: tuple[Fault, ...],
    alternative: tuple[Element, ...] | None = None,
) -> Reading:
    expiry = made = quantity = clock = None
    day_given = True
    get = present.get
    if written := get("17"):
        expiry = day_of(written, today)
        day_given = written[4:] != "00"
    elif written := get("7003"):
        expiry, clock = strict_day(written, today), written[6:]
    if written := get("11"):
        made = day_of(written, today)
    elif written := get("8008"):
        made = strict_day(written, today)
    if written := get("30") or get("37"):
        quantity = int(written)
    product = get("01")
    if product is None and "8006" in present:
        product = present["8006"][:14]
    return Reading(
        text=text,
        status=status,
        standard=Standard.GS1,
        device_identifier=product,
        lot=get("10"),
        serial=get("21"),
        quantity=quantity,
        expiry=expiry,
        expiry_day_given=day_given,
        expiry_time=clock,
        made=made,
        elements=tuple(present.items()),
        reason_codes=(faults[0].code,) if faults else (),
        faults=faults,
        cautions=_cautions(present, expiry, today),
        alternative=alternative,
        private="8018" in present,
    )


def _cautions(present: dict[str, str], expiry: date | None, today: date) -> tuple[str, ...]:
    found = []
    if expiry is not None and expiry.year - today.year > _FAR_YEARS:
        found.append("expiry-far")
    if "21" in present and present["21"] == present.get("10"):
        found.append("serial-like-lot")
    return tuple(found)


_FAR_YEARS: Final = 20
"""An expiry further ahead is worth a look at the print. Own choice, no source."""


def _doubted(
    code: str,
    place: int,
    pieces: Sequence[Placed],
    other: Iterable[Element],
    text: str,
    today: date,
    offset: int,
) -> Reading:
    """Return the reading as it came, with the other one beside it."""
    as_read = read_elements(pieces, text=text, today=today, offset=offset)
    if as_read.status is Status.REJECTED and as_read.reason_codes != ("missing-required",):
        return as_read
    whole = (*_pairs(pieces[:-1]), *other) if code == "lost-separator" else tuple(other)
    fault = Fault(code=code, position=place, identifier=pieces[-1][0] if pieces else None)
    present = dict(_pairs(pieces))
    return _meaning(present, text, today, Status.SUSPECT, (fault,), whole)


def _rejected(
    faults: tuple[Fault, ...], pieces: Sequence[Placed], text: str, offset: int
) -> Reading:
    if offset:
        faults = tuple(
            Fault(code=f.code, position=f.position + offset, identifier=f.identifier)
            for f in faults
        )
    return Reading(
        text=text,
        status=Status.REJECTED,
        standard=Standard.GS1,
        elements=tuple(_pairs(pieces)),
        reason_codes=(faults[0].code,),
        faults=faults,
    )


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
