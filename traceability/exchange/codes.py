"""A product's code or a scan as a notice prints it -> the product, its lot and its serial."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final

from traceability.domain.notice_scope import ProductRef, Said, ScopeTest
from traceability.domain.scope_draft import Doubt, Doubtful, Entry, Meaning, NotRead
from traceability.exchange.texts import is_checked
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Element, Reading, Standard, Status

__all__ = ["CodeRead", "product_code", "scan_entry", "scan_lines"]

GTIN: Final = 14
GTIN_SIZES: Final = (8, 12, 13, 14)
PRODUCT_STANDARDS: Final = frozenset({Standard.GS1, Standard.HIBC, Standard.ISBT_128, Standard.IFA})


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeRead:
    """What a product's code may be: as read first; empty: no product's code."""

    products: tuple[ProductRef, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    private: bool = False


def product_code(text: str, *, today: date) -> CodeRead:
    """Return what a text in a column of product codes says. Leading zeros of a GTIN mean nothing.

    Source of sizes: GS1 General Specifications, section 3.3.2 (from memory); a GTIN of 8, 12 or 13
    digits is the same number with zeros in front.
    """
    bare = re.sub(r"[\s\u00a0-]", "", text)
    if bare.isascii() and bare.isdigit():
        return _digits(bare)
    reading = interpret(text.strip(), today=today)
    if reading.private:
        return CodeRead(private=True)
    if not reading.device_identifier or reading.standard not in PRODUCT_STANDARDS:
        return CodeRead()
    ref = ProductRef(standard=str(reading.standard), identifier=reading.device_identifier)
    suspect = reading.status is not Status.OK
    return CodeRead(
        products=(ref,),
        doubts=(Doubt(Doubtful.SCAN, ", ".join(reading.reason_codes)),) if suspect else (),
    )


def _digits(digits: str) -> CodeRead:
    if not min(GTIN_SIZES) <= len(digits) <= GTIN:
        return CodeRead()
    ref = ProductRef(standard=str(Standard.GS1), identifier=digits.zfill(GTIN))
    if not is_checked(digits):
        return CodeRead(products=(ref,), doubts=(Doubt(Doubtful.CHECK_DIGIT),))
    short = len(digits) not in GTIN_SIZES
    return CodeRead(products=(ref,), doubts=(Doubt(Doubtful.CODE_SHORT),) if short else ())


def scan_lines(text: str, *, today: date, start: int = 1) -> Iterator[Entry]:
    """Yield an entry for each scan, one a line."""
    for number, line in enumerate(re.split(r"[\r\n]+", text), start=start):
        sent = line.strip(" \t")
        if sent:
            yield scan_entry(sent, place=f"scan {number}", today=today)


def scan_entry(text: str, *, place: str, today: date) -> Entry:
    """Return what one symbol printed in the notice says."""
    reading = interpret(text, today=today)
    if reading.private:
        return Entry(place=place, given="", why=NotRead.PRIVATE)
    named = reading.standard in PRODUCT_STANDARDS and reading.status is not Status.REJECTED
    inside = dict(reading.elements).get("02") if reading.status is Status.OK else None
    identifier = reading.device_identifier or inside
    if not named or not identifier:
        half = reading.reason_codes == ("missing-required",) and not reading.device_identifier
        if half and (reading.lot or reading.serial):
            return _entry(text, place, reading, None)
        why = NotRead.BAD_IDENTIFIER if reading.reason_codes else NotRead.NOTHING_NAMED
        return Entry(place=place, given=text, why=why, detail=", ".join(reading.reason_codes))
    return _entry(
        text, place, reading, ProductRef(standard=str(reading.standard), identifier=identifier)
    )


def _entry(text: str, place: str, reading: Reading, ref: ProductRef | None) -> Entry:
    meanings = [Meaning(test=_test(reading.lot, reading.serial), product=ref)]
    doubts: list[Doubt] = []
    if reading.status is Status.SUSPECT:
        doubts.append(Doubt(Doubtful.SCAN, ", ".join(reading.reason_codes)))
        if reading.alternative:
            meanings.append(Meaning(test=_of_elements(reading.alternative), product=ref))
    if meanings[0].test is None:
        doubts.append(Doubt(Doubtful.EVERY))
    said = (
        f"lot {reading.lot}" if reading.lot and reading.serial else "",
        f"expires {reading.expiry}" if reading.expiry else "",
    )
    return Entry(
        place=place,
        given=text,
        meanings=tuple(dict.fromkeys(meanings)),
        doubts=tuple(doubts),
        beside=", ".join(each for each in said if each),
    )


def _of_elements(elements: tuple[Element, ...]) -> ScopeTest | None:
    known = dict(elements)
    return _test(known.get("10"), known.get("21"))


def _test(lot: str | None, serial: str | None) -> ScopeTest | None:
    """Return what is said of units; a serial is one unit, so its lot adds nothing to it."""
    if serial:
        return ScopeTest(kind=Said.SERIALS, texts=(serial,))
    return ScopeTest(kind=Said.LOTS, texts=(lot,)) if lot else None
