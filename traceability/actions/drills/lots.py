"""Record a drill of the service: which lots it picked, how, and what it found of each.

The lots are followed before, in a transaction that only reads: a lot in thousands of circuits must
not keep the trolleys waiting. What is recorded says up to which entry it knew the record.
"""

from dataclasses import dataclass
from typing import ClassVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.once import Asked, Done, Site, answer_once, ledger_of
from traceability.domain.drills.choose import week_of
from traceability.domain.drills.outcome import Drawn
from traceability.domain.drills.reconcile import DEFINITION
from traceability.domain.events import Kind
from traceability.domain.people import Right
from traceability.errors import DrilledThisWeek
from traceability.storage.drills import LotDrill


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordLotDrill(Asked):
    """A drill that was drawn."""

    kind: ClassVar[str] = "record-lot-drill"
    right: ClassVar[Right | None] = Right.DRILL
    drawn: Drawn
    by_hand: bool
    """Somebody asked for it; else it is the one of this week."""


def record_lot_drill(asked: RecordLotDrill, *, site: Site) -> Done:
    """Record it.

    Raises:
        DrilledThisWeek: the service has drilled in this week, perhaps from another process, or
        when the clock had run ahead. Nothing was written.
    """
    return answer_once(asked, _record, site)


def _record(asked: RecordLotDrill, session: Session, site: Site) -> Done:
    ledger = ledger_of(asked, session, site)
    week, drawn = week_of(ledger.now, site.zone), asked.drawn
    if not asked.by_hand:
        known = select(LotDrill.recorded_no).where(
            LotDrill.site_id == site.id, LotDrill.week == week, ~LotDrill.by_hand
        )
        if session.scalar(known) is not None:
            raise DrilledThisWeek(week=week.isoformat())
    body = {
        "week": week.isoformat(),
        "by_hand": asked.by_hand,
        "seed": drawn.seed,
        "since_no": drawn.since_no,
        "cut_no": drawn.cut_no,
        "wanted": drawn.wanted,
        "candidates": drawn.candidates,
        "definition": DEFINITION,
        "lots": [
            {
                "product": each.product_id,
                "lot": each.lot_id,
                "whole": each.whole,
                "units": each.units,
                "reconciled": each.reconciled,
                "where": dict(each.where),
                "points": dict(each.points),
            }
            for each in drawn.lots
        ],
    }
    number = ledger.append(Kind.LOTS_DRILLED, body, happened_at=ledger.now)
    return Done(first_no=number, last_no=number, code=Kind.LOTS_DRILLED)
