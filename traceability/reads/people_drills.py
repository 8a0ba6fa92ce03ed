"""Drills for people: who was to be told, who was, and how long it took."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.storage.drills import DrillStep, DrillTarget, PeopleDrill
from traceability.storage.items import Lot, Product
from traceability.storage.people import Person
from traceability.storage.site import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """Somebody who has to be told."""

    line: int
    name: str
    """The person's name, or the role."""
    is_role: bool
    told_at: datetime | None
    entered_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepDone:
    """A step on the way."""

    step: str
    at: datetime
    who: str
    place: str
    """Empty: no place was scanned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleDrillFacts:
    """One drill for people."""

    id: UUID
    number: int
    """Of the entry that began it."""
    product_id: UUID
    product: str
    maker: str
    lot_id: UUID
    lot: str
    at_random: bool
    begun_at: datetime
    begun_by: str
    ended_at: datetime | None
    stopped: str
    """Code of why it ended before everybody was told; empty: it did not."""
    targets: tuple[Target, ...]
    steps: tuple[StepDone, ...]

    @property
    def told(self) -> int:
        """How many have been told."""
        return sum(target.told_at is not None for target in self.targets)


def people_drill(session: Session, site_id: UUID, drill_id: UUID) -> PeopleDrillFacts | None:
    """Return one drill; None if there is none of that id."""
    drill = session.get(PeopleDrill, (site_id, drill_id))
    return None if drill is None else _facts(session, drill)


def people_drills(session: Session, site_id: UUID, limit: int = 30) -> list[PeopleDrillFacts]:
    """Return the last drills, newest first."""
    rows = (
        select(PeopleDrill)
        .where(PeopleDrill.site_id == site_id)
        .order_by(PeopleDrill.begun_no.desc())
        .limit(limit)
    )
    return [_facts(session, drill) for drill in session.scalars(rows).all()]


def _facts(session: Session, drill: PeopleDrill) -> PeopleDrillFacts:
    product = session.get_one(Product, (drill.site_id, drill.product_id))
    lot = session.get_one(Lot, (drill.site_id, drill.lot_id))
    return PeopleDrillFacts(
        id=drill.id,
        number=drill.begun_no,
        product_id=product.id,
        product=product.name,
        maker=product.maker,
        lot_id=lot.id,
        lot=lot.text,
        at_random=drill.at_random,
        begun_at=drill.begun_at,
        begun_by=_name(session, drill.site_id, drill.begun_by),
        ended_at=drill.ended_at,
        stopped=drill.stopped,
        targets=tuple(_targets(session, drill)),
        steps=tuple(_steps(session, drill)),
    )


def _targets(session: Session, drill: PeopleDrill) -> Sequence[Target]:
    rows = (
        select(DrillTarget)
        .where(DrillTarget.site_id == drill.site_id, DrillTarget.drill_id == drill.id)
        .order_by(DrillTarget.line)
    )
    return [
        Target(
            line=row.line,
            name=row.role or _name(session, drill.site_id, row.person_id),
            is_role=bool(row.role),
            told_at=row.told_at,
            entered_by=_name(session, drill.site_id, row.entered_by),
        )
        for row in session.scalars(rows)
    ]


def _steps(session: Session, drill: PeopleDrill) -> Sequence[StepDone]:
    rows = (
        select(DrillStep, Place.name)
        .outerjoin(Place, (Place.site_id == DrillStep.site_id) & (Place.id == DrillStep.place_id))
        .where(DrillStep.site_id == drill.site_id, DrillStep.drill_id == drill.id)
        .order_by(DrillStep.recorded_no)
    )
    return [
        StepDone(
            step=row.step,
            at=row.at,
            who=_name(session, drill.site_id, row.person_id),
            place=place or "",
        )
        for row, place in session.execute(rows)
    ]


def _name(session: Session, site_id: UUID, person_id: UUID | None) -> str:
    person = person_id and session.get(Person, (site_id, person_id))
    return person.name if person else ""
