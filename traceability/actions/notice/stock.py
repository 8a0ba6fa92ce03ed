"""Hold everything of a notice's scope that is in stock, in one act."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.notice.standing import the_open_notice
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.events import Kind
from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import KnownRow, Subject, key_of
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, NoScope, StaleForm
from traceability.storage.lookup import hold_on
from traceability.storage.notice_lookup import known_rows, newest_answer


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldStock(Asked):
    """Every lot of the newest answer that is in stock is not to be used until released."""

    kind: ClassVar[str] = "hold-notice-stock"
    right: ClassVar[Right | None] = Right.HOLD_STOCK
    notice_id: UUID
    asked_no: int
    """The asking whose stock was on the screen."""
    at: datetime


def hold_stock(asked: HoldStock, *, site: Site) -> Done:
    """Put the lots on hold that are not yet; pieces without a lot put their product on hold.

    Raises:
        NoScope: nothing was asked yet. StaleForm: a newer answer is there. BadValue: all of it
        is on hold, or nothing is in stock. UnknownCode, NoticeClosed. Nothing was written.
    """
    return answer_once(asked, _hold, site)


def _hold(asked: HoldStock, session: Session, site: Site) -> Done:
    notice = the_open_notice(session, site, asked.notice_id)
    ledger = ledger_of(asked, session, site)
    last = newest_answer(session, notice)
    if last is None:
        raise NoScope(number=notice.number)
    if last.recorded_no != asked.asked_no:
        raise StaleForm(number=last.recorded_no)
    at, noted = believed_moment(asked.at, now=ledger.now)
    numbers = []
    for subject, subject_id in sorted(
        _subjects(known_rows(session, notice, subject=Subject.STOCK))
    ):
        if hold_on(session, site.id, subject_id) is not None:
            continue
        body = {
            "subject": subject,
            "subject_id": subject_id,
            "reason": "notice",
            "notice": notice.number,
            "cautions": noted,
        }
        numbers.append(ledger.append(Kind.HELD, body, happened_at=at))
    if not numbers:
        raise BadValue(field="stock", value="", why="held-already")
    return Done(
        first_no=numbers[0],
        last_no=numbers[-1],
        subject=notice.id,
        code="notice-stock-held",
        facts={"number": notice.number, "held": len(numbers)},
        cautions=noted,
    )


def _subjects(notice_rows: Iterable[KnownRow]) -> set[tuple[str, UUID]]:
    found = set()
    for row in notice_rows:
        key = key_of(row.key)
        if key.subject is not Subject.STOCK or row.shelf is Shelf.EXCLUDED:
            continue
        product_id, lot_id, _ = key.ids
        if lot_id is not None:
            found.add(("lot", lot_id))
        elif product_id is not None:
            found.add(("product", product_id))
    return found
