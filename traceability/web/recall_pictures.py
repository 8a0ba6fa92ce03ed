"""A recall answer as pictures: who met it and how, and when."""

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from traceability.domain.people import Right
from traceability.recall.answer_trace import trace_of
from traceability.recall_messages import head_words
from traceability.scope_messages import question_words, subject_words
from traceability.web import session
from traceability.web.ask import node_href, picture_words
from traceability.web.pictures.trace_graph import trace_graph
from traceability.web.pictures.trace_time import trace_counts, trace_time
from traceability.web.recall import asked_answer

pages = Blueprint("recall_pictures", __name__)


@pages.route("/recall/answer/pictures", methods=["GET", "POST"])
def pictures() -> ResponseReturnValue:
    """Show the answer of the address or form as graph and timeline; patients stand as runs."""
    session.need(Right.ASK)
    ours = session.services()
    zone = ours.settings.zone_info
    with ours.reads() as reads:
        found = asked_answer(reads)
    title = subject_words(found.scope, found.products)
    trace = trace_of(found, title, patients=False)
    graph = trace_graph(trace, picture_words(title), node_href)
    lanes = trace_time(trace, found.known_at, zone, f"{title} over time", node_href)
    counts = trace_counts(trace, f"{title}: circuits over time")
    return render_template(
        "answer_pictures.html",
        head=head_words(found),
        question=question_words(found.scope, found.products, zone),
        graph=Markup(graph),  # noqa: S704 - our own drawing; its texts are escaped there
        lanes=Markup(lanes),  # noqa: S704
        counts=Markup(counts),  # noqa: S704
        digest=found.digest,
        nav="recall",
    )
