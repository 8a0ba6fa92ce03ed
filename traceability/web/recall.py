"""Ask which circuits contain a lot, and give the answer as page, CSV and PDF."""

import json
from collections.abc import Iterator
from uuid import UUID

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from sqlalchemy.orm import Session

from traceability import recall_messages as words
from traceability.domain.exposure import Shelf
from traceability.domain.notice_scope import BadScope, Scope, read_scope, scope_json
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.printing.answer import render_answer
from traceability.reads.lists import site_facts
from traceability.reads.runs import patient_text
from traceability.recall.answer import answer
from traceability.recall.answered import Answer
from traceability.recall.circuits_seen import circuits
from traceability.recall.find import Found, find
from traceability.recall.question import Question, question_of, scope_of, unknown_product
from traceability.recall.shown import ON_A_PAGE, Shown, all_circuits, shown
from traceability.recall_papers import MOST_ON_PAPER, answer_csv, answer_sheet
from traceability.scope_messages import question_words
from traceability.web import session
from traceability.web.forms import number_in
from traceability.web.pictures.exposure import exposure_bar, exposure_scale, times_bar

pages = Blueprint("recall", __name__)

MARKS = {Shelf.CONFIRMED: "known", Shelf.INFERRED: "khalf", Shelf.CANNOT_BE_EXCLUDED: "open"}


@pages.get("/recall")
def ask() -> ResponseReturnValue:
    """Take a scan, or a product and a lot; show what it can mean, or go to the answer."""
    session.need(Right.ASK)
    text, lot = request.args.get("q", ""), request.args.get("lot", "")
    found = None
    if text or lot:
        ours = session.services()
        today = ours.now().astimezone(ours.settings.zone_info).date()
        with ours.reads() as reads:
            found = find(reads, text[:400], lot[:400], today=today)
        if found.exact is not None and not found.look_alikes:
            return redirect(_address(found.exact))
    candidates = _candidates(found) if found else []
    return render_template(
        "recall.html", q=text, lot=lot, found=found, candidates=candidates, nav="recall"
    )


def _address(question: Question) -> str:
    return url_for(
        "recall.answered",
        code=[
            f"{product.standard}:{product.identifier}"
            for product in question.products
            if not product.known
        ],
        product=[str(product.id) for product in question.whole if product.known],
        lot=[f"{lot.product.id}:{lot.text}" for lot in question.lots],
        serial=[f"{unit.product.id}:{unit.serial}" for unit in question.units],
    )


def _candidates(found: Found) -> list[dict[str, object]]:
    listed: list[dict[str, object]] = []

    def _add(question: Question, **what: object) -> None:
        product, url = question.products[0], _address(question)
        empty = {"lot": None, "unit": None, "alike": False}
        listed.append(empty | what | {"product": product, "url": url})

    for unit in found.units:
        _add(Question(products=(unit.product,), units=(unit,)), unit=unit)
    for lot in found.lots:
        _add(Question(products=(lot.product,), lots=(lot,)), lot=lot)
    for lot in found.look_alikes:
        _add(Question(products=(lot.product,), lots=(lot,)), lot=lot, alike=True)
    for product in found.products:
        _add(Question(products=(product,)))
    return listed


@pages.route("/recall/answer", methods=["GET", "POST"])
def answered() -> ResponseReturnValue:
    """Show the answer on its four shelves; a long scope comes by POST."""
    session.need(Right.ASK)
    ours = session.services()
    zone = ours.settings.zone_info
    with ours.reads() as reads:
        found = asked_answer(reads)
        page = shown(reads, found, _starts())
    scale = exposure_scale(
        [row for each in page.circuits.values() for row in each], ours.now(), zone
    )
    return render_template(
        "answer.html",
        a=found,
        page=page,
        shelves=[(shelf, MARKS[shelf]) for shelf in MARKS],
        words=words,
        zone=zone,
        question=question_words(found.scope, found.products, zone),
        bar=lambda row: exposure_bar(row, page.seen[row.circuit_id], scale),
        times_bar=lambda row: times_bar(row, scale),
        scale=scale,
        parts_of=lambda name, total: _parts_of(page, name, total),
        scope=json.dumps(scope_json(found.scope)),
        may_see_patients=session.may(Right.SEE_PATIENTS),
        nav="recall",
    )


def _starts() -> dict[str, int]:
    """Return which rows of which list are asked for: "from" is "circuits confirmed:40"."""
    name, _, number = request.values.get("from", "").rpartition(":")
    start = number_in(number) or 0
    return {name: start} if name else {}


