"""Acts that are one event and nothing more."""

from collections.abc import Mapping
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, ledger_of
from traceability.domain.events import Kind


def one_event(
    asked: Asked,
    session: Session,
    site: Site,
    kind: Kind,
    body: Mapping[str, object],
    *,
    subject: UUID | None = None,
    code: str = "",
) -> Done:
    """Append the event now and return what was done."""
    ledger = ledger_of(asked, session, site)
    number = ledger.append(kind, body, happened_at=ledger.now)
    return Done(first_no=number, last_no=number, subject=subject, code=code)
