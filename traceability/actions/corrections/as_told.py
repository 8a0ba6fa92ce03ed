"""A correction as a paper, a letter or another system tells it: of any entry, and never refused.

The form at the screen lets nobody enter what contradicts the record, for a person stands there and
can look again. What was decided elsewhere has been decided: it is entered as told, and the rows
follow it as far as they can. Where they cannot, the words stand in the ledger all the same, with a
caution, and answers that are reckoned from the ledger count them.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar, Final

from sqlalchemy.exc import IntegrityError, NoResultFound
from sqlalchemy.orm import Session

from traceability.actions.corrections.enter import lock
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.events import Kind, Plain
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, UnknownCode
from traceability.storage.entries import Subjects, entry, spoken_of, subjects_of
from traceability.storage.kept_apart import keep_apart
from traceability.storage.ledger import OpenLedger, canonical

NOT_THE_CASE: Final = (IntegrityError, NoResultFound, LookupError, ValueError, TypeError)
"""How the rows of an entry say that they cannot be what a correction makes of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectAsTold(Asked):
    """The earlier entry is to be read like this."""

    kind: ClassVar[str] = "correct-as-told"
    right: ClassVar[Right | None] = Right.RULE
    of: int
    """Number of the entry; may be a correction."""
    part: str | None = None
    """Id of the one piece it speaks of."""
    changes: Mapping[str, Plain] = field(default_factory=dict)
    """By name as in the body of the entry; `at` is when it happened."""
    void: bool = False
    """It never happened."""
    note: str
    """Who says so and why; kept apart."""
    at: datetime
    """When it was decided."""


def correct_as_told(asked: CorrectAsTold, *, site: Site) -> Done:
    """Enter the correction.

    Raises:
        UnknownCode: no such entry. BadValue: nobody says why, or changes that no body can hold.
        Nothing was written.
    """
    return answer_once(asked, _correct, site)


def _correct(asked: CorrectAsTold, session: Session, site: Site) -> Done:
    if not asked.note.strip():
        raise BadValue(field="who says so, and why", value="", why="empty")
    event = entry(session, site.id, asked.of)
    if event is None:
        raise UnknownCode(what="entry", value=str(asked.of))
    changes = _plain(asked.changes)
    root = spoken_of(session, event)
    about = subjects_of(session, root)
    lock(session, site, about)
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body: dict[str, object] = {
        "of": asked.of,
        "part": asked.part,
        "changes": changes,
        "void": asked.void,
        "reason": "other",
        "note": keep_apart(session, asked.note.strip(), at=ledger.now),
        "was": root.kind,
        "also": [],
        "primes": [],
        "sign_again": [],
        "device_at": asked.at,
    }
    number, cautions = _append(ledger, body, at, noted, about)
    return Done(
        first_no=number,
        last_no=number,
        subject=next(iter((*about.circuits, *about.runs)), None),
        code="corrected",
        facts={"number": ""},
        cautions=cautions,
    )


def _append(
    ledger: OpenLedger,
    body: dict[str, object],
    at: datetime,
    noted: tuple[str, ...],
    about: Subjects,
) -> tuple[int, tuple[str, ...]]:
    """Append it with the rows that follow; without them where they would contradict each other."""
    head = ledger.head
    before = head.number, head.hash, head.recorded_at
    try:
        with ledger.session.begin_nested():
            followed = {**body, **_named(about), "cautions": noted}
            return ledger.append(Kind.CORRECTED, followed, happened_at=at), noted
    except NOT_THE_CASE:
        head.number, head.hash, head.recorded_at = before
    noted += ("rows-not-restated",)
    alone = {**body, **_named(Subjects()), "cautions": noted}
    return ledger.append(Kind.CORRECTED, alone, happened_at=at), noted


def _named(about: Subjects) -> dict[str, object]:
    return {
        "circuits": list(about.circuits),
        "runs": list(about.runs),
        "merges": list(about.merges),
    }


def _plain(changes: Mapping[str, Plain]) -> object:
    try:
        return json.loads(canonical(changes))
    except TypeError:
        raise BadValue(field="changes", value="", why="empty") from None
