"""The use-by of a prime that was corrected, decided anew by the policy of that prime."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Site
from traceability.actions.prime.end import use_by_facts
from traceability.domain.at_the_run import ADDITIVE_SLOT
from traceability.domain.days import last_day_of_use
from traceability.domain.parts import PartState
from traceability.domain.sheets import BLOOD_KIND, FLUID_KIND
from traceability.domain.use_by import PartExpiry, decide, opened_later
from traceability.storage.circuits import Circuit, Part, Prime
from traceability.storage.items import Lot, Product
from traceability.storage.lookup import sheet_of
from traceability.storage.policies import limits_of
from traceability.storage.projections.lives import Life
from traceability.storage.shelf_lookup import stood_as

DAY_GIVEN = len("2027-03-31")


def prime_decided(
    session: Session, site: Site, circuit: Circuit, before: Life, after: Life
) -> dict[str, object] | None:
    """Return the use-by as an entry holds it, where the correction touches what decides it.

    None where the prime has not ended, or nothing that counts for its use-by has changed.
    """
    primes = after.rows[Prime]
    if not primes or _bases(before) == _bases(after):
        return None
    prime = primes[-1]
    sheet = sheet_of(session, site.id, circuit.circuit_type, circuit.sheet_version)
    if sheet is None:
        return None
    ended = prime["valid_from"]
    blood_at = _first(after, BLOOD_KIND)
    way, opened_at = stood_as(session, circuit, sheet.way)
    limits = limits_of(session, site.id, prime["policy_version"])
    use_by = decide(
        ended,
        site.zone,
        way,
        blood=blood_at is not None,
        limits=limits,
        expiries=[_expiry(session, site.id, row, after) for row in _in_then(after, ended)],
        blood_at=blood_at,
        fluid_opened_at=_first(after, FLUID_KIND),
    )
    if opened_at is not None:
        use_by = opened_later(use_by.all, opened_at, site.zone, limits)
    return {"circuit": circuit.id, "use_by": use_by.at, **use_by_facts(use_by)}


def _bases(life: Life) -> list[object]:
    """Return all that the use-by is decided from."""
    primes = life.rows[Prime]
    if not primes:
        return []
    ended = primes[-1]["valid_from"]
    stood = [(row["product_id"], row["lot_id"], row["expiry"]) for row in _in_then(life, ended)]
    return [ended, sorted(stood, key=repr), _first(life, BLOOD_KIND), _first(life, FLUID_KIND)]


def _in_then(life: Life, ended: datetime) -> list[dict[str, Any]]:
    """Return the parts that stayed in when the prime ended, with a printed expiry.

    What was given into the prime later counts as well.
    """
    return [
        row
        for row in life.rows[Part]
        if row["expiry"] is not None
        and row["product_id"] is not None
        and not row["leaves"]
        and (row["valid_from"] <= ended or row["slot"] == ADDITIVE_SLOT)
        and (row["valid_to"] is None or row["valid_to"] > ended)
    ]


def _first(life: Life, kind: str) -> datetime | None:
    return min(
        (
            row["valid_from"]
            for row in life.rows[Part]
            if row["kind"] == kind and row["state"] != PartState.NOT_FITTED
        ),
        default=None,
    )


def _expiry(session: Session, site_id: UUID, row: dict[str, Any], life: Life) -> PartExpiry:
    product = session.get(Product, (site_id, row["product_id"]))
    lot_id = row["lot_id"]
    stored = lot_id and session.get(Lot, (site_id, lot_id))
    named = life.lots[lot_id]["text"] if lot_id in life.lots else None
    return PartExpiry(
        name=product.name if product else "",
        lot=stored.text if stored else named,
        expiry=last_day_of_use(row["expiry"]),
        day_given=len(row["expiry"]) == DAY_GIVEN,
    )
