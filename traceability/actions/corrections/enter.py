"""Try corrections out, then enter them: what contradicts itself is refused before it is written."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final
from uuid import UUID

from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from traceability.actions.corrections.contradictions import contradictions
from traceability.actions.corrections.use_by import prime_decided
from traceability.actions.on_circuit import the_circuit
from traceability.actions.once import Site
from traceability.domain.circuits import SIGNATURES_NEEDED, Phase
from traceability.domain.events import Kind, Recorded
from traceability.errors import CannotCorrect
from traceability.storage.circuits import Circuit, CircuitPhase, Part, Prime
from traceability.storage.entries import Subjects
from traceability.storage.ledger import OpenLedger, canonical
from traceability.storage.lookup import signatures_of
from traceability.storage.projections.lives import Life, life
from traceability.storage.runs import Run

SIGNED_OF_A_PART: Final = ("slot", "ordinal", "product_id", "lot_id", "serial", "expiry", "state")
"""What of a part a signature stands under."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Locked:
    """Rows that nobody else can act on until the correction is in."""

    circuits: tuple[Circuit, ...]
    about: Subjects


def lock(session: Session, site: Site, about: Subjects) -> Locked:
    """Lock circuits, then runs, each in one order for everybody; the ledger's head comes last."""
    circuits = tuple(the_circuit(session, site, each) for each in sorted(about.circuits))
    for run_id in sorted(about.runs):
        session.get(Run, (site.id, run_id), with_for_update=True)
    return Locked(circuits=circuits, about=about)


def enter(
    ledger: OpenLedger,
    site: Site,
    locked: Locked,
    kind: Kind,
    bodies: Sequence[Mapping[str, object]],
    *,
    at: datetime,
) -> tuple[int, int]:
    """Append the bodies, each with its subjects; return the first and the last number.

    What follows from all of them together, a new use-by and a signature to give again, stands in
    the last.

    Raises:
        CannotCorrect: an interval would run backwards, or a circuit be in two places. Nothing was
        written.
    """
    session, about = ledger.session, locked.about
    named = {
        "circuits": [each.id for each in locked.circuits],
        "runs": sorted(about.runs),
        "merges": list(about.merges),
    }
    told = [{**body, **named} for body in bodies]
    planned = [_not_yet(ledger, kind, body, at, index) for index, body in enumerate(told)]
    primes: list[dict[str, object]] = []
    again: list[UUID] = []
    for circuit in locked.circuits:
        before = life(session, site.id, circuit.id)
        after = _tried(session, circuit, before, planned)
        decided = prime_decided(session, site, circuit, before, after)
        if decided is not None:
            primes.append(decided)
        if _awaits_again(session, circuit, before, after, decided):
            again.append(circuit.id)
    told[-1] = {**told[-1], "primes": primes, "sign_again": again}
    numbers = [ledger.append(kind, body, happened_at=at) for body in told]
    return numbers[0], numbers[-1]


def _not_yet(
    ledger: OpenLedger, kind: Kind, body: Mapping[str, object], at: datetime, index: int
) -> Recorded:
    return Recorded(
        site_id=ledger.head.site_id,
        number=ledger.next_no + index,
        device_id=ledger.sent.device_id,
        actor_id=ledger.sent.actor_id,
        request_id=ledger.sent.request_id,
        happened_at=at,
        recorded_at=ledger.now,
        kind=kind,
        body=json.loads(canonical(body)),
    )


def _tried(session: Session, circuit: Circuit, before: Life, planned: list[Recorded]) -> Life:
    try:
        after = life(session, circuit.site_id, circuit.id, planned)
    except IntegrityError:
        raise CannotCorrect(why="two-places", number=circuit.number) from None
    # Its own number left out: what was odd before may move with the correction.
    known = {(each.why, each.number) for each in contradictions(before)}
    for each in contradictions(after):
        if (each.why, each.number) not in known:
            raise CannotCorrect(
                why=each.why,
                what=each.kind,
                at=each.at,
                other_at=each.other_at,
                number=circuit.number,
            )
    return after


def _awaits_again(
    session: Session,
    circuit: Circuit,
    before: Life,
    after: Life,
    decided: Mapping[str, object] | None,
) -> bool:
    """Tell whether the second signature has to be given again: parts or use-by differ.

    Not on a patient, nor after: nobody can sign there, and who signed stands under what they saw.
    """
    phases = [row["phase"] for row in after.rows[CircuitPhase] if row["valid_to"] is None]
    if not set(phases) & {Phase.PRIMED, Phase.TAKEN}:
        return False
    if len(signatures_of(session, circuit)) < SIGNATURES_NEEDED:
        return False
    use_by = [row["use_by"] for row in before.rows[Prime]]
    moved = decided is not None and [decided["use_by"]] != use_by
    return moved or _signed_parts(before) != _signed_parts(after)


def _signed_parts(of: Life) -> list[str]:
    return sorted(repr([row[name] for name in SIGNED_OF_A_PART]) for row in of.rows[Part])


def with_more(about: Subjects, *, runs: Sequence[UUID] = ()) -> Subjects:
    """Return the subjects with further runs."""
    return replace(about, runs=tuple(sorted({*about.runs, *runs})))
