"""Drills of the last weeks: three of the service, and one in which people were told by hand.

Their requests are named, and so are their seeds: the two years stay as they are without them.
"""

from datetime import timedelta
from typing import Final
from uuid import uuid5

from traceability.actions.drills.lots import RecordLotDrill, record_lot_drill
from traceability.actions.drills.people import (
    BeginDrill,
    StepInDrill,
    TellInDrill,
    begin_drill,
    step_in_drill,
    tell_in_drill,
)
from traceability.actions.once import Sent
from traceability.reads.drills import any_lot, draw
from traceability.security.roles import service_device

from .hospital import AALTO, DESK, DEY, HALE, SITE_ID, Colleague
from .stage import Story
from .ward import Ward

WEEKS_AGO: Final = (3, 2, 1)
LOTS: Final = 30
MONTHS: Final = 12


def plan_drills(ward: Ward) -> None:
    """Put the drills on the stage."""
    for weeks in WEEKS_AGO:
        at = ward.ends - timedelta(weeks=weeks, hours=2)
        ward.stage.begin(_of_the_week(ward, weeks), at)
    ward.stage.begin(_for_people(ward), ward.ends - timedelta(days=9, hours=1))


def _of_the_week(ward: Ward, weeks: int) -> Story[None]:
    site = ward.stage.site
    with site.sessions() as session:
        drawn = draw(
            session,
            SITE_ID,
            seed=f"demo {weeks}",
            wanted=LOTS,
            months=MONTHS,
            now=ward.stage.now,
        )
    sent = Sent(
        device_id=service_device(SITE_ID),
        actor_id=None,
        request_id=uuid5(SITE_ID, f"drill: {weeks} weeks ago"),
    )
    record_lot_drill(RecordLotDrill(sent=sent, drawn=drawn, by_hand=False), site=site)
    ward.count("drill of the week")
    yield timedelta(0)


def _for_people(ward: Ward) -> Story[None]:
    site = ward.stage.site
    with site.sessions() as session:
        lot_id = any_lot(session, SITE_ID, seed="demo people", months=MONTHS, now=ward.stage.now)
    if lot_id is None:
        raise RuntimeError("no lot was ever named in the demo")
    done = begin_drill(
        BeginDrill(
            sent=_sent("begun"),
            lot_id=lot_id,
            at_random=True,
            people=(AALTO.id, HALE.id),
            roles=(),
        ),
        site=site,
    )
    if done.subject is None:
        raise RuntimeError("the drill of the demo was not begun")
    for wait, step in ((75, "answer-found"), (260, "stock-seen")):
        yield timedelta(seconds=wait)
        asked = StepInDrill(sent=_sent(step), drill_id=done.subject, step=step)
        step_in_drill(asked, site=site)
    for line, wait in enumerate((95, 210)):
        yield timedelta(seconds=wait)
        told = TellInDrill(sent=_sent(f"told {line}"), drill_id=done.subject, line=line)
        tell_in_drill(told, site=site)
    ward.count("drill for people")


def _sent(what: str, who: Colleague = DEY) -> Sent:
    request_id = uuid5(SITE_ID, f"people drill: {what}")
    return Sent(device_id=DESK.id, actor_id=who.id, request_id=request_id)
