"""The mode of a run: veno-venous, veno-arterial or another, each with its time."""

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from traceability.actions.on_run import moment_within, the_run
from traceability.actions.once import Asked, Done, Site, answer_once, entered, ledger_of
from traceability.domain.at_the_run import MODES
from traceability.domain.events import Kind
from traceability.domain.moments import Manner
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.storage.run_extras import RunMode


@dataclass(frozen=True, slots=True, kw_only=True)
class SetMode(Asked):
    """From `at` on the run goes on in this mode."""

    kind: ClassVar[str] = "set-mode"
    right: ClassVar[Right | None] = Right.ACT
    run_id: UUID
    mode: str
    at: datetime
    manner: Manner = Manner.PLANNED


def set_mode(asked: SetMode, *, site: Site) -> Done:
    """Record the mode; the one before ends in the same moment.

    Raises:
        UnknownCode: no such run. BadValue: no such mode. WrongMoment: planned acts only; before
        the mode that stands, after the run's end, or in the future. Nothing was written.
    """
    return answer_once(asked, _set, site)


def _set(asked: SetMode, session: Session, site: Site) -> Done:
    if asked.mode not in MODES:
        raise BadValue(field="mode", value=asked.mode, why="not-one-of", of=MODES)
    run = the_run(session, site, asked.run_id)
    ledger = ledger_of(asked, session, site)
    rows = select(RunMode).filter_by(
        site_id=site.id, run_id=run.id, valid_to=None, superseded_no=None
    )
    stands = session.scalar(rows)
    at, noted = moment_within(
        asked.at,
        asked.manner,
        now=ledger.now,
        since=stands.valid_from if stands else run.begun_at,
        since_side="before-mode" if stands else "before-run",
        until=run.ended_at,
    )
    body = {
        "run": run.id,
        "mode": asked.mode,
        "manner": asked.manner,
        "device_at": asked.at,
        "cautions": noted,
    }
    return entered(
        ledger,
        Kind.MODE_SET,
        body,
        at=at,
        subject=run.id,
        facts={"run": run.number, "mode": asked.mode},
    )
