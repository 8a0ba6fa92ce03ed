"""The procedure's steps: the unit's lists, which one a prime goes by, what was said of each."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.projections.acts import trolley_act
from traceability.storage.projections.lists import text_of
from traceability.storage.projections.registry import projects
from traceability.storage.projections.rows import add_link, again, open_links, supersede
from traceability.storage.scans import TrolleyAct
from traceability.storage.steps import PrimeSteps, StepListVersion, StepRow


@projects(Kind.STEPS_SET)
def steps_set(session: Session, event: Recorded) -> None:
    """Add a version of a list."""
    session.add(
        StepListVersion(
            site_id=event.site_id,
            way=event.text("way"),
            version=event.number_of("version"),
            body=text_of(event.body),
            set_at=event.happened_at,
            recorded_no=event.number,
        )
    )


def goes_by(session: Session, event: Recorded) -> None:
    """Remember which list the prime goes by; entries from before there were lists name none."""
    if event.body.get("steps_version") is None:
        return
    session.merge(
        PrimeSteps(
            site_id=event.site_id,
            circuit_id=event.key("circuit"),
            way=event.text("steps_way"),
            version=event.number_of("steps_version"),
            recorded_no=event.number,
        )
    )


@projects(Kind.STEP_SAID)
def step_said(session: Session, event: Recorded) -> None:
    """Say something of a step; what stood of it before is kept and no longer believed."""
    circuit_id, step = event.key("circuit"), event.text("step")
    for row in open_links(session, StepRow, event, circuit_id=circuit_id, step=step):
        supersede(session, row, event)
    begun_at = event.text_or_none("begun_at")
    add_link(
        session,
        StepRow,
        event,
        0,
        event.happened_at,
        circuit_id=circuit_id,
        step=step,
        state=event.text("state"),
        begun_at=None if begun_at is None else datetime.fromisoformat(begun_at),
        reason=event.text("reason"),
        readings=text_of(event.body["readings"]),
        by_id=event.actor_id,
        other_id=event.key_or_none("other"),
        late=event.flag("late"),
        said_no=event.number,
    )
    trolley_act(session, event)


@projects(Kind.STEP_TAKEN_BACK)
def step_taken_back(session: Session, event: Recorded) -> None:
    """What one entry said of a step is not so; after *undo* what it had replaced stands again."""
    circuit_id, undone_no = event.key("circuit"), event.number_of("undone_no")
    for row in open_links(session, StepRow, event, circuit_id=circuit_id, said_no=undone_no):
        supersede(session, row, event)
    if event.flag("restores"):
        before = (
            select(StepRow)
            .filter_by(site_id=event.site_id, circuit_id=circuit_id, superseded_no=undone_no)
            .order_by(StepRow.recorded_no, StepRow.line)
        )
        for line, row in enumerate(list(session.scalars(before))):
            again(session, row, event, line)
    act = session.get(TrolleyAct, (event.site_id, undone_no))
    if act is not None:
        act.undone_no = event.number
    trolley_act(session, event)
