"""What became of circuits, some hundred at once, as the drill takes it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Origin, Phase
from traceability.domain.drills.facts import CircuitLife, PatientKnown, RunLife
from traceability.domain.sheets import Sheet
from traceability.storage.circuits import Circuit, CircuitPhase, Prime, Signature
from traceability.storage.lookup import sheet_of
from traceability.storage.patients import known_as
from traceability.storage.runs import CircuitOnRun, Patient, Run, RunPatient

AT_ONCE: Final = 500
"""Ids in one question; both databases take more."""

OFF_A_PATIENT: Final = frozenset({Phase.ENDED, Phase.TRANSFERRED_OUT})


@dataclass(slots=True)
class Lives:
    """Circuits with what became of them, and the sheets they were built by."""

    session: Session
    site_id: UUID
    found: dict[UUID, CircuitLife] = field(default_factory=dict)
    _circuits: dict[UUID, Circuit] = field(default_factory=dict)
    _sheets: dict[tuple[str, int], Sheet | None] = field(default_factory=dict)

    def load(self, ids: Iterable[UUID]) -> None:
        """Read all there is to know of these circuits."""
        for some in in_blocks(ids):
            self._load(some)

    def sheet(self, circuit_id: UUID) -> Sheet | None:
        """Return the sheet a loaded circuit was built by; None for one from elsewhere."""
        circuit = self._circuits[circuit_id]
        key = circuit.circuit_type, circuit.sheet_version
        if key not in self._sheets:
            self._sheets[key] = sheet_of(self.session, self.site_id, *key)
        return self._sheets[key]

    def _load(self, ids: Sequence[UUID]) -> None:
        circuits = select(Circuit).where(Circuit.site_id == self.site_id, Circuit.id.in_(ids))
        self._circuits |= {each.id: each for each in self.session.scalars(circuits)}
        primed, signed, phases = self._primed(ids), self._signed(ids), self._phases(ids)
        runs = self._runs(ids)
        for circuit_id in ids:
            circuit, gone_through = self._circuits[circuit_id], phases[circuit_id]
            last = max(gone_through, key=lambda each: (each.valid_to is None, each.valid_from))
            self.found[circuit_id] = CircuitLife(
                number=circuit.number,
                foreign=circuit.origin == Origin.FOREIGN,
                begun_at=circuit.begun_at,
                primed_at=primed.get(circuit_id),
                signatures=signed.get(circuit_id, 0),
                phase=Phase(last.phase),
                phase_since=last.valid_from,
                supported=any(each.phase in OFF_A_PATIENT for each in gone_through),
                runs=tuple(runs.get(circuit_id, ())),
            )

    def _primed(self, ids: Sequence[UUID]) -> dict[UUID, datetime]:
        rows = select(Prime.circuit_id, Prime.valid_from).where(
            Prime.site_id == self.site_id,
            Prime.circuit_id.in_(ids),
            Prime.superseded_no.is_(None),
        )
        return dict(self.session.execute(rows).all())

    def _signed(self, ids: Sequence[UUID]) -> dict[UUID, int]:
        rows = (
            select(Signature.circuit_id, func.count())
            .where(
                Signature.site_id == self.site_id,
                Signature.circuit_id.in_(ids),
                Signature.superseded_no.is_(None),
                Signature.valid_to.is_(None),
            )
            .group_by(Signature.circuit_id)
        )
        return dict(self.session.execute(rows).all())

    def _phases(self, ids: Sequence[UUID]) -> dict[UUID, list[CircuitPhase]]:
        rows = select(CircuitPhase).where(
            CircuitPhase.site_id == self.site_id,
            CircuitPhase.circuit_id.in_(ids),
            CircuitPhase.superseded_no.is_(None),
        )
        found: dict[UUID, list[CircuitPhase]] = {}
        for row in self.session.scalars(rows):
            found.setdefault(row.circuit_id, []).append(row)
        return found

    def _runs(self, ids: Sequence[UUID]) -> dict[UUID, list[RunLife]]:
        rows = (
            select(CircuitOnRun, Run)
            .join(Run, (Run.site_id == CircuitOnRun.site_id) & (Run.id == CircuitOnRun.run_id))
            .where(
                CircuitOnRun.site_id == self.site_id,
                CircuitOnRun.circuit_id.in_(ids),
                CircuitOnRun.superseded_no.is_(None),
                CircuitOnRun.disputed.is_(False),
            )
        )
        claims = sorted(self.session.execute(rows), key=lambda row: row[0].valid_from)
        patients = patients_known(self.session, self.site_id, {run.id for _, run in claims})
        found: dict[UUID, list[RunLife]] = {}
        for claim, run in claims:
            life = RunLife(
                number=run.number,
                taken_at=claim.valid_from,
                flow_from=claim.flow_from,
                off_at=claim.valid_to,
                over=run.ended_at is not None,
                patient=patients[run.id],
            )
            found.setdefault(claim.circuit_id, []).append(life)
        return found


def patients_known(
    session: Session, site_id: UUID, run_ids: Iterable[UUID]
) -> dict[UUID, PatientKnown]:
    """Return for each run whether its patient is known; merges are followed, texts are not read."""
    wanted = set(run_ids)
    found = dict.fromkeys(wanted, PatientKnown.NO)
    for some in in_blocks(wanted):
        rows = select(RunPatient.run_id, RunPatient.patient_id).where(
            RunPatient.site_id == site_id,
            RunPatient.run_id.in_(some),
            RunPatient.superseded_no.is_(None),
            RunPatient.valid_to.is_(None),
        )
        for run_id, given in session.execute(rows):
            patient = session.get_one(Patient, (site_id, known_as(session, [site_id], given)))
            temporary = patient.temporary is not None
            found[run_id] = PatientKnown.TEMPORARY if temporary else PatientKnown.YES
    return found


def in_blocks(ids: Iterable[UUID]) -> Iterator[list[UUID]]:
    """Yield the ids, each once, so many at a time as one question takes."""
    ordered = sorted(set(ids))
    for start in range(0, len(ordered), AT_ONCE):
        yield ordered[start : start + AT_ONCE]
