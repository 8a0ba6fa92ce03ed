"""Readings in words: one plain sentence or two that a nurse can act on.

The only wording for what `identifiers` finds. Short, imperative, the thing in the hand first, and
what to do next; never an identifier's number or a code.
"""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Final

from traceability.identifiers.reading import Element, Reading, Standard, Status

__all__ = ["sentence_for"]

_AGAIN: Final = "Scan again. Still so? Photograph the print."

_REJECTED: Final[Mapping[str, str]] = {
    "bad-check-digit": f"Misread or misprinted: the check digit does not fit. {_AGAIN}",
    "missing-required": "Only half a label was read. Scan the other barcode on the pack.",
    "forbidden-pair": "Two labels that do not belong together. Scan the barcode of the part alone.",
    "bad-date": f"The date in this code is no date. {_AGAIN}",
    "bad-length": f"The code is too short, or a part of it was lost. {_AGAIN}",
    "too-long": f"Too long for one barcode: two may have run together. {_AGAIN}",
    "bad-charset": f"A character in this code cannot be right. {_AGAIN}",
    "unknown-identifier": "Not a label of a part. Scan the other barcode on the pack.",
    "repeated-conflict": f"The code says two different things. Set the pack aside. {_AGAIN}",
    "link-mismatch": "Two barcodes of different packs. Scan both barcodes of one pack.",
    "empty": "Nothing was read. Scan again.",
    "bad-line": "This line holds no scan.",
}

_SUSPECT: Final[Mapping[str, str]] = {
    "bad-check-digit": f"The check digit of this number does not fit. {_AGAIN}",
    "lost-separator": "Two fields may have run together. Compare with the print.",
    "separator-replaced": (
        "The scanner put another sign between two fields. Compare with the print."
    ),
    "layout-unproven": (
        "This scanner types and its keyboard is not proven. Compare every character with the print."
    ),
    "bad-charset": "Characters came out wrong. Compare with the print.",
    "bad-length": "The end of the code is missing. Compare with the print, or scan again.",
    "unknown-identifier": "The scanner sent an unknown sign. Turn Caps Lock off and scan again.",
}

_LANGUAGES: Final[Mapping[str, str]] = {
    "be": "Belgian",
    "de": "German",
    "es": "Spanish",
    "fr": "French",
    "it": "Italian",
    "se": "Swedish",
    "us": "US",
}

_NAMES: Final[Mapping[str, str]] = {
    "10": "lot",
    "11": "made",
    "13": "packed",
    "15": "best before",
    "16": "sell by",
    "17": "expires",
    "21": "serial",
    "30": "count",
    "lot": "lot",
    "serial": "serial",
    "exp": "expires",
    "1T": "lot",
    "S": "serial",
}

_DATES: Final = frozenset({"11", "13", "15", "16", "17"})
_SHORT_DATE: Final = 6


def sentence_for(reading: Reading) -> str:
    """Return what to tell the person who scanned, in one or two short sentences."""
    match reading.status:
        case Status.REJECTED:
            return _rejected(reading)
        case Status.SUSPECT:
            return _suspect(reading)
        case Status.UNSTRUCTURED:
            return _unstructured(reading)
    return _ok(reading)


def _rejected(reading: Reading) -> str:
    if reading.private:
        return "A person's label, not a part. Scan the part."
    code = reading.reason_codes[0] if reading.reason_codes else ""
    return _REJECTED.get(code, f"This code breaks its standard. {_AGAIN}")


def _suspect(reading: Reading) -> str:
    code = reading.reason_codes[0] if reading.reason_codes else ""
    if len(reading.host_layouts) == 1:
        language = _LANGUAGES.get(reading.host_layouts[0], reading.host_layouts[0])
        return (
            f"The scanner types on a {language} keyboard. Set it to US: page 2 of the scanner "
            "sheet. Compare with the print."
        )
    if code in ("lost-separator", "separator-replaced") and reading.alternative:
        return _two_ways(reading.elements, reading.alternative)
    return _SUSPECT.get(code, "This may not be what is printed. Compare with the print.")


def _two_ways(first: tuple[Element, ...], second: tuple[Element, ...]) -> str:
    """Name only what differs, so that the eye knows where on the print to look."""
    one = ", ".join(_named(element) for element in first if element not in second)
    two = ", ".join(_named(element) for element in second if element not in first)
    return f"Compare with the print: {one}? Or {two}?"


def _named(element: Element) -> str:
    identifier, value = element
    if identifier in _DATES and len(value) == _SHORT_DATE:
        year, month, day = value[:2], value[2:4], value[4:]
        value = f"{year}-{month}" if day == "00" else f"{year}-{month}-{day}"
    return f"{_NAMES.get(identifier, 'field ' + identifier)} {value}"


def _unstructured(reading: Reading) -> str:
    if "compressed-link" in reading.reason_codes:
        return "A packed web address: no lot can be read. Scan the other barcode on the pack."
    if "registration-key" in reading.cautions:
        return "A registration number, not a part. Scan the other barcode on the pack."
    if "looks-like-gs1" in reading.cautions:
        return "This barcode is made wrongly: no product is read. Scan the other one on the pack."
    return "Plain code, kept as read. Choose the product by hand once; then it is known."


def _ok(reading: Reading) -> str:
    if reading.private:
        return "A person's label, not a part. Scan the part."
    facts = [wording(value) for wording, value in _facts(reading) if value is not None]
    said = ". ".join(facts)
    if reading.device_identifier is None:
        return _without_product(reading, said)
    if "expiry-far" in reading.cautions:
        return f"{said}. That is far ahead: compare with the print."
    if reading.lot is None and reading.serial is None:
        said = f"{said}. " if said else ""
        return f"{said}Lot is not in this code. Scan the carton, or photograph the print: card 4."
    if "serial-like-lot" in reading.cautions:
        return f"{said}. Lot and serial are the same: compare with the print."
    return f"{said}."


def _facts(reading: Reading) -> list[tuple[Callable[[object], str], object]]:
    return [
        ("Lot {}".format, reading.lot),
        ("Serial {}".format, reading.serial),
        (_pieces, reading.quantity),
        ("Expires {}".format, _day(reading.expiry)),
    ]


def _pieces(quantity: object) -> str:
    return "1 piece" if quantity == 1 else f"{quantity} pieces"


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _without_product(reading: Reading, said: str) -> str:
    present = {identifier for identifier, _ in reading.elements}
    if reading.standard is Standard.GS1:
        if "00" in present:
            return "A shipping label, not a part. Scan the part."
        if said:
            return f"{said}. Scan the product barcode on the pack too."
        return "This code names no product. Scan the other barcode on the pack."
    if reading.standard is Standard.ISBT_128:
        return f"{said}. A code of blood or tissue." if said else "A code of blood or tissue."
    return (
        f"{said}. Scan the product barcode on the pack too."
        if said
        else ("This code names no product. Scan the other barcode on the pack.")
    )
