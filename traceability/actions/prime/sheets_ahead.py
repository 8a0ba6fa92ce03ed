"""Down-time sheets: circuit numbers given out on paper before the network is gone."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar, Final

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.storage.lookup import next_number

MOST_SHEETS: Final = 20
"""At once; more would lie about until nobody knows of them. Own choice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintSheets(Asked):
    """So many sheets and tags with the next numbers."""

    kind: ClassVar[str] = "print-sheets"
    right: ClassVar[Right | None] = Right.PRIME
    count: int
    at: datetime


def print_sheets(asked: PrintSheets, *, site: Site) -> Done:
    """Give the numbers out; no circuit but the one on the paper gets them.

    The answer's facts carry the numbers.

    Raises:
        BadValue: none, or more than `MOST_SHEETS`. Nothing was written.
    """
    return answer_once(asked, _print, site)


def _print(asked: PrintSheets, session: Session, site: Site) -> Done:
    if not 1 <= asked.count <= MOST_SHEETS:
        raise BadValue(field="sheets", value=str(asked.count), why="out-of-range")
    ledger = ledger_of(asked, session, site)
    letter, _, digits = next_number(session, site.id, "C").partition("-")
    numbers = [f"{letter}-{int(digits) + each:04d}" for each in range(asked.count)]
    body = {"numbers": numbers, "device_at": asked.at}
    recorded_no = ledger.append(Kind.DOWN_TIME_SHEETS_PRINTED, body, happened_at=ledger.now)
    return Done(
        first_no=recorded_no,
        last_no=recorded_no,
        code="down-time-sheets-printed",
        facts={"numbers": numbers},
    )
