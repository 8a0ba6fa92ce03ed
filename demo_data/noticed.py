"""The notice of the last days: a maker's letter about one lot of taps, asked, with its tasks."""

from datetime import timedelta
from uuid import uuid5

from traceability.actions.notice.letters import LetterGiven, OpenNotice, open_notice
from traceability.actions.notice.scope import SetScope, set_scope
from traceability.actions.notice.standing import DueGiven
from traceability.actions.once import Sent
from traceability.domain.notice_scope import (
    ProductRef,
    Said,
    Scope,
    ScopeClause,
    ScopeTest,
    scope_json,
)

from .hospital import DESK, DEY, SITE_ID
from .stock import NOTICE_LOT
from .ward import Ward

LETTER = (
    "Some taps of this lot leak at the handle. Stop using them, tell us how many you have left, "
    "and look at each one that is in use."
)


def notice_comes(ward: Ward) -> str:
    """Open the notice, say what it is about and ask; return its number."""
    stage, tap = ward.stage, ward.stock.products["tap"]
    zone = stage.services.settings.zone_info
    letter = LetterGiven(
        sender_kind="maker",
        sender=tap.maker,
        reference="OD-0417",
        stated_class="urgent",
        dated_on=(stage.now - timedelta(days=1)).astimezone(zone).date(),
        text=LETTER,
    )
    opened = open_notice(
        OpenNotice(
            sent=_sent("opened"),
            title="Three-way tap, leak at the handle",
            letter=letter,
            due=DueGiven(rule="correction-maker"),
            at=stage.now,
        ),
        site=stage.site,
    )
    if opened.subject is None:
        raise RuntimeError("the notice of the demo was not opened")
    scope = Scope(
        clauses=(
            ScopeClause(
                products=(
                    ProductRef(standard=tap.standard, identifier=tap.identifier, name=tap.name),
                ),
                tests=(ScopeTest(kind=Said.LOTS, texts=(NOTICE_LOT,)),),
            ),
        )
    )
    said = SetScope(
        sent=_sent("scope"),
        notice_id=opened.subject,
        scope=scope_json(scope),
        read_version=0,
        source="Typed from the letter",
        at=stage.now,
    )
    set_scope(said, site=stage.site)
    stage.services.ask_notice(opened.subject, 1, scope, _sent("asked"))
    ward.count("notice")
    return str(opened.facts["number"])


def _sent(what: str) -> Sent:
    request_id = uuid5(SITE_ID, f"notice: {what}")
    return Sent(device_id=DESK.id, actor_id=DEY.id, request_id=request_id)
