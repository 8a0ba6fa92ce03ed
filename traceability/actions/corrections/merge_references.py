"""Two references are one person, as the patient register says: also of people nobody here has met.

The form at the screen joins the patients of two runs. A register speaks of references: one may have
come to no run here, and one may stand on several runs.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.actions.run.patient import LONGEST_REFERENCE
from traceability.domain.events import Kind
from traceability.domain.moments import believed_moment
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.storage.kept_apart import KeptApart, keep_apart, uuid7
from traceability.storage.ledger import OpenLedger
from traceability.storage.patients import known_as
from traceability.storage.runs import Patient


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeReferences(Asked):
    """The first reference is the second one's."""

    kind: ClassVar[str] = "merge-references"
    right: ClassVar[Right | None] = Right.SEE_PATIENTS
    source: str
    into: str
    at: datetime


def merge_references(asked: MergeReferences, *, site: Site) -> Done:
    """Join every patient of the first reference to one of the second.

    Raises:
        BadValue: a reference is missing, or they are one already. Nothing was written.
    """
    return answer_once(asked, _merge, site)


def _merge(asked: MergeReferences, session: Session, site: Site) -> Done:
    source, into = asked.source.strip(), asked.into.strip()
    for reference in (source, into):
        if not reference or len(reference) > LONGEST_REFERENCE:
            raise BadValue(field="patient reference", value="", why="empty")
    if source == into:
        raise BadValue(field="patient reference", value="", why="one-already")
    # The chain is read with the head locked: two merges at once cannot make a loop.
    ledger = ledger_of(asked, session, site)
    at, noted = believed_moment(asked.at, now=ledger.now)
    new: list[dict[str, object]] = []
    sources = _patients(source, ledger, new)
    target = _patients(into, ledger, new)[0]
    end = known_as(session, [site.id], target)
    if end in sources:
        raise BadValue(field="patient reference", value="", why="one-already")
    numbers = [
        ledger.append(
            Kind.PATIENTS_MERGED,
            {
                "from": patient_id,
                "into": target,
                "new_patients": new if first else [],
                "device_at": asked.at,
                "cautions": noted,
            },
            happened_at=at,
        )
        for first, patient_id in zip([True] + [False] * len(sources), sources, strict=False)
    ]
    return Done(
        first_no=numbers[0],
        last_no=numbers[-1],
        code="patients-merged",
        facts={"joined": len(numbers)},
        cautions=noted,
    )


def _patients(reference: str, ledger: OpenLedger, new: list[dict[str, object]]) -> list[UUID]:
    """Return all patients who go by a reference; a new one where nobody does."""
    rows = (
        select(Patient.id)
        .join(KeptApart, KeptApart.id == Patient.kept_id)
        .where(Patient.site_id == ledger.head.site_id, KeptApart.text == reference)
        .order_by(Patient.id)
    )
    found = list(ledger.session.scalars(rows))
    if found:
        return found
    made = uuid7(ledger.now)
    kept = keep_apart(ledger.session, reference, at=ledger.now)
    new.append({"patient": made, "temporary": None, **kept})
    return [made]
