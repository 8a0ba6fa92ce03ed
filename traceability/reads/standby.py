"""What the unit's own log says about standing by: how many were ready, calls, gaps, discards."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.circuits import Origin, Phase
from traceability.domain.ready_log import counted, filled, gaps
from traceability.domain.spans import Span
from traceability.domain.standby import HOURS_A_WEEK, time_at_each_count
from traceability.reads.lists import PlaceFacts, places
from traceability.reads.ready_log import AT_ONCE, ready_spans, stood_since
from traceability.storage.circuits import Circuit, CircuitPhase
from traceability.storage.runs import CircuitOnRun
from traceability.storage.site import Policy

__all__ = ["StandbyLog", "standby_log"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandbyLog:
    """The log of a stretch of time, by what the places want today."""

    since: datetime
    until: datetime
    target: int
    at_count: Mapping[int, timedelta]
    """How long so many of the wanted circuits stood ready, from 0 to the target."""
    calls: int
    """Circuits of ours taken or put on a run; wrong scans and disputed claims are none."""
    gaps: tuple[timedelta, ...]
    """How long a place went without enough ready circuits, each gap that has ended."""
    open_gaps: int
    """Gaps that go on; their length is not known yet."""
    primed: int
    """Primes that ended."""
    unused: Mapping[str, int]
    """Circuits discarded after their prime that were never on a run, by reason."""

    @property
    def weeks(self) -> float:
        """Length of the time looked at."""
        return (self.until - self.since) / timedelta(hours=HOURS_A_WEEK)

    @property
    def demand_per_week(self) -> float | None:
        """Calls a week; None where there was none, or no time."""
        return self.calls / self.weeks if self.calls and self.weeks > 0 else None

    @property
    def mean_reprime(self) -> timedelta | None:
        """Mean length of the gaps that ended: what the model takes for the re-prime time."""
        return sum(self.gaps, timedelta(0)) / len(self.gaps) if self.gaps else None


def standby_log(session: Session, site_id: UUID, since: datetime, until: datetime) -> StandbyLog:
    """Return the log from `since`, or from the day on which the record began if that is later."""
    begun = session.scalar(select(Policy.set_at).filter_by(site_id=site_id, version=1))
    since = min(max(since, begun or since), until)
    posts = [place for place in places(session, site_id) if place.stands_for]
    stays = stood_since(session, site_id, [post.id for post in posts], since)
    spans = ready_spans(session, site_id, stays, posts, until)
    wanted = {str(post.id): post.wanted for post in posts}
    steps = filled({str(key): found for key, found in spans.items()}, wanted, since)
    lost = [gap for post in posts for gap in _gaps(post, spans, since, until)]
    return StandbyLog(
        since=since,
        until=until,
        target=sum(wanted.values()),
        at_count=time_at_each_count(steps, since=since, until=until),
        calls=_calls(session, site_id, since, until),
        gaps=tuple(gap.end - gap.start for gap in lost if gap.end is not None),
        open_gaps=sum(gap.end is None for gap in lost),
        primed=len(_in_phase(session, site_id, (Phase.PRIMED,), since, until)),
        unused=_unused(session, site_id, since, until),
    )


def _gaps(
    post: PlaceFacts, spans: Mapping[UUID, Sequence[Span]], since: datetime, until: datetime
) -> list[Span]:
    # A circuit that is ready now has a span that ends at `until`: that is no gap.
    found = gaps(counted(spans.get(post.id, ())), post.wanted)
    return [gap for gap in found if since <= gap.start < until]


def _in_phase(
    session: Session, site_id: UUID, phases: Sequence[Phase], since: datetime, until: datetime
) -> dict[UUID, str]:
    """Return our own circuits that came into one of these phases, with the reason given."""
    rows = (
        select(CircuitPhase.circuit_id, CircuitPhase.reason)
        .join(
            Circuit,
            (Circuit.site_id == CircuitPhase.site_id) & (Circuit.id == CircuitPhase.circuit_id),
        )
        .where(
            CircuitPhase.site_id == site_id,
            CircuitPhase.phase.in_([phase.value for phase in phases]),
            CircuitPhase.superseded_no.is_(None),
            CircuitPhase.valid_from >= since,
            CircuitPhase.valid_from <= until,
            Circuit.origin == Origin.OWN,
        )
    )
    return {row.circuit_id: row.reason for row in session.execute(rows)}


def _calls(session: Session, site_id: UUID, since: datetime, until: datetime) -> int:
    taken = _in_phase(session, site_id, (Phase.TAKEN, Phase.ON_PATIENT), since, until)
    claims = _claims(session, site_id, list(taken))
    return len({(row.circuit_id, row.run_id) for row in claims if since <= row.valid_from <= until})


def _claims(session: Session, site_id: UUID, ids: Sequence[UUID]) -> list[CircuitOnRun]:
    rows = select(CircuitOnRun).where(
        CircuitOnRun.site_id == site_id,
        CircuitOnRun.superseded_no.is_(None),
        CircuitOnRun.disputed.is_(False),
    )
    return [
        row
        for first in range(0, len(ids), AT_ONCE)
        for row in session.scalars(
            rows.where(CircuitOnRun.circuit_id.in_(ids[first : first + AT_ONCE]))
        )
    ]


def _unused(session: Session, site_id: UUID, since: datetime, until: datetime) -> dict[str, int]:
    gone = _in_phase(session, site_id, (Phase.DISCARDED,), since, until)
    ids = list(gone)
    used = {row.circuit_id for row in _claims(session, site_id, ids)}
    primed = {
        key
        for first in range(0, len(ids), AT_ONCE)
        for key in session.scalars(
            select(CircuitPhase.circuit_id).where(
                CircuitPhase.site_id == site_id,
                CircuitPhase.circuit_id.in_(ids[first : first + AT_ONCE]),
                CircuitPhase.phase == Phase.PRIMED,
                CircuitPhase.superseded_no.is_(None),
            )
        )
    }
    found = Counter(reason for key, reason in gone.items() if key in primed and key not in used)
    return dict(sorted(found.items()))
