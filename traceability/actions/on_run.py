"""What acts on a run have in common: finding and locking it, and which moments can be.

A planned act is told what is wrong with a time while its person can still mend it. What has
happened already is recorded at the moment that can be believed.
"""

from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Session

from traceability.actions.once import Site
from traceability.domain.moments import MAX_AHEAD, MINUTE, Manner, believed_moment, is_before
from traceability.errors import UnknownCode, WrongMoment
from traceability.storage.runs import Run


def the_run(session: Session, site: Site, run_id: UUID) -> Run:
    """Return the run, locked.

    Raises:
        UnknownCode: there is none. Nothing was written.
    """
    run = session.get(Run, (site.id, run_id), with_for_update=True)
    if run is None:
        raise UnknownCode(what="run", value=str(run_id))
    return run


def moment_within(
    at: datetime,
    manner: Manner,
    *,
    now: datetime,
    since: datetime | None = None,
    since_side: str = "",
    until: datetime | None = None,
    until_side: str = "run-ended",
) -> tuple[datetime, tuple[str, ...]]:
    """Return the moment to record for an act, and what to say about it.

    `since` and `until` are what it has to lie between, each with the side to name it by.

    Raises:
        WrongMoment: a planned act that would lie in the future or outside. Nothing was written.
    """
    late = until is not None and at >= until + MINUTE
    if manner.refusable:
        if at > now + MAX_AHEAD:
            raise WrongMoment(moment=at, limit=now, side="to-come")
        if since is not None and is_before(at, since):
            raise WrongMoment(moment=at, limit=since, side=since_side)
        if late:
            raise WrongMoment(moment=at, limit=until, side=until_side)
    believed, noted = believed_moment(at, now=now, not_before=since)
    return believed, (*noted, *((until_side,) if late else ()))
