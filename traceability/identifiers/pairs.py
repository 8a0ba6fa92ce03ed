"""Two symbols on one pack, read one after the other.

Whether they belong together is said by the caller (same step) or by the standard's link character;
nothing is joined on a guess. Sources: GS1 General Specifications, section 4.13 (partners may stand
in another symbol of the same item); ANSI/HIBC 2.6, section 2.2.2 (link character).
"""

from dataclasses import replace
from datetime import date

from .gs1 import read_elements
from .reading import Reading, Source, Standard, Status

__all__ = ["completed", "join"]

_HALF = ("missing-required",)


def completed(reading: Reading, previous: Reading, today: date) -> Reading:
    """Return `reading` with its demands for partners met by the symbol read before, if they are.

    It keeps to what its own symbol says: the product stays with `previous` until `join`.
    """
    if reading.standard is not Standard.GS1 or reading.reason_codes != _HALF:
        return reading
    if previous.standard is not Standard.GS1 or not _usable(previous):
        return reading
    whole = join(previous, reading, today)
    if whole is None or whole.status is not Status.OK:
        return reading
    return replace(reading, status=Status.OK, reason_codes=(), faults=())


def join(first: Reading, second: Reading, today: date) -> Reading | None:
    """Return the reading of two symbols of one pack together; None if they are no such pair.

    GS1: the elements of both are verified as one set, in the order read. HIBC: a primary and the
    secondary whose link character is the primary's check character. The joined `text` is both
    texts with a line feed between.
    """
    text = f"{first.text}\n{second.text}"
    if first.standard is Standard.GS1 and second.standard is Standard.GS1:
        if not (_usable(first) and _usable(second)):
            return None
        pieces = [(name, value, 0) for name, value in (*first.elements, *second.elements)]
        return read_elements(pieces, Source(text, today))
    if first.standard is Standard.HIBC and second.standard is Standard.HIBC:
        if second.device_identifier and not first.device_identifier:
            first, second = second, first
        return _joined_hibc(first, second, text)
    return None


def _joined_hibc(primary: Reading, secondary: Reading, text: str) -> Reading | None:
    link = dict(secondary.elements).get("link")
    printed = primary.recovered or primary.text
    fits = link is not None and printed.rstrip("\r\n\t*")[-1:] == link
    if not fits or primary.device_identifier is None or secondary.device_identifier is not None:
        return None
    if primary.status is not Status.OK or secondary.status is not Status.OK:
        return None
    return replace(
        secondary,
        text=text,
        device_identifier=primary.device_identifier,
        elements=(*primary.elements, *secondary.elements),
    )


def _usable(reading: Reading) -> bool:
    return reading.status is Status.OK or reading.reason_codes == _HALF
