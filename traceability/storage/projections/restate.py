"""Bring the rows of a circuit, a run or a merge to what its corrected entries say.

Rows that are no longer so are superseded by the correction's number, and what is so now is added
under that number. Rows that stay as they were are not touched, so every earlier answer repeats.
"""

from collections.abc import Iterable, Sequence
from typing import Any, Final
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.corrections import as_corrected
from traceability.domain.events import Kind, Recorded
from traceability.storage.base import Link
from traceability.storage.circuits import Signature
from traceability.storage.corrections import PatientMerge, Restated, RunEnd
from traceability.storage.items import Lot
from traceability.storage.projections.lives import (
    LINKS,
    Life,
    columns,
    entries,
    events_of,
    life,
    words_on,
)
from traceability.storage.projections.restate_service import service_of_circuit, service_of_run
from traceability.storage.projections.restate_stock import correct_the_book, pieces_of
from traceability.storage.projections.rows import (
    add_link,
    end_the_run,
    open_links,
    replace,
    supersede,
)
from traceability.storage.runs import CircuitOnRun, Run, RunPatient

NOT_SAID: Final = ("site_id", "recorded_no", "line", "superseded_no")
"""Columns that say when a row was written, not what it says."""


class Lines:
    """The lines of one entry's rows, over all tables, so that each row's key is its own."""

    def __init__(self) -> None:
        """Begin at 0."""
        self.next = 0

    def take(self) -> int:
        """Return the next line."""
        self.next += 1
        return self.next - 1


def restate_circuits(
    session: Session, event: Recorded, circuits: Sequence[UUID], lines: Lines
) -> None:
    """Write the circuits' rows again where they differ."""
    gone: list[Link] = []
    new: list[tuple[type[Link], dict[str, Any]]] = []
    lives: list[Life] = []
    for circuit_id in circuits:
        now = life(session, event.site_id, circuit_id)
        lives.append(now)
        for link in LINKS:
            left = _believed(session, link, event.site_id, circuit_id=circuit_id)
            for row in now.rows[link]:
                said = facts(row)
                same = next((each for each in left if facts(columns(each)) == said), None)
                if same is None:
                    new.append((link, row))
                else:
                    left.remove(same)
            gone += left
    pieces = pieces_of(columns(each) for each in gone), pieces_of(row for _, row in new)
    for old in gone:
        supersede(session, old, event)
    for known in lives:
        _name_lots(session, event, known)
    for link, row in new:
        line = lines.take()
        given = facts(row) | {"site_id": event.site_id, "recorded_no": event.number, "line": line}
        session.add(link(**given))
        session.add(
            Restated(
                site_id=event.site_id,
                recorded_no=event.number,
                line=line,
                origin_no=row["recorded_no"],
            )
        )
    session.flush()
    correct_the_book(session, event, *pieces, lives, lines.take)
    for circuit_id in circuits:
        service_of_circuit(session, event, circuit_id, lines.take)
        _sign_as_said(session, event, circuit_id, lines)


def _believed(session: Session, link: type[Link], site_id: UUID, **where: object) -> list[Link]:
    rows = (
        select(link)
        .filter_by(site_id=site_id, superseded_no=None, **where)
        .order_by(link.recorded_no, link.line)
    )
    return list(session.scalars(rows))


def facts(row: dict[str, Any]) -> dict[str, Any]:
    """Return what a row says, without when it was written."""
    return {name: value for name, value in row.items() if name not in NOT_SAID}


def _name_lots(session: Session, event: Recorded, known: Life) -> None:
    for lot_id, lot in known.lots.items():
        if session.get(Lot, (event.site_id, lot_id)) is None:
            session.add(Lot(**lot | {"site_id": event.site_id, "first_no": event.number}))
            session.flush()


def _sign_as_said(session: Session, event: Recorded, circuit_id: UUID, lines: Lines) -> None:
    """Leave signatures on what they signed; add or take away only those whose entry was voided."""
    words = words_on(session, event.site_id, circuit_id)
    left = _believed(session, Signature, event.site_id, circuit_id=circuit_id)
    for entry in entries(session, event.site_id, circuit_id):
        signed = entry.kind is Kind.PRIME_SIGNED and as_corrected(entry, words)
        if not signed:
            continue
        same = next((row for row in left if _is_of(row, signed)), None)
        if same is not None:
            left.remove(same)
            continue
        others = open_links(session, Signature, event, circuit_id=circuit_id)
        person, part = signed.key("person"), signed.text("part")
        taken = any(
            getattr(row, "person_id", None) == person or getattr(row, "part", None) == part
            for row in others
        )
        add_link(
            session,
            Signature,
            event,
            lines.take(),
            signed.happened_at,
            valid_to=max(event.happened_at, signed.happened_at) if taken else None,
            circuit_id=circuit_id,
            part=part,
            person_id=person,
            meaning=signed.text("meaning"),
            content_digest=signed.text("content_digest"),
        )
        session.flush()
    for row in left:
        supersede(session, row, event)


