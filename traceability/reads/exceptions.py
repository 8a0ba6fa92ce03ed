"""What an auditor looks at first: everything of a period that did not go the usual way.

Source of what belongs here: trade practice settled in review; common practice, no source.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import SIGNATURES_NEEDED
from traceability.domain.corrections import words_of
from traceability.domain.events import Kind, Recorded
from traceability.domain.moments import LATE
from traceability.domain.parts import Known
from traceability.reads.happenings import Happening, told
from traceability.security.roles import service_device
from traceability.storage.circuits import Circuit, Part, Prime, Signature
from traceability.storage.ledger import LedgerEvent, recorded
from traceability.storage.notice_lookup import AT_ONCE
from traceability.storage.scans import PrintOrder


class ExceptionKind(StrEnum):
    """How something did not go the usual way; in the order in which they are shown."""

    OVERRIDE = "override"
    ONE_SIGNATURE = "one-signature"
    LATE = "late"
    TYPED = "typed"
    REPRINT = "reprint"
    DISPUTED = "disputed"
    VOID = "void"
    POLICY = "policy"
    NOT_NAMED = "not-named"


CLOCK_ONLY: Final = frozenset({"clock-skew", "device-time-not-believed", "entered-late"})
"""Cautions about times: no override. A late entry is an exception of its own kind."""

POLICIES: Final = frozenset({Kind.POLICY_SET, Kind.WORK_DAYS_SET})
NOBODYS: Final = frozenset({Kind.DEVICE_SET, Kind.DEVICE_REVOKED, Kind.PIN_SET})
"""What a browser does of its own accord, or before anybody can have signed in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExceptionFacts:
    """One entry that did not go the usual way, or a circuit that lacks a signature."""

    kind: ExceptionKind
    entry: Happening
    circuit: str
    """Its number; empty where the entry is about none."""


def exceptions(
    session: Session, site_id: UUID, since: datetime, until: datetime
) -> list[ExceptionFacts]:
    """Return the exceptions recorded in [since, until), kind by kind, newest first."""
    found = {kind: set[int]() for kind in ExceptionKind}
    for event in _events(session, site_id, since, until):
        for kind in _kinds(event, site_id):
            found[kind].add(event.number)
    first, last = _numbers(session, site_id, since, until)
    found[ExceptionKind.TYPED] |= _typed(session, site_id, first, last)
    found[ExceptionKind.REPRINT] |= _reprints(session, site_id, first, last)
    found[ExceptionKind.ONE_SIGNATURE] |= _one_signature(session, site_id, first, last)
    entries = _entries(session, site_id, {each for numbers in found.values() for each in numbers})
    circuits = _circuits(session, site_id, entries.values())
    return [
        ExceptionFacts(
            kind=kind,
            entry=entries[number],
            circuit=circuits.get(str(entries[number].body.get("circuit")), ""),
        )
        for kind, numbers in found.items()
        for number in sorted(numbers, reverse=True)
    ]


def _kinds(event: Recorded, site_id: UUID) -> Iterator[ExceptionKind]:
    cautions = set(event.texts("cautions")) if event.body.get("cautions") else set()
    if event.body.get("gone_past") or cautions - CLOCK_ONLY:
        yield ExceptionKind.OVERRIDE
    if event.recorded_at - event.happened_at > LATE:
        yield ExceptionKind.LATE
    if event.body.get("disputed") is True:
        yield ExceptionKind.DISPUTED
    if event.kind is Kind.CORRECTED and any(word.void for word in words_of(event)):
        yield ExceptionKind.VOID
    if event.kind in POLICIES:
        yield ExceptionKind.POLICY
    by_nobody = event.actor_id is None and event.device_id != service_device(site_id)
    if by_nobody and event.kind not in NOBODYS:
        yield ExceptionKind.NOT_NAMED


def _events(
    session: Session, site_id: UUID, since: datetime, until: datetime
) -> Iterator[Recorded]:
    rows = (
        select(LedgerEvent)
        .where(
            LedgerEvent.site_id == site_id,
            LedgerEvent.recorded_at >= since,
            LedgerEvent.recorded_at < until,
        )
        .order_by(LedgerEvent.number)
    )
    for stored in session.scalars(rows, execution_options={"yield_per": 500}):
        yield recorded(stored)


def _numbers(session: Session, site_id: UUID, since: datetime, until: datetime) -> tuple[int, int]:
    rows = select(func.min(LedgerEvent.number), func.max(LedgerEvent.number)).where(
        LedgerEvent.site_id == site_id,
        LedgerEvent.recorded_at >= since,
        LedgerEvent.recorded_at < until,
    )
    first, last = session.execute(rows).one()
    return (first, last) if first is not None else (1, 0)


def _typed(session: Session, site_id: UUID, first: int, last: int) -> set[int]:
    rows = select(Part.recorded_no).where(
        Part.site_id == site_id,
        Part.recorded_no.between(first, last),
        Part.known.in_([Known.TYPED, Known.PHOTO]),
        Part.lot_id.is_not(None),
    )
    return set(session.scalars(rows))


def _reprints(session: Session, site_id: UUID, first: int, last: int) -> set[int]:
    rows = select(PrintOrder.recorded_no).where(
        PrintOrder.site_id == site_id,
        PrintOrder.recorded_no.between(first, last),
        PrintOrder.copy > 0,
    )
    return set(session.scalars(rows))


def _one_signature(session: Session, site_id: UUID, first: int, last: int) -> set[int]:
    """Return the ends of primes that two different people have not signed until now."""
    primes = (
        select(Prime.recorded_no, func.count(func.distinct(Signature.person_id)))
        .outerjoin(
            Signature,
            (Signature.site_id == Prime.site_id)
            & (Signature.circuit_id == Prime.circuit_id)
            & Signature.superseded_no.is_(None),
        )
        .where(
            Prime.site_id == site_id,
            Prime.recorded_no.between(first, last),
            Prime.superseded_no.is_(None),
        )
        .group_by(Prime.recorded_no, Prime.line)
    )
    return {number for number, count in session.execute(primes) if count < SIGNATURES_NEEDED}


def _entries(session: Session, site_id: UUID, numbers: set[int]) -> dict[int, Happening]:
    wanted = sorted(numbers)
    found: dict[int, Happening] = {}
    for start in range(0, len(wanted), AT_ONCE):
        block = told(session, site_id, set(wanted[start : start + AT_ONCE]))
        found |= {each.number: each for each in block}
    return found


def _circuits(session: Session, site_id: UUID, entries: Iterable[Happening]) -> Mapping[str, str]:
    named = {each.body.get("circuit") for each in entries}
    ids = sorted(UUID(each) for each in named if isinstance(each, str))
    found: dict[str, str] = {}
    for start in range(0, len(ids), AT_ONCE):
        rows = select(Circuit.id, Circuit.number).where(
            Circuit.site_id == site_id, Circuit.id.in_(ids[start : start + AT_ONCE])
        )
        found |= {str(circuit_id): number for circuit_id, number in session.execute(rows)}
    return found
