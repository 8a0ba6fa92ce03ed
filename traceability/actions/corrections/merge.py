"""Two patient references are one person: a temporary identity became known.

The reference of one run is joined to that of another run. Rows of runs stay as they were written,
so it stays readable what was known before; whoever reads a run's patient follows the chain. A
merge that was wrong is voided by a correction.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, MergeLoop, UnknownCode
from traceability.storage.patients import known_as, patient_of_run
from traceability.storage.runs import Run


@dataclass(frozen=True, slots=True, kw_only=True)
class MergePatients(Asked):
    """The patient of this run is the patient of the other run."""

    kind: ClassVar[str] = "merge-patients"
    right: ClassVar[Right | None] = Right.SEE_PATIENTS
    run_id: UUID
    other_number: str
    """Number of the run whose patient is known."""
    at: datetime


def merge_patients(asked: MergePatients, *, site: Site) -> Done:
    """Join this run's reference to the other run's.

    Raises:
        UnknownCode: no such run. BadValue: a run without a patient. MergeLoop: they are one
        already. Nothing was written.
    """
    return answer_once(asked, _merge, site)


def _merge(asked: MergePatients, session: Session, site: Site) -> Done:
    run = session.get(Run, (site.id, asked.run_id))
    number = asked.other_number.strip().upper()
    other = session.scalar(select(Run).filter_by(site_id=site.id, number=number))
    if run is None or other is None:
        raise UnknownCode(what="run", value=asked.other_number)
    # Both ends of the chain are read with the head locked: two merges at once cannot make a loop.
    ledger = ledger_of(asked, session, site)
    joined = []
    for each in (run, other):
        given = patient_of_run(session, site.id, each.id)
        if given is None:
            raise BadValue(field=f"patient of {each.number}", value="", why="empty")
        joined.append(known_as(session, [site.id], given))
    from_id, into_id = joined
    if from_id == into_id:
        raise MergeLoop(run=run.number, other=other.number)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body = {"from": from_id, "into": into_id, "device_at": asked.at, "cautions": noted}
    no = ledger.append(Kind.PATIENTS_MERGED, body, happened_at=at)
    return Done(
        first_no=no,
        last_no=no,
        subject=run.id,
        code="patients-merged",
        facts={"run": run.number, "other": other.number},
        cautions=noted,
    )
