"""Drills: what was found, and who was told when."""

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded
from traceability.storage.drills import (
    DrillStep,
    DrillTarget,
    LotDrill,
    LotDrilled,
    PeopleDrill,
)
from traceability.storage.projections.lists import text_of
from traceability.storage.projections.registry import projects


@projects(Kind.LOTS_DRILLED)
def lots_drilled(session: Session, event: Recorded) -> None:
    """Keep which lots were picked, how, and what was found of each."""
    week = event.day_or_none("week")
    if week is None:
        raise TypeError(f"event {event.number}: a drill without its week")
    session.add(
        LotDrill(
            site_id=event.site_id,
            recorded_no=event.number,
            at=event.happened_at,
            week=week,
            by_hand=event.flag("by_hand"),
            seed=event.text("seed"),
            since_no=event.number_of("since_no"),
            cut_no=event.number_of("cut_no"),
            wanted=event.number_of("wanted"),
            candidates=event.number_of("candidates"),
            definition=event.number_of("definition"),
        )
    )
    for line, row in enumerate(event.rows("lots")):
        lot = event.inner(row)
        session.add(
            LotDrilled(
                site_id=event.site_id,
                recorded_no=event.number,
                line=line,
                product_id=lot.key("product"),
                lot_id=lot.key("lot"),
                whole=lot.flag("whole"),
                units=lot.number_of("units"),
                reconciled=lot.number_of("reconciled"),
                whereabouts=text_of(lot.body["where"]),
                points=text_of(lot.body["points"]),
            )
        )


@projects(Kind.DRILL_BEGUN)
def drill_begun(session: Session, event: Recorded) -> None:
    """The clock runs, and these have to be told."""
    drill_id = event.key("drill")
    session.add(
        PeopleDrill(
            site_id=event.site_id,
            id=drill_id,
            product_id=event.key("product"),
            lot_id=event.key("lot"),
            at_random=event.flag("at_random"),
            begun_at=event.happened_at,
            begun_no=event.number,
            begun_by=event.actor_id,
            ended_at=None,
            stopped="",
        )
    )
    session.flush()
    for line, row in enumerate(event.rows("tell")):
        whom = event.inner(row)
        session.add(
            DrillTarget(
                site_id=event.site_id,
                drill_id=drill_id,
                line=line,
                person_id=whom.key_or_none("person"),
                role=whom.text_or_none("role") or "",
                told_at=None,
                told_no=None,
                entered_by=None,
            )
        )


@projects(Kind.DRILL_STEP)
def drill_step(session: Session, event: Recorded) -> None:
    """The answer was found, or the stock was seen."""
    session.add(
        DrillStep(
            site_id=event.site_id,
            recorded_no=event.number,
            drill_id=event.key("drill"),
            step=event.text("step"),
            at=event.happened_at,
            person_id=event.actor_id,
            place_id=event.key_or_none("place"),
        )
    )


@projects(Kind.DRILL_TOLD)
def drill_told(session: Session, event: Recorded) -> None:
    """Somebody was told; with the last of them the clock stops."""
    key = (event.site_id, event.key("drill"), event.number_of("line"))
    target = session.get_one(DrillTarget, key)
    target.told_at, target.told_no = event.happened_at, event.number
    target.entered_by = event.actor_id
    if event.flag("ends"):
        session.get_one(PeopleDrill, key[:2]).ended_at = event.happened_at


@projects(Kind.DRILL_STOPPED)
def drill_stopped(session: Session, event: Recorded) -> None:
    """It was ended before everybody was told."""
    drill = session.get_one(PeopleDrill, (event.site_id, event.key("drill")))
    drill.ended_at, drill.stopped = event.happened_at, event.text("reason")
