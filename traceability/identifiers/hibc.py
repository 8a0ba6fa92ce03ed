"""HIBC supplier labels: primary, secondary, and both in one symbol.

Source: ANSI/HIBC 2.6 (2016), sections 2.2 (primary) and 2.3 (secondary), appendix B (check and
link characters).
"""

from typing import Final

from .checks import HIBC_ALPHABET, hibc_check
from .faulty import Faulty, require_characters
from .hibc_secondary import DIGITS, Found, read_secondary
from .reading import Fault, Reading, Source, Standard, Status

__all__ = ["is_primary", "read_hibc"]

_ALPHABET: Final = frozenset(HIBC_ALPHABET)
_ALPHANUMERIC: Final = frozenset(HIBC_ALPHABET[:36])
_LETTERS: Final = _ALPHANUMERIC - DIGITS
_SHORTEST: Final = 3
"""Plus sign, one character, check character."""
_LABELLER_LENGTH: Final = 4
_PRODUCT_MOST: Final = 18


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
    found = Found()
    private = body.startswith("+/")
    try:
        _read(body, found, primary)
    except Faulty as wrong:
        fault = Fault(code=wrong.code, position=source.offset + wrong.at)
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
    return Reading(
        text=source.text,
        symbology_identifier=source.symbology_identifier,
        status=Status.OK,
        standard=Standard.HIBC,
        device_identifier=found.product,
        lot=found.lot,
        serial=found.serial,
        quantity=found.quantity,
        expiry=found.expiry,
        expiry_day_given=found.day_given,
        expiry_time=found.hour,
        made=found.made,
        elements=tuple(found.elements),
    )


def _read(body: str, found: Found, primary: str | None) -> None:
    """Read a whole symbol: check character first, before any field (R-H1)."""
    require_characters(body, _ALPHABET, 0)
    if len(body) < _SHORTEST:
        raise Faulty("bad-length", 0)
    if hibc_check(body[:-1]) != body[-1]:
        raise Faulty("bad-check-digit", len(body) - 1)
    data = body[:-1]
    if data[1] in _LETTERS:
        head, slash, rest = data.partition("/")
        _primary(head, found)
        if slash:
            read_secondary(rest, len(head) + 1, found)
    elif data[1] in "$0123456789":
        _secondary_alone(data, found, primary)
    else:  # with "/" a provider's label: patients, places, records (R-H2)
        raise Faulty("unknown-identifier", 1)


def _secondary_alone(data: str, found: Found, primary: str | None) -> None:
    link = data[-1]
    read_secondary(data[1:-1], 1, found)
    found.elements.append(("link", link))
    if primary is not None and primary[-1] != link:
        raise Faulty("link-mismatch", len(data) - 1)


def _primary(head: str, found: Found) -> None:
    labeller, product, unit = head[1:5], head[5:-1], head[-1]
    if len(head) < _LABELLER_LENGTH + 3:
        raise Faulty("bad-length", 0)
    if len(product) > _PRODUCT_MOST:
        raise Faulty("too-long", 5 + _PRODUCT_MOST)
    require_characters(head[1:], _ALPHANUMERIC, 1)
    if unit not in DIGITS:
        raise Faulty("bad-charset", len(head) - 1)
    found.elements += [("lic", labeller), ("pcn", product), ("um", unit)]
    found.product = head[1:]
