"""A lot's page: when it came, the circuits and runs it met, holds, and where it is now."""

from typing import Final
from uuid import UUID

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue
from markupsafe import Markup
from werkzeug.exceptions import NotFound

from traceability.domain.exposure import Shelf
from traceability.domain.people import Right
from traceability.reads.lots import lot_facts
from traceability.recall.answer import answer
from traceability.recall.circuits_seen import circuits
from traceability.recall.question import question_of, scope_of
from traceability.recall_messages import met_words, where_words
from traceability.web import session
from traceability.web.happened import shown
from traceability.web.pictures.lot_life import lot_life

pages = Blueprint("lots", __name__)

MOST_ROWS: Final = 200
"""Circuits in the list; all of them stand in the recall answer."""


@pages.get("/lots/<uuid:product>/<path:text>")
def page(product: UUID, text: str) -> ResponseReturnValue:
    """Show one lot; never a patient's text."""
    session.need(Right.ACT)
    ours = session.services()
    zone = ours.settings.zone_info
    with ours.reads() as reads:
        lot = lot_facts(reads, ours.site.id, product, text)
        question = question_of(reads, [], [(product, text)])
        if lot is None or question is None:
            raise NotFound
        found = answer(reads, scope_of(question), zone=zone, now=ours.now())
        rows = found.circuits_on(Shelf.CONFIRMED)
        seen = circuits(reads, [row.circuit_id for row in rows[:MOST_ROWS]], found.cut)
    drawn = lot_life(lot, rows[:MOST_ROWS], seen, ours.now(), zone)
    return render_template(
        "lot.html",
        lot=lot,
        product=question.products[0],
        rows=rows[:MOST_ROWS],
        more=max(len(rows) - MOST_ROWS, 0),
        doubt=len(found.circuits) - len(rows),
        happenings=[shown(each, lot.circuits) for each in lot.told],
        timeline_svg=Markup(drawn),  # noqa: S704 - our own drawing; its texts are escaped there
        met_words=lambda met: met_words(met, zone),
        where_words=lambda row: where_words(seen[row.circuit_id], zone),
        nav="recall",
    )
