"""What an entry is about, and which other entries cannot stand without it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.corrections import WORDS, as_corrected, words_of
from traceability.domain.events import Kind, Recorded
from traceability.storage.corrections import Correction
from traceability.storage.projections.lives import BEGINS, entries, events_of, words_on

AT_BEDSIDE: Final = frozenset(
    {Kind.FLOW_ON, Kind.FLOW_OFF, Kind.CAME_BACK_UNUSED, Kind.TAKE_WITHDRAWN}
)
"""What follows a take of one circuit for one run, and means nothing without it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Subjects:
    """Whose rows follow from an entry."""

    circuits: tuple[UUID, ...] = ()
    runs: tuple[UUID, ...] = ()
    merges: tuple[UUID, ...] = ()
    """Patient references that were joined to another."""


def entry(session: Session, site_id: UUID, number: int) -> Recorded | None:
    """Return one entry as it was written."""
    return next(iter(events_of(session, site_id, {number})), None)


def spoken_of(session: Session, event: Recorded) -> Recorded:
    """Return the entry that a correction, or a correction of one, comes down to."""
    while event.kind in WORDS:
        first = words_of(event)[0]
        event = events_of(session, event.site_id, {first.of})[0]
    return event


def subjects_of(session: Session, event: Recorded) -> Subjects:
    """Return what an entry is about; a correction is about what it corrected."""
    if event.kind in WORDS:
        return Subjects(
            circuits=_listed(event, "circuits"),
            runs=_listed(event, "runs"),
            merges=_listed(event, "merges"),
        )
    if event.kind is Kind.PATIENTS_MERGED:
        return Subjects(merges=(event.key("from"),))
    circuit, run = event.key_or_none("circuit"), event.key_or_none("run")
    if circuit is None:
        return Subjects(runs=(run,) if run else ())
    return Subjects(circuits=(circuit,), runs=runs_of(session, event.site_id, circuit))


def _listed(event: Recorded, name: str) -> tuple[UUID, ...]:
    given = event.body.get(name)
    return tuple(UUID(str(each)) for each in given) if isinstance(given, (list, tuple)) else ()


def runs_of(session: Session, site_id: UUID, circuit_id: UUID) -> tuple[UUID, ...]:
    """Return every run that a circuit's entries or their corrections name, in a fixed order."""
    rows = select(Correction.recorded_no).filter_by(site_id=site_id, subject_id=circuit_id)
    said = events_of(session, site_id, set(session.scalars(rows)))
    found: set[UUID] = set()
    for event in (*entries(session, site_id, circuit_id), *said):
        bodies = [event, *(event.inner(row) for row in event.rows("runs"))]
        found |= {run for body in bodies if (run := body.key_or_none("run"))}
        if event.kind in WORDS:
            found |= set(_listed(event, "runs"))
    return tuple(sorted(found))


def now_said(session: Session, event: Recorded) -> Recorded | None:
    """Return an entry as it is believed now; None if it was voided."""
    about = subjects_of(session, event)
    subject = next(iter((*about.circuits, *about.runs, *about.merges)), None)
    if subject is None:
        return event
    return as_corrected(event, words_on(session, event.site_id, subject))


def hangs_on(session: Session, event: Recorded) -> tuple[int, ...]:
    """Return the entries that cannot stand without this one, in order."""
    circuit = event.key_or_none("circuit")
    if circuit is None:
        return ()
    told = entries(session, event.site_id, circuit)
    if event.kind in BEGINS:
        return tuple(each.number for each in told if each.number > event.number)
    if event.kind is Kind.CIRCUIT_TAKEN:
        found = _of_this_take(event, told)
        offs = [each for each in found if each.kind is Kind.FLOW_OFF]
        ends = [number for off in offs for number in ends_with(session, off)]
        return tuple(sorted({*(each.number for each in found), *ends}))
    if event.kind is Kind.FLOW_OFF:
        return tuple(ends_with(session, event))
    return ()


def _of_this_take(take: Recorded, told: Iterable[Recorded]) -> list[Recorded]:
    found: list[Recorded] = []
    for each in told:
        if each.number <= take.number or each.body.get("run") != take.body.get("run"):
            continue
        if each.kind is Kind.CIRCUIT_TAKEN:
            break
        if each.kind in AT_BEDSIDE:
            found.append(each)
    return found


MOST_IN_ONE_ACT: Final = 60
"""Entries of one request that are looked through for a run's end."""


def ends_with(session: Session, off: Recorded) -> list[int]:
    """Return the end of the run that was recorded in the same act as this flow off."""
    following = set(range(off.number + 1, off.number + MOST_IN_ONE_ACT))
    return [
        each.number
        for each in events_of(session, off.site_id, following)
        if each.kind is Kind.RUN_ENDED
        and (each.device_id, each.request_id) == (off.device_id, off.request_id)
        and each.body.get("run") == off.body.get("run")
    ]
