"""Who the patient of a run is: a reference, or a temporary identity until one is known.

The reference's text is kept apart: the ledger holds an id and a keyed digest. A later identity
adds a row; what was believed before stays readable.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue, UnknownCode
from traceability.storage.kept_apart import keep_apart, uuid7
from traceability.storage.runs import Patient, Run

LONGEST_REFERENCE = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPatient(Asked):
    """A wristband was scanned, a number typed, or nobody knows yet."""

    kind: ClassVar[str] = "set-patient"
    right: ClassVar[Right | None] = Right.ACT
    run_id: UUID
    reference: str
    """As read; empty: a temporary identity is given out."""
    at: datetime


def set_patient(asked: SetPatient, *, site: Site) -> Done:
    """Tie the run to the patient.

    Raises:
        UnknownCode: no such run. BadValue: longer than any reference. Nothing was written.
    """
    return answer_once(asked, _set, site)


def _set(asked: SetPatient, session: Session, site: Site) -> Done:
    run = session.get(Run, (site.id, asked.run_id), with_for_update=True)
    if run is None:
        raise UnknownCode(what="run", value=str(asked.run_id))
    reference = asked.reference.strip()
    if len(reference) > LONGEST_REFERENCE:
        raise BadValue(field="patient reference", value="", why="too-long")
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    body: dict[str, object] = {
        "run": run.id,
        "patient": uuid7(ledger.now),
        "device_at": asked.at,
        "cautions": noted,
    }
    if reference:
        body |= keep_apart(session, reference, at=ledger.now)
    else:
        given = (
            select(func.count())
            .select_from(Patient)
            .where(Patient.site_id == site.id, Patient.temporary.is_not(None))
        )
        body["temporary"] = f"TEMP-{(session.scalar(given) or 0) + 1}"
    return entered(
        ledger,
        Kind.PATIENT_SET,
        body,
        at=at,
        subject=run.id,
        facts={"run": run.number, "temporary": str(body.get("temporary", ""))},
    )
