"""Questions to the record that several parts of an answer share, as of a ledger number."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, TypeVar
from uuid import UUID

from sqlalchemy import ColumnElement, and_, func, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from traceability.domain.at_the_run import ADDITIVE_KIND
from traceability.domain.parts import UNKNOWN_KIND
from traceability.domain.trolley import FLUID_KIND
from traceability.recall.cut import Cut
from traceability.storage.base import believed_at
from traceability.storage.circuits import (
    LOT_UNKNOWN,
    NEVER_WAS_ROW,
    Circuit,
    CircuitPhase,
    Part,
)
from traceability.storage.moves import listed_whole
from traceability.storage.runs import CircuitOnRun

BLOCK: Final = 500
"""Ids asked for at once: SQLite takes a limited number of values in one statement."""


def may_be_of(kinds: Iterable[str]) -> set[str]:
    """Return the kinds under which a part of these kinds may have been recorded without its code.

    What nobody could name may be anything; a fluid may have been given as an additive.
    """
    asked = set(kinds)
    return asked | {UNKNOWN_KIND} | ({ADDITIVE_KIND} if FLUID_KIND in asked else set())


def kinds_with_gaps(session: Session) -> list[str]:
    """Return the kinds of all parts whose lot is or was not known: one look into the index each."""
    found: list[str] = []
    last = ""
    while True:
        # Not min(): SQLite would look at every row after it.
        following = select(Part.kind).where(LOT_UNKNOWN, Part.kind > last).order_by(Part.kind)
        kind = session.scalar(following.limit(1))
        if kind is None:
            return found
        found.append(kind)
        last = kind


def unknown_contents(session: Session, cut: Cut) -> list[UUID]:
    """Return the circuits whose contents are not recorded, nor listed whole by their sender.

    Also those whose beginning was voided and that were taken all the same: somebody had them in
    the hand, so the record of what was in them is missing. One that was never taken never was.
    """
    rows = select(Circuit.id).where(
        Circuit.site_id.in_(cut.sites),
        Circuit.contents == "not-recorded",
        Circuit.begun_no <= cut.number,
    )
    never_were = set(
        session.scalars(
            select(CircuitPhase.circuit_id).where(
                NEVER_WAS_ROW,
                CircuitPhase.site_id.in_(cut.sites),
                believed_at(CircuitPhase, cut.number),
            )
        )
    )
    taken = {
        circuit_id
        for block in blocks(sorted(never_were))
        for circuit_id in _taken(block, session, cut)
    }
    found = [circuit_id for circuit_id in session.scalars(rows) if circuit_id not in never_were]
    listed: set[UUID] = set()
    for block in blocks(found):
        listed |= listed_whole(session, cut.sites, block, cut.number)
    return [*(each for each in found if each not in listed), *sorted(taken)]


def _taken(block: Sequence[UUID], session: Session, cut: Cut) -> set[UUID]:
    rows = select(CircuitOnRun.circuit_id).where(
        CircuitOnRun.site_id.in_(cut.sites),
        CircuitOnRun.circuit_id.in_(block),
        believed_at(CircuitOnRun, cut.number),
    )
    return set(session.scalars(rows))


def circuits_begun(session: Session, cut: Cut) -> int:
    """Return how many circuits the record holds."""
    rows = (
        select(func.count())
        .select_from(Circuit)
        .where(Circuit.site_id.in_(cut.sites), Circuit.begun_no <= cut.number)
    )
    return session.scalar(rows) or 0


T = TypeVar("T")


def blocks(ids: Sequence[T]) -> Iterator[Sequence[T]]:
    """Yield the ids in blocks that fit into one statement."""
    for start in range(0, len(ids), BLOCK):
        yield ids[start : start + BLOCK]


def not_superseded(
    number: InstrumentedAttribute[int | None], cut: Cut
) -> list[ColumnElement[bool]]:
    """Return conditions that together mean "not yet by then", each one range of an index.

    Written as one condition with OR, a database would pass over everything that came since, and
    over everything there is while nothing came.
    """
    conditions: list[ColumnElement[bool]] = [number.is_(None)]
    return conditions if cut.latest else [*conditions, number > cut.number]


def still_then(
    superseded: InstrumentedAttribute[int | None], recorded: InstrumentedAttribute[int], cut: Cut
) -> ColumnElement[bool]:
    """Return the condition for rows believed at the cut that chooses no index by itself.

    For questions that go through an index by other columns and find these two in it: taken as a
    range, SQLite would look through all that was ever superseded.
    """
    if cut.latest:
        return (superseded + 0).is_(None)
    later = or_(superseded.is_(None), superseded + 0 > cut.number)
    return and_(recorded + 0 <= cut.number, later)
