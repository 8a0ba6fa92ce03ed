"""A circuit's tag and its other labels: printed to the label printer, or opened as PDF."""

from dataclasses import replace
from typing import Final

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.circuit.keep import OrderTag, order_tag
from traceability.domain.circuits import Phase
from traceability.domain.people import Right
from traceability.domain.tags import circuit_symbol
from traceability.messages import say_limit
from traceability.printing.label import Label
from traceability.printing.label_file import load_label
from traceability.printing.notices import NoticeFacts, print_notice
from traceability.printing.paper import Printed
from traceability.printing.queue import NotPrinted, send_to_queue
from traceability.printing.raster import as_png
from traceability.printing.samples import label_names
from traceability.printing.tags import print_tag
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import site_facts
from traceability.reads.tags import tag_facts
from traceability.security.tag_keys import tag_signer
from traceability.web import session
from traceability.web.forms import number_in
from traceability.web.labels import as_pdf, asked_dpi
from traceability.web.prime import the_circuit

pages = Blueprint("circuit_labels", __name__)

MOST_COPIES: Final = 9999


@pages.post("/circuits/<number>/tag")
def order(number: str) -> ResponseReturnValue:
    """Order the tag and show it; a second one is a copy and says so, whichever its size."""
    circuit, size = the_circuit(number), request.form.get("size", "")
    _label_of_size(size)
    done = order_tag(
        OrderTag(
            sent=session.sent(request.form.get("request_id")),
            circuit_id=circuit.id,
            at=session.services().now(),
        ),
        site=session.site(),
    )
    copy = _copy(str(done.facts["copy"]))
    ours = session.services().settings
    if ours.label_queue:
        made = _printed(circuit, size, copy)
        try:
            send_to_queue(
                made, queue=ours.label_queue, title=circuit.number, graphics=ours.label_graphics
            )
        except NotPrinted as wrong:
            return _sent(circuit, size, copy, str(wrong)), 503
        return _sent(circuit, size, copy, "")
    return redirect(
        url_for("circuit_labels.tag", number=circuit.number, copy=copy, size=size or None)
    )


def _sent(circuit: CircuitFacts, size: str, copy: int, trouble: str) -> str:
    """Say where the tag went; it can be opened whatever became of the printer."""
    queue = session.services().settings.label_queue
    return render_template(
        "tag_sent.html",
        c=circuit,
        size=size,
        copy=copy,
        queue=queue,
        trouble=trouble,
        nav="shelf",
    )


@pages.get("/circuits/<number>/tag.pdf")
def tag(number: str) -> ResponseReturnValue:
    """Give the tag as a PDF in exact millimetres; `size` names another label of a circuit."""
    session.need(Right.ACT)
    made = _printed(the_circuit(number), request.args.get("size", ""), _copy_asked())
    return as_pdf(made, number)


@pages.get("/circuits/<number>/tag.png")
def tag_png(number: str) -> ResponseReturnValue:
    """Give the tag's dots as a picture: the very dots that a label printer gets."""
    session.need(Right.ACT)
    made = _printed(the_circuit(number), request.args.get("size", ""), _copy_asked())
    return Response(as_png(made.pages[0], made.dpi), mimetype="image/png")


def _printed(circuit: CircuitFacts, size: str, copy: int) -> Printed:
    ours = session.services()
    if circuit.standing.phase is Phase.PRIMING:
        raise NotFound
    label = _label_of_size(size)
    with ours.reads() as reads:
        facts = tag_facts(
            reads,
            circuit,
            zone=ours.settings.zone_info,
            copy=copy,
            reason=say_limit(circuit.decides),
        )
    facts = replace(facts, symbol=ours.own_keys.carrying(facts.symbol))
    return print_tag(facts, dpi=asked_dpi(), label=label, sign=tag_signer(ours.keys))


def _label_of_size(name: str) -> Label | None:
    """Return the label of a circuit by that name; None: the usual one."""
    label = load_label(name) if name in label_names() else None
    if label is not None and label.of != "circuit":
        raise NotFound
    return label


@pages.get("/circuits/<number>/notice/<name>.pdf")
def notice(number: str, name: str) -> ResponseReturnValue:
    """Give a label that says what the circuit is not for."""
    session.need(Right.ACT)
    circuit, ours = the_circuit(number), session.services()
    if name not in label_names() or load_label(name).of != "notice":
        raise NotFound
    with ours.reads() as reads:
        site = site_facts(reads)
    facts = NoticeFacts(
        number=circuit.number,
        kind=" · ".join(each for each in (circuit.circuit_type, circuit.place) if each),
        reason=_why(circuit, name),
        printed_at=ours.now(),
        zone=ours.settings.zone_info,
        site_name=site.name,
        unit=site.unit,
        ring=site.ring,
        practice=site.practice,
        symbol=ours.own_keys.carrying(circuit_symbol(site.code, circuit.number)),
    )
    return as_pdf(print_notice(name, facts, dpi=asked_dpi()), f"{number}-{name}")


def _why(circuit: CircuitFacts, name: str) -> str:
    if name == "contents_not_recorded":
        return "No lot can be excluded for this circuit."
    return circuit.hold if name == "on_hold" else ""


def _copy_asked() -> int:
    return _copy(request.args.get("copy"))


def _copy(text: str | None) -> int:
    number = number_in(text or "") or 0
    return number if number <= MOST_COPIES else 0
