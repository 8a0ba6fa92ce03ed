"""Circuits that come from other hospitals, go to them, or go out with the retrieval team."""

from uuid import uuid5

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.circuit.foreign import TakeInForeign, take_in_foreign
from traceability.actions.circuit.foreign_list import ListForeign, list_foreign
from traceability.actions.circuit.listed_parts import ListedPart, lines_of
from traceability.actions.circuit.tag_list import is_whole, lines_of_tag
from traceability.actions.once import Sent
from traceability.actions.run.transfer_out import TransferOut, transfer_out
from traceability.domain.circuits import Origin
from traceability.domain.contents_file import (
    MOST_BYTES,
    ContentsFile,
    digest_of,
    read_file,
    write_file,
)
from traceability.domain.file_fields import NotReadable
from traceability.domain.people import Right
from traceability.errors import BadFile, BadValue, PrimedHere, Refused
from traceability.messages import say_refusal
from traceability.moves_messages import BEYOND, CAUTION
from traceability.reads.circuits import CircuitFacts
from traceability.reads.lists import kinds_in_use, site_facts
from traceability.reads.moves import contents_facts
from traceability.reads.tag_texts import Says
from traceability.web import session
from traceability.web.errors import status_of
from traceability.web.forms import checked, moment_of
from traceability.web.lines import Draft, Line, given_lines, known_products, stepped
from traceability.web.papers import circuit_paper
from traceability.web.prime import the_circuit
from traceability.web.tag_text import stated_by

pages = Blueprint("moves", __name__)


@pages.get("/circuits/<number>/list")
def list_page(number: str) -> ResponseReturnValue:
    """Show the list as far as it is known, to be added to."""
    session.need(Right.ACT)
    circuit = _foreign(number)
    return _list_page(circuit, Draft(lines=_known_lines(circuit)))


@pages.post("/circuits/<number>/list")
def save_list(number: str) -> ResponseReturnValue:
    """Add a part to the list on the page, or send all of it as one act."""
    session.need(Right.ACT)
    circuit = _foreign(number)
    try:
        draft = stepped(circuit_id=circuit.id)
        if draft is not None:
            return _list_page(circuit, draft)
        asked = ListForeign(
            sent=session.sent(request.form.get("request_id")),
            circuit_id=circuit.id,
            parts=tuple(_listed(line) for line in given_lines()),
            complete=checked("complete"),
            source=request.form.get("source", ""),
            at=session.services().now(),
        )
        list_foreign(asked, site=session.site())
    except Refused as refused:
        return _list_page(circuit, Draft(lines=given_lines()), refused)
    return redirect(url_for("circuits.page", number=circuit.number))


def _foreign(number: str) -> CircuitFacts:
    circuit = the_circuit(number)
    if circuit.origin != Origin.FOREIGN:
        raise PrimedHere(number=circuit.number)
    return circuit


def _known_lines(circuit: CircuitFacts) -> tuple[Line, ...]:
    """Return what the newest list says, so that a new one adds to it."""
    return tuple(
        Line(
            kind=part.kind,
            name=part.name,
            maker=part.maker,
            product=str(part.product_id) if part.product_id else "",
            lot=part.lot or "",
            serial=part.serial or "",
            expiry=part.expiry or "",
            state=str(part.state),
            known=part.known,
        )
        for part in circuit.now_in
        if part.known == "stated"
    )


def _listed(line: Line) -> ListedPart:
    return ListedPart(
        kind=line.kind,
        product_id=line.product_id,
        lot_text=line.lot or None,
        serial=line.serial or None,
        expiry=line.expiry or None,
        volume_ml=line.volume or None,
        state=line.state,
    )


def _list_page(
    circuit: CircuitFacts, draft: Draft, refused: Refused | None = None
) -> ResponseReturnValue:
    ours = session.services()
    with ours.reads() as reads:
        kinds = kinds_in_use(reads, ours.site.id)
    page = render_template(
        "foreign_list.html",
        c=circuit,
        lines=(*draft.lines, *draft.added),
        draft=draft,
        products=known_products(),
        kinds=kinds,
        source=request.form.get("source", circuit.listed.source if circuit.listed else ""),
        complete=checked("complete"),
        flash=say_refusal(refused, ours.settings.zone_info) if refused else None,
        nav="shelf",
    )
    return page, status_of(refused) if refused else 200


@pages.post("/circuits/<number>/list-file")
def list_file(number: str) -> ResponseReturnValue:
    """Take in the sending hospital's file for a circuit that is here already."""
    session.need(Right.ACT)
    circuit = _foreign(number)
    contents, digest = _uploaded()
    _take_in(contents, digest, circuit, session.sent(request.form.get("request_id")))
    return redirect(url_for("circuits.page", number=circuit.number))


