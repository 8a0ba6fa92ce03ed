"""Photos kept of a prime, and erased."""

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.pictures import PrimePicture
from traceability.storage.projections.registry import projects


@projects(Kind.PICTURE_KEPT)
def picture_kept(session: Session, event: Recorded) -> None:
    """Add the picture."""
    session.add(
        PrimePicture(
            site_id=event.site_id,
            id=event.key("picture"),
            circuit_id=event.key("circuit"),
            recorded_no=event.number,
            sent_sha256=event.text("sent_sha256"),
            sha256=event.text("sha256"),
            size_bytes=event.number_of("size_bytes"),
            superseded_no=None,
        )
    )


@projects(Kind.PICTURE_ERASED)
def picture_erased(session: Session, event: Recorded) -> None:
    """Say of the picture that it is no more."""
    session.get_one(
        PrimePicture, (event.site_id, event.key("picture"))
    ).superseded_no = event.number
