"""What one symbol said: the answer of `interpret`, as plain values.

A reading holds codes and facts and no sentence; whoever shows it words it. It never says that a
part may be used: only what the characters mean and how sure that is.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import NamedTuple

__all__ = ["Context", "Element", "Fault", "Reading", "Source", "Standard", "Status"]


Element = tuple[str, str]
"""An identifier and its value: `("10", "AB1234")`."""


class Status(StrEnum):
    """How far a reading may be believed."""

    OK = "ok"
    SUSPECT = "suspect"
    """Readable, but something says it may not be what was printed: a person compares."""
    REJECTED = "rejected"
    """Breaks its standard."""
    UNSTRUCTURED = "unstructured"
    """A plain code without a standard's structure; kept as read."""


class Standard(StrEnum):
    """Whose rules the characters follow."""

    GS1 = "gs1"
    HIBC = "hibc"
    ISBT_128 = "isbt128"
    IFA = "ifa"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What the caller knows about the station and the moment.

    Attributes:
        previous: the text read just before, given only when both symbols are on one pack.
        gs_capable: False for a station known to drop the separator.
        channel: "keyboard" when the characters were typed by a scanner and arrived as text.
        scanner_layout: layout the scanner types for; "us" unless it was set otherwise.
        host_layout: layout of the computer that took the typing; None while unproven.
    """

    previous: str | None = None
    gs_capable: bool = True
    channel: str | None = None
    scanner_layout: str = "us"
    host_layout: str | None = None


class Source(NamedTuple):
    """What a reader is given beside the data. A tuple, for one is made for every scan.

    Attributes:
        text: all characters as they came.
        today: decides the century of two-digit years.
        offset: where the data begin in `text`.
        symbology_identifier: the one that was used, if any.
    """

    text: str
    today: date
    offset: int = 0
    symbology_identifier: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing found wrong, with its place.

    Attributes:
        code: the reason code.
        position: 0-based index into `Reading.recovered` where there is one, else into
            `Reading.text`; the screen can point at it.
        identifier: the element it belongs to, when one could be named.
    """

    code: str
    position: int = 0
    identifier: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What the characters of one symbol are, mean, and how sure that is.

    Attributes:
        text: the characters exactly as they came, symbology identifier included.
        device_identifier: GTIN as 14 digits; HIBC labeller, product and unit; PPN; ISBT 128
            processor product code. None where the symbol names no product.
        lot: character for character as printed; never trimmed, never upper-cased.
        serial: as `lot`.
        quantity: whole number of pieces.
        expiry: last day of use; with only a month given, the last day of that month.
        expiry_day_given: False when the symbol gave the month alone.
        expiry_time: "HHMM" or "HH" where the symbol carries one; None otherwise.
        made: day of manufacture.
        elements: identifiers and values in the order read.
        reason_codes: what decided the status; empty when ok.
        faults: everything found, with places; a superset of `reason_codes`.
        cautions: worth a look although nothing is against the standard.
        recovered: the text as the scanner sent it, where a mangled one was repaired.
        alternative: the other possible reading's elements, offered and never taken by itself.
        symbology_identifier: the one that was used, sent apart or in front; None if none came.
        host_layouts: keyboard layouts that would explain a strange text.
        private: the text may name a patient or a donor: keep it out of logs.

    On a rejected reading the product fields are None, so that nobody stores them by mistake;
    only "missing-required" keeps them, for such a symbol waits for its other half.
    """

    text: str
    status: Status
    standard: Standard = Standard.NONE
    device_identifier: str | None = None
    lot: str | None = None
    serial: str | None = None
    quantity: int | None = None
    expiry: date | None = None
    expiry_day_given: bool = True
    expiry_time: str | None = None
    made: date | None = None
    elements: tuple[Element, ...] = ()
    reason_codes: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    cautions: tuple[str, ...] = ()
    recovered: str | None = None
    alternative: tuple[Element, ...] | None = None
    symbology_identifier: str | None = None
    host_layouts: tuple[str, ...] = ()
    private: bool = False
