"""A named person rules which of two claims on the same thing stands; until then both are kept.

Two takes of one circuit: the one that falls never happened, with all that followed from it. One
piece, by its serial, in two circuits: where the claim falls, a part is in whose product and lot
are not known, so that no recall excludes that place because of a wrong scan.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.corrections.enter import enter, lock
from traceability.actions.corrections.part_changes import part_row
from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.events import Kind, Recorded
from traceability.domain.parts import Known, PartState
from traceability.domain.people import Right
from traceability.errors import CannotCorrect, UnknownCode
from traceability.storage.circuits import Part
from traceability.storage.entries import (
    Subjects,
    entry,
    hangs_on,
    now_said,
    runs_of,
)
from traceability.storage.kept_apart import keep_apart


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleOnClaims(Asked):
    """The first claim stands and the other falls."""

    kind: ClassVar[str] = "rule-on-claims"
    right: ClassVar[Right | None] = Right.RULE
    stands: int
    """Number of the entry whose claim stands."""
    falls: int
    stands_part: UUID | None = None
    """The piece, where the claims are parts."""
    falls_part: UUID | None = None
    note: str = ""
    """Why; kept apart."""


def rule_on_claims(asked: RuleOnClaims, *, site: Site) -> Done:
    """Record the ruling; the claim that falls is superseded and stays readable.

    Raises:
        UnknownCode: no such entry. CannotCorrect: they do not claim the same, or the record would
        contradict itself. Nothing was written.
    """
    return answer_once(asked, _rule, site)


def _rule(asked: RuleOnClaims, session: Session, site: Site) -> Done:
    stands, falls = (_claim(session, site, number) for number in (asked.stands, asked.falls))
    circuits = {stands.key("circuit"), falls.key("circuit")}
    about = Subjects(
        circuits=tuple(sorted(circuits)),
        runs=tuple(sorted({run for each in circuits for run in runs_of(session, site.id, each)})),
    )
    locked = lock(session, site, about)
    if asked.stands_part is not None and asked.falls_part is not None:
        words = _of_parts(session, site.id, (stands, asked.stands_part), (falls, asked.falls_part))
    else:
        words = _of_takes(session, stands, falls)
    ledger = ledger_of(asked, session, site)
    note = asked.note.strip()
    body: dict[str, object] = {
        "of": asked.falls,
        "stands": asked.stands,
        "words": words,
        "note": keep_apart(session, note, at=ledger.now) if note else None,
        "was": falls.kind,
    }
    first, last = enter(ledger, site, locked, Kind.CLAIM_RULED, [body], at=ledger.now)
    return Done(
        first_no=first,
        last_no=last,
        subject=stands.key("circuit"),
        code="claim-ruled",
        facts={"number": locked.circuits[0].number},
    )


def _claim(session: Session, site: Site, number: int) -> Recorded:
    event = entry(session, site.id, number)
    now = event and now_said(session, event)
    if event is None or event.key_or_none("circuit") is None:
        raise UnknownCode(what="entry", value=str(number))
    if now is None:
        raise CannotCorrect(why="is-void")
    return now


def _of_takes(session: Session, stands: Recorded, falls: Recorded) -> list[Mapping[str, object]]:
    same = stands.body.get("circuit") == falls.body.get("circuit")
    takes = stands.kind is falls.kind is Kind.CIRCUIT_TAKEN
    claimed = stands.flag("disputed") or falls.flag("disputed")
    if not (same and takes and claimed and stands.number != falls.number):
        raise CannotCorrect(why="no-dispute")
    return [
        {"of": falls.number, "void": True, "also": list(hangs_on(session, falls))},
        {
            "of": stands.number,
            "changes": {"disputed": False},
            "also": list(hangs_on(session, stands)),
        },
    ]


def _of_parts(
    session: Session, site_id: UUID, stands: tuple[Recorded, UUID], falls: tuple[Recorded, UUID]
) -> Sequence[Mapping[str, object]]:
    rows = [part_row(event, part) for event, part in (stands, falls)]
    units = {row.get("unit") for row in rows if row is not None}
    believed = select(Part.part_id).filter_by(site_id=site_id, superseded_no=None)
    pieces = {stands[1], falls[1]}
    there = set(session.scalars(believed.where(Part.part_id.in_(pieces))))
    if None in rows or len(units) != 1 or None in units or there != pieces:
        raise CannotCorrect(why="no-dispute")
    not_known = {
        "state": PartState.LOT_NOT_RECORDED,
        "known": Known.SAID,
        "product": None,
        "lot": None,
        "lot_id": None,
        "serial": None,
        "unit": None,
        "expiry": None,
        "expiry_day": None,
        "disputed": False,
    }
    return [
        {"of": falls[0].number, "part": falls[1], "changes": not_known},
        {"of": stands[0].number, "part": stands[1], "changes": {"disputed": False}},
    ]