@pages.post("/circuits/<number>/list-tag")
def list_tag(number: str) -> ResponseReturnValue:
    """Take over what the circuit's own tag lists, as the sending hospital's list."""
    session.need(Right.ACT)
    circuit = _foreign(number)
    stated = stated_by(circuit.sender)
    if stated is None:
        raise BadValue(field="tag with a list of contents", value="", why="empty")
    read = stated.read
    whose = stated.site or "a site we do not know"
    asked = ListForeign(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        parts=lines_of_tag(read),
        # What nobody known here has signed may have been changed: no lot is excluded by it.
        complete=stated.says is Says.KNOWN and is_whole(read),
        source=f"{whose}, by its tag {read.number}",
        at=session.services().now(),
        as_it_stands=True,
    )
    list_foreign(asked, site=session.site())
    return redirect(url_for("circuits.page", number=circuit.number))


@pages.post("/foreign/file")
def foreign_file() -> ResponseReturnValue:
    """Take in a circuit with the file that came with it."""
    session.need(Right.ACT)
    contents, digest = _uploaded()
    sent = session.sent(request.form.get("request_id"))
    done = take_in_foreign(
        TakeInForeign(
            sent=sent,
            sender=f"{_source(contents)}, there {contents.number}",
            place_id=session.key_or_none(request.form.get("place_id"), "place"),
            at=moment_of("at"),
        ),
        site=session.site(),
    )
    circuit = the_circuit(str(done.facts["number"]))
    again = Sent(
        device_id=sent.device_id,
        actor_id=sent.actor_id,
        request_id=uuid5(sent.request_id, "its list"),
        unsaid=sent.unsaid,
    )
    _take_in(contents, digest, circuit, again)
    return redirect(url_for("circuits.page", number=circuit.number))


def _uploaded() -> tuple[ContentsFile, str]:
    """Return what the file of the form says.

    Raises:
        BadFile: it cannot be taken, says why. Nothing was written.
    """
    given = request.files.get("file")
    data = given.stream.read(MOST_BYTES + 1) if given else b""
    try:
        contents, digest = read_file(data)
    except NotReadable as wrong:
        raise BadFile(fault=wrong.fault, where=wrong.field) from None
    ours = session.services()
    with ours.reads() as reads:
        site = site_facts(reads)
    if contents.practice != site.practice:
        raise BadFile(fault="practice" if contents.practice else "real", where="")
    if (contents.site_code, contents.site) == (site.code, site.name):
        raise BadFile(fault="own", where="")
    return contents, digest


def _source(contents: ContentsFile) -> str:
    return ", ".join(word for word in (contents.site, contents.unit) if word)[:150]


def _take_in(contents: ContentsFile, digest: str, circuit: CircuitFacts, sent: Sent) -> None:
    asked = ListForeign(
        sent=sent,
        circuit_id=circuit.id,
        parts=lines_of(contents),
        complete=contents.complete,
        source=_source(contents),
        at=session.services().now(),
        file_digest=digest,
    )
    list_foreign(asked, site=session.site())


@pages.get("/circuits/<number>/transfer")
def transfer_page(number: str) -> ResponseReturnValue:
    """Ask where it goes, and give the papers that go with it."""
    session.need(Right.ACT)
    return render_template("transfer.html", c=the_circuit(number), nav="shelf")


@pages.post("/circuits/<number>/transfer")
def transfer(number: str) -> ResponseReturnValue:
    """Record that it left."""
    circuit = the_circuit(number)
    asked = TransferOut(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        to=request.form.get("to", ""),
        at=moment_of("at"),
    )
    transfer_out(asked, site=session.site())
    return redirect(url_for("moves.transfer_page", number=circuit.number))


@pages.get("/circuits/<number>/contents.json")
def contents_json(number: str) -> ResponseReturnValue:
    """Give the contents as a file that another hospital can read."""
    session.need(Right.ACT)
    circuit, ours = the_circuit(number), session.services()
    with ours.reads() as reads:
        data = write_file(contents_facts(reads, ours.site.id, circuit.id))
    answer = Response(data, mimetype="application/json")
    name = f"{circuit.number}-contents.json"
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@pages.get("/circuits/<number>/hand-over.pdf")
def hand_over(number: str) -> ResponseReturnValue:
    """Give the sheet for the receiving hospital."""
    session.need(Right.ACT)
    circuit, ours = the_circuit(number), session.services()
    with ours.reads() as reads:
        digest = digest_of(contents_facts(reads, ours.site.id, circuit.id))
    told = f"{ours.now():%Y-%m-%d %H:%M} UTC"
    return circuit_paper(
        circuit,
        title="Hand-over of a circuit",
        head="This circuit comes with the list of its contents. Keep it with your own record.",
        facts=(),
        blanks=("Handed over at", "Zone", "Handed over by", "Received by"),
        caution=f"{CAUTION} {BEYOND}",
        foot=f"As known on {told}. Digest of the contents file {digest[:16]}",
    )
