"""Acts that a device kept without a network and that wait for a person to confirm them."""

from uuid import UUID

from sqlalchemy import Index, text
from sqlalchemy.orm import Mapped

from traceability.storage.base import IN_ORDER, Base, Link, same_site
from traceability.storage.triggers import never_changes

_OPEN = text("superseded_no IS NULL")


class WaitingAct(Link, Base):
    """One such act; `valid_from` is the device's own time of it, `superseded_no` who settled it."""

    __tablename__ = "waiting_act"
    __table_args__ = (
        same_site("circuit_id", "circuit"),
        Index("ix_waiting_act_site_id_circuit_id", "site_id", "circuit_id", *IN_ORDER),
        Index(
            "open_waiting_acts",
            "site_id",
            *IN_ORDER,
            sqlite_where=_OPEN,
            postgresql_where=_OPEN,
        ),
    )
    circuit_id: Mapped[UUID | None]
    """None: it names a circuit that is not in this store."""
    device_id: Mapped[UUID]
    """The device that did it."""
    person_id: Mapped[UUID | None]
    """Who was signed in there then; None: it is not proved."""
    what: Mapped[str]
    """ "scan", or the name of the card or button."""
    why: Mapped[str]
    """Canonical JSON list of codes: why it was not done at once."""
    said: Mapped[str]
    """Canonical JSON of what else was said with it: place, choice, channel."""
    kept_id: Mapped[UUID | None]
    """The scanned text, kept apart; None: there is none, or it may not be kept."""


never_changes(Base.metadata.tables["waiting_act"], but_once="superseded_no")
