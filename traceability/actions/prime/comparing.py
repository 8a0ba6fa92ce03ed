"""A doubtful reading beside the other one that it may be, for a person to compare."""

from datetime import date
from typing import Final

from traceability.domain.events import Plain
from traceability.identifiers.gs1 import read_elements
from traceability.identifiers.gs1_table import TABLE
from traceability.identifiers.reading import Reading, Source, Status

HALF: Final = ("missing-required",)


def other_reading(reading: Reading, today: date) -> Reading | None:
    """Return the other possible reading, the lost separator put back; None: none that holds."""
    elements = reading.alternative or ()
    if not elements or not all(name in TABLE for name, _ in elements):
        return None
    pieces = [(name, value, 0) for name, value in elements]
    other = read_elements(pieces, Source(reading.text, today))
    return other if other.status is Status.OK or other.reason_codes == HALF else None


def compare_facts(reading: Reading, other: Reading | None) -> dict[str, Plain]:
    """Return what a person compares with the print."""
    return {
        "reason": next(iter((*reading.reason_codes, *reading.cautions)), ""),
        "expiry": reading.expiry.isoformat() if reading.expiry else None,
        "lot": reading.lot,
        "serial": reading.serial,
        "other_lot": other.lot if other else None,
        "other_serial": other.serial if other else None,
        "has_other": other is not None,
        "recovered": reading.recovered,
    }
