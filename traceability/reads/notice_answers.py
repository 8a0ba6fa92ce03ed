"""What was asked and answered about a notice, and what changed since an answer was given."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.events import Plain
from traceability.domain.exposure import Shelf
from traceability.domain.known_rows import (
    Because,
    Change,
    Changed,
    KnownRow,
    Subject,
    because,
    differences,
    key_of,
)
from traceability.reads.happenings import (
    Happening,
    happenings,
    lot_happenings,
    run_happenings,
    told,
)
from traceability.reads.notices import kept_text, person_name
from traceability.reads.row_names import RowName, names_of_keys
from traceability.storage.items import Lot
from traceability.storage.ledger import LedgerEvent
from traceability.storage.notice_answers import NoticeAnswer, NoticeAnswerGiven, NoticeReply
from traceability.storage.notice_life import Notice
from traceability.storage.notice_lookup import known_rows, looked_up_to
from traceability.storage.stock import StockChange

MOST_EXPLAINED: Final = 200
"""Changed rows for which the entries behind them are looked up; all are counted and listed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskingFacts:
    """One asking, and how it was given."""

    number: int
    at: datetime
    by: str
    """Empty: the service asked of its own accord."""
    version: int
    cut_no: int
    cut_at: datetime | None
    digest: str
    counts: Mapping[str, int]
    coverage: Mapping[str, Plain]
    changed: int

    def count(self, subject: str, shelf: str) -> int:
        """Return how many rows of a subject ("circuit", "patient", "units") are on a shelf."""
        return self.counts.get(f"{subject} {shelf}", 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenFacts:
    """An answer that was given."""

    number: int
    at: datetime
    by: str
    to: str
    asked_no: int
    version: int
    cut_no: int
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplyFacts:
    """A reply that was made."""

    number: int
    at: datetime
    by: str
    asked_no: int
    cut_no: int
    lines: Sequence[Mapping[str, Plain]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedFacts:
    """A row that is not as it was, what people call it, and why."""

    changed: Changed
    name: RowName
    because: Because | None
    """None: it was not looked up; there are too many."""
    entries: tuple[Happening, ...]

    @property
    def change(self) -> Change:
        """How it differs."""
        return self.changed.change


def newest_asking(session: Session, notice_id: UUID, site_id: UUID) -> AskingFacts | None:
    """Return the last asking, or None before the first."""
    return next(iter(_askings(session, site_id, notice_id, limit=1)), None)


def asking(session: Session, site_id: UUID, notice_id: UUID, number: int) -> AskingFacts | None:
    """Return the asking of that number, or None."""
    return next(iter(_askings(session, site_id, notice_id, number=number)), None)


def _askings(
    session: Session, site_id: UUID, notice_id: UUID, *, limit: int = 1, number: int | None = None
) -> list[AskingFacts]:
    rows = (
        select(NoticeAnswer)
        .filter_by(site_id=site_id, notice_id=notice_id)
        .order_by(NoticeAnswer.recorded_no.desc())
        .limit(limit)
    )
    if number is not None:
        rows = rows.where(NoticeAnswer.recorded_no == number)
    found = []
    for each in session.scalars(rows):
        event = session.get_one(LedgerEvent, (site_id, each.recorded_no))
        cut = session.get(LedgerEvent, (site_id, each.cut_no))
        found.append(
            AskingFacts(
                number=each.recorded_no,
                at=event.recorded_at,
                by=person_name(session, site_id, event.actor_id),
                version=each.scope_version,
                cut_no=each.cut_no,
                cut_at=cut.recorded_at if cut else None,
                digest=each.digest,
                counts=json.loads(each.counts),
                coverage=json.loads(each.coverage),
                changed=each.changed,
            )
        )
    return found


def given_answers(session: Session, site_id: UUID, notice_id: UUID) -> list[GivenFacts]:
    """Return the answers given, newest first."""
    rows = (
        select(NoticeAnswerGiven, NoticeAnswer, LedgerEvent)
        .join(
            NoticeAnswer,
            (NoticeAnswer.site_id == NoticeAnswerGiven.site_id)
            & (NoticeAnswer.recorded_no == NoticeAnswerGiven.asked_no),
        )
        .join(
            LedgerEvent,
            (LedgerEvent.site_id == NoticeAnswerGiven.site_id)
            & (LedgerEvent.number == NoticeAnswerGiven.recorded_no),
        )
        .where(NoticeAnswerGiven.site_id == site_id, NoticeAnswerGiven.notice_id == notice_id)
        .order_by(NoticeAnswerGiven.recorded_no.desc())
    )
    return [
        GivenFacts(
            number=given.recorded_no,
            at=event.recorded_at,
            by=person_name(session, site_id, event.actor_id),
            to=kept_text(session, given.to_id),
            asked_no=given.asked_no,
            version=answer.scope_version,
            cut_no=answer.cut_no,
            digest=answer.digest,
        )
        for given, answer, event in session.execute(rows)
    ]


def replies(session: Session, site_id: UUID, notice_id: UUID) -> list[ReplyFacts]:
    """Return the replies made, newest first."""
    rows = (
        select(NoticeReply, LedgerEvent)
        .join(
            LedgerEvent,
            (LedgerEvent.site_id == NoticeReply.site_id)
            & (LedgerEvent.number == NoticeReply.recorded_no),
        )
        .where(NoticeReply.site_id == site_id, NoticeReply.notice_id == notice_id)
        .order_by(NoticeReply.recorded_no.desc())
    )
    return [
        ReplyFacts(
            number=reply.recorded_no,
            at=event.recorded_at,
            by=person_name(session, site_id, event.actor_id),
            asked_no=reply.asked_no,
            cut_no=reply.cut_no,
            lines=json.loads(reply.lines),
        )
        for reply, event in session.execute(rows)
    ]


def rows_of(
    session: Session,
    site_id: UUID,
    notice_id: UUID,
    asked_no: int | None = None,
    *,
    subject: Subject | None = None,
) -> list[KnownRow]:
    """Return the rows of the newest answer, or of the asking of that number."""
    notice = session.get_one(Notice, (site_id, notice_id))
    return known_rows(session, notice, asked_no, subject=subject)


def seen_up_to(session: Session, site_id: UUID, notice_id: UUID) -> int:
    """Return the last asking that a person looked at or gave; 0 where nobody did yet."""
    return looked_up_to(session, session.get_one(Notice, (site_id, notice_id)))


def changes_since(
    session: Session,
    site_id: UUID,
    notice_id: UUID,
    before: AskingFacts,
    after: AskingFacts,
    *,
    most: int | None = None,
) -> tuple[int, list[ChangedFacts]]:
    """Return how many rows changed between two askings, and each, `most` of them, with why."""
    old = rows_of(session, site_id, notice_id, before.number)
    new = rows_of(session, site_id, notice_id, after.number)
    found = differences(old, new)
    wanted = found if most is None else found[:most]
    keys = [each.key for each in wanted]
    names = names_of_keys(session, site_id, keys, {row.key: row for row in (*old, *new)})
    shown = []
    for number, each in enumerate(wanted):
        entries: tuple[Happening, ...] = ()
        why = None
        if number < MOST_EXPLAINED:
            entries = _touching(session, site_id, each, before.cut_no, after.cut_no)
            numbers = [entry.number for entry in entries]
            why = because((before.version, after.version), numbers)
        shown.append(ChangedFacts(changed=each, name=names[each.key], because=why, entries=entries))
    return len(found), shown


def _touching(
    session: Session, site_id: UUID, changed: Changed, since: int, until: int
) -> tuple[Happening, ...]:
    """Return the entries between two cuts that speak of the row's circuit, run or lot."""
    key, row = key_of(changed.key), changed.after or changed.before
    found: dict[int, Happening] = {}

    def _add(events: Sequence[Happening]) -> None:
        found.update({each.number: each for each in events if since < each.number <= until})

    first = key.ids[0]
    match key.subject:
        case Subject.CIRCUIT if first:
            _add(happenings(session, site_id, first, until))
        case Subject.PATIENT | Subject.RUN if row:
            for run_id in row.runs:
                _add(run_happenings(session, site_id, run_id, until))
            for circuit_id in row.circuits:
                _add(happenings(session, site_id, circuit_id, until))
        case Subject.STOCK if first:
            numbers = select(StockChange.recorded_no).where(
                StockChange.site_id == site_id,
                StockChange.product_id == first,
                StockChange.lot_id == key.ids[1],
                StockChange.recorded_no > since,
                StockChange.recorded_no <= until,
            )
            _add(told(session, site_id, set(session.scalars(numbers))))
            lot = session.get(Lot, (site_id, key.ids[1])) if key.ids[1] else None
            _add(lot_happenings(session, site_id, lot) if lot else [])
        case _:
            pass
    return tuple(found[number] for number in sorted(found))


SHELVES: Final = (Shelf.CONFIRMED, Shelf.INFERRED, Shelf.CANNOT_BE_EXCLUDED, Shelf.EXCLUDED)
"""In the fixed order of every answer."""
