"""What people told the record, read back from its ledger as the facts that a recall reckons with.

The ledger is read once, in order. Each kind of event has one function that says what it tells; most
tell one fact, whose id is the event's number. A fact says when it happened, as entered, and when it
was entered; what counts at a moment is for `domain.shelves` to say, which also applies corrections.

A circuit is named by its id; a patient by the reference or the temporary identity of the record;
an item by the kind of part, which products of several makers share.

What is not a fact of this form: a take without flow on, and what a count of a shelf changed.
"""

from collections.abc import Iterator
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.domain.shelves.facts import Fact
from traceability.recall.told import circuits, equipment, lots, parts, patients, words
from traceability.recall.told.registry import TELLERS, Telling
from traceability.storage.ledger import events_in_order, recorded

__all__ = ["circuits", "equipment", "lots", "parts", "patients", "told_facts", "words"]


def told_facts(session: Session, site_id: UUID, *, up_to: int | None = None) -> Iterator[Fact]:
    """Yield what was told up to a ledger number, in the order of entry; None: all of it."""
    telling = Telling(session=session, site_id=site_id)
    for stored in events_in_order(session, site_id):
        if up_to is not None and stored.number > up_to:
            return
        teller = TELLERS.get(stored.kind)
        if teller is not None:
            yield from teller(telling, recorded(stored))
        session.expunge(stored)