def _is_of(row: Link, signed: Recorded) -> bool:
    said = columns(row)
    wanted = (signed.key("person"), signed.text("part"), signed.happened_at)
    return (said["person_id"], said["part"], said["valid_from"]) == wanted


def end_second_signature(session: Session, event: Recorded, circuit_id: UUID, lines: Lines) -> None:
    """Let the newest good signature end here: it stands under what was believed until now."""
    signed = open_links(session, Signature, event, circuit_id=circuit_id)
    if signed:
        newest = max(signed, key=lambda row: (row.valid_from, row.recorded_no))
        ends = max(event.happened_at, newest.valid_from)
        replace(session, newest, event, lines.take(), valid_to=ends)


def restate_runs(session: Session, event: Recorded, runs: Iterable[UUID], lines: Lines) -> None:
    """Bring beginning, end and patient of the runs to what their corrected entries say."""
    for run_id in runs:
        run = session.get_one(Run, (event.site_id, run_id))
        claims = _believed(session, CircuitOnRun, event.site_id, run_id=run_id)
        if claims:
            run.begun_at = min(claim.valid_from for claim in claims)
        _restate_end(session, event, run, bool(claims), lines)
        service_of_run(session, event, run, lines.take)
        _restate_patient(session, event, run, lines)


def _restate_end(session: Session, event: Recorded, run: Run, was_any: bool, lines: Lines) -> None:
    words = words_on(session, event.site_id, run.id)
    ends = select(RunEnd.recorded_no).filter_by(site_id=event.site_id, run_id=run.id)
    told = events_of(session, event.site_id, set(session.scalars(ends)))
    happened = [
        now
        for each in told
        if each.kind is not Kind.CORRECTED and (now := as_corrected(each, words))
    ]
    # A run that no circuit was ever on has not been; it does not stand among those going on.
    at = max(happened[-1].happened_at, run.begun_at) if happened else None
    at = at if was_any or at else run.begun_at
    if at != run.ended_at:
        end_the_run(session, event, run.id, at, lines.take())


def _restate_patient(session: Session, event: Recorded, run: Run, lines: Lines) -> None:
    words = words_on(session, event.site_id, run.id)
    rows = select(RunPatient.recorded_no).filter_by(site_id=event.site_id, run_id=run.id)
    told = events_of(session, event.site_id, set(session.scalars(rows)))
    said = [
        now
        for each in told
        if each.kind is Kind.PATIENT_SET and (now := as_corrected(each, words)) is not None
    ]
    wanted = said[-1].key("patient") if said else None
    believed = open_links(session, RunPatient, event, run_id=run.id)
    if [row.patient_id for row in believed] == ([wanted] if wanted else []):
        return
    for row in believed:
        supersede(session, row, event)
    if wanted:
        at = run.begun_at
        add_link(session, RunPatient, event, lines.take(), at, run_id=run.id, patient_id=wanted)
        session.flush()


def restate_merges(
    session: Session, event: Recorded, patients: Iterable[UUID], lines: Lines
) -> None:
    """Bring the merges of these patient references to what is in force."""
    for patient_id in patients:
        words = words_on(session, event.site_id, patient_id)
        rows = select(PatientMerge.recorded_no).filter_by(
            site_id=event.site_id, patient_id=patient_id
        )
        told = events_of(session, event.site_id, set(session.scalars(rows)))
        said = [
            now
            for each in told
            if each.kind is Kind.PATIENTS_MERGED and (now := as_corrected(each, words))
        ]
        wanted = said[-1].key("into") if said else None
        believed = open_links(session, PatientMerge, event, patient_id=patient_id)
        if [row.into_id for row in believed] == ([wanted] if wanted else []):
            continue
        for row in believed:
            supersede(session, row, event)
        if wanted:
            at, line = said[-1].happened_at, lines.take()
            add_link(session, PatientMerge, event, line, at, patient_id=patient_id, into_id=wanted)
            session.flush()
