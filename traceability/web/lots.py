"""A lot's page: when it came, the circuits and runs it met, holds, and where it is now."""

from uuid import UUID

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue
from markupsafe import Markup
from werkzeug.exceptions import NotFound

from traceability.domain.people import Right
from traceability.reads.lots import lot_facts
from traceability.recall.answer import answer
from traceability.recall.question import question_of
from traceability.recall_messages import run_words, where_words
from traceability.web import session
from traceability.web.happened import shown
from traceability.web.pictures.lot_life import lot_life

pages = Blueprint("lots", __name__)


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
        found = answer(reads, question, now=ours.now())
    drawn = lot_life(lot, found, ours.now(), zone)
    return render_template(
        "lot.html",
        lot=lot,
        product=question.products[0],
        rows=found.confirmed,
        doubt=len(found.cannot_be_excluded),
        happenings=[shown(each, lot.circuits) for each in lot.told],
        timeline_svg=Markup(drawn),  # noqa: S704 - our own drawing; its texts are escaped there
        run_words=lambda run: run_words(run, zone),
        where_words=lambda row: where_words(row, zone),
        nav="recall",
    )