def _parts_of(page: Shown, name: str, total: int) -> dict[str, object] | None:
    """Return how a list that is longer than a page goes on; None where it is all there."""
    start = page.starts.get(name, 0)
    if total <= ON_A_PAGE:
        return None
    return {
        "first": start + 1,
        "last": min(start + ON_A_PAGE, total),
        "total": total,
        "before": max(start - ON_A_PAGE, 0) if start else None,
        "after": start + ON_A_PAGE if start + ON_A_PAGE < total else None,
    }


@pages.route("/recall/answer.csv", methods=["GET", "POST"])
def table() -> ResponseReturnValue:
    """Give the answer as a table, with patients only to who may see them; sent as it is made."""
    session.need(Right.ASK)
    ours = session.services()
    zone = ours.settings.zone_info
    with ours.reads() as reads:
        found = asked_answer(reads)
        patients = _patients(reads, found)

    def _sent() -> Iterator[str]:
        with ours.reads() as again:
            yield from answer_csv(found, all_circuits(again, found), zone=zone, patients=patients)

    response = Response(_sent(), mimetype="text/csv")
    response.headers["Content-Disposition"] = f'attachment; filename="{_name(found)}.csv"'
    return response


@pages.route("/recall/answer.pdf", methods=["GET", "POST"])
def paper() -> ResponseReturnValue:
    """Give the answer as A4, with patients only to who may see them."""
    session.need(Right.ASK)
    ours = session.services()
    with ours.reads() as reads:
        found = asked_answer(reads)
        site = site_facts(reads)
        rows = [row for shelf in Shelf for row in found.circuits_on(shelf)[:MOST_ON_PAPER]]
        sheet = answer_sheet(
            found,
            unit=f"{_mark(practice=site.practice)}{site.name}, {site.unit}",
            zone=ours.settings.zone_info,
            seen=circuits(reads, [row.circuit_id for row in rows], found.cut),
            patients=_patients(reads, found),
            places=shown(reads, found, {}).places,
        )
    response = Response(render_answer(sheet), mimetype="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="{_name(found)}.pdf"'
    return response


def _name(found: Answer) -> str:
    """Return the name of a file that holds the answer."""
    return f"{'drill-' if _is_drill() else ''}answer-{found.digest}"


def _mark(*, practice: bool) -> str:
    """Return what stands before the unit's name on paper."""
    drill = "DRILL, no notice. " if _is_drill() else ""
    return f"{'PRACTICE, nothing is real. ' if practice else ''}{drill}"


def _is_drill() -> bool:
    """Tell whether the answer was opened from a drill: it is marked on page and paper."""
    return bool(request.values.get("drill"))


def asked_answer(reads: Session) -> Answer:
    """Answer the question of the address or form.

    Raises:
        BadValue: it names no product and lot that can be looked up.
    """
    ours = session.services()
    as_of = request.values.get("as_of", "")
    as_of_no = number_in(as_of)
    if as_of and as_of_no is None:
        raise BadValue(field="entry number", value=as_of, why="no-number")
    zone = ours.settings.zone_info
    return answer(reads, _scope(reads), zone=zone, now=ours.now(), as_of_no=as_of_no)


def _scope(reads: Session) -> Scope:
    given = request.values.get("scope", "")
    if given:
        try:
            return read_scope(json.loads(given))
        except (BadScope, ValueError, RecursionError) as error:
            raise BadValue(field="scope", value=str(error), why="no-scope") from None
    codes = [each.partition(":") for each in request.args.getlist("code")]
    question = question_of(
        reads,
        [session.key(each, "product") for each in request.args.getlist("product")],
        _pairs("lot"),
        serials=_pairs("serial"),
        unknown=[unknown_product(reads, standard, text) for standard, _, text in codes if text],
    )
    if question is None:
        raise BadValue(field="product and lot", value="", why="empty")
    return scope_of(question)


def _pairs(name: str) -> list[tuple[UUID, str]]:
    """Return the (product, text) pairs of the address; a text may hold colons itself."""
    pairs = [pair.partition(":") for pair in request.args.getlist(name)]
    return [(session.key(product, "product"), text) for product, _, text in pairs if text]


def _patients(reads: Session, found: Answer) -> dict[UUID, str]:
    if not session.may(Right.SEE_PATIENTS):
        return {}
    site_id = session.services().site.id
    return {
        run_id: patient_text(reads, site_id, run_id) or "not recorded" for run_id in found.run_ids
    }
