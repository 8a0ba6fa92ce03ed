"""Ask which circuits contain a lot, and give the answer as page, CSV and PDF."""

from typing import Final
from uuid import UUID

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.printing.answer import render_answer
from traceability.reads.lists import site_facts
from traceability.reads.runs import patient_text
from traceability.recall.answer import Answer, answer
from traceability.recall.find import Found, find
from traceability.recall.question import Question, question_of, unknown_product
from traceability.recall_messages import (
    coverage_lines,
    head_words,
    piece_times,
    piece_where,
    piece_why,
    question_words,
    run_words,
    where_words,
    why_words,
)
from traceability.recall_papers import answer_csv, answer_sheet
from traceability.web import session
from traceability.web.forms import number_in
from traceability.web.pictures.exposure import exposure_bar, exposure_scale

pages = Blueprint("recall", __name__)


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
        "recall.html", q=text, lot=lot, found=found, candidates=candidates, a=None, nav="recall"
    )


def _address(question: Question, page: str = "recall.answered") -> str:
    return url_for(
        page,
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
    shown: list[dict[str, object]] = []

    def _add(question: Question, **what: object) -> None:
        product, url = question.products[0], _address(question)
        empty = {"lot": None, "unit": None, "alike": False}
        shown.append(empty | what | {"product": product, "url": url})

    for unit in found.units:
        _add(Question(products=(unit.product,), units=(unit,)), unit=unit)
    for lot in found.lots:
        _add(Question(products=(lot.product,), lots=(lot,)), lot=lot)
    for lot in found.look_alikes:
        _add(Question(products=(lot.product,), lots=(lot,)), lot=lot, alike=True)
    for product in found.products:
        _add(Question(products=(product,)))
    return shown


@pages.get("/recall/answer")
def answered() -> ResponseReturnValue:
    """Show the answer on its four shelves."""
    session.need(Right.ASK)
    ours = session.services()
    zone = ours.settings.zone_info
    found = _answer()
    scale = exposure_scale(found, ours.now(), zone)
    return render_template(
        "recall.html",
        q="",
        lot="",
        found=None,
        candidates=[],
        a=found,
        words={
            "question": question_words(found.question),
            "head": head_words(found),
            "coverage": coverage_lines(found, zone),
            "why": why_words,
            "run": lambda run: run_words(run, zone),
            "where": lambda row: where_words(row, zone),
            "piece_why": piece_why,
            "piece_where": piece_where,
            "piece_times": lambda row: piece_times(row, zone),
            "bar": lambda row: exposure_bar(row, scale),
        },
        scale=scale,
        as_csv=_address_of(found, "recall.table"),
        as_pdf=_address_of(found, "recall.paper"),
        may_see_patients=session.may(Right.SEE_PATIENTS),
        nav="recall",
    )


@pages.get("/recall/answer.csv")
def table() -> ResponseReturnValue:
    """Give the answer as a table, with patients only to who may see them."""
    session.need(Right.ASK)
    found, zone = _answer(), session.services().settings.zone_info
    text = answer_csv(found, zone=zone, patients=_patients(found))
    response = Response(text, mimetype="text/csv")
    response.headers["Content-Disposition"] = f'attachment; filename="{_name(found)}.csv"'
    return response


@pages.get("/recall/answer.pdf")
def paper() -> ResponseReturnValue:
    """Give the answer as A4, with patients only to who may see them."""
    session.need(Right.ASK)
    ours = session.services()
    found = _answer()
    with ours.reads() as reads:
        site = site_facts(reads)
    sheet = answer_sheet(
        found,
        unit=f"{_mark(practice=site.practice)}{site.name}, {site.unit}",
        zone=ours.settings.zone_info,
        patients=_patients(found),
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


def _address_of(found: Answer, page: str) -> str:
    """Return the same answer in another form, cut at the same entry."""
    drill = f"&drill={DRILL}" if _is_drill() else ""
    return f"{_address(found.question, page)}&as_of={found.cut.number}{drill}"


DRILL: Final = "yes"


def _is_drill() -> bool:
    """Tell whether the answer was opened from a drill: it is marked on page and paper."""
    return bool(request.args.get("drill"))


def _answer() -> Answer:
    """Answer the question of the address.

    Raises:
        BadValue: the address names no product and lot that can be looked up.
    """
    ours = session.services()
    lots, serials = _pairs("lot"), _pairs("serial")
    products = [session.key(each, "product") for each in request.args.getlist("product")]
    codes = [each.partition(":") for each in request.args.getlist("code")]
    as_of = request.args.get("as_of", "")
    as_of_no = number_in(as_of)
    if as_of and as_of_no is None:
        raise BadValue(field="entry number", value=as_of, why="no-number")
    with ours.reads() as reads:
        question = question_of(
            reads,
            products,
            lots,
            serials=serials,
            unknown=[unknown_product(reads, standard, text) for standard, _, text in codes if text],
        )
        if question is None:
            raise BadValue(field="product and lot", value="", why="empty")
        return answer(reads, question, now=ours.now(), as_of_no=as_of_no)


def _pairs(name: str) -> list[tuple[UUID, str]]:
    """Return the (product, text) pairs of the address; a text may hold colons itself."""
    pairs = [pair.partition(":") for pair in request.args.getlist(name)]
    return [(session.key(product, "product"), text) for product, _, text in pairs if text]


def _patients(found: Answer) -> dict[UUID, str]:
    if not session.may(Right.SEE_PATIENTS):
        return {}
    ours = session.services()
    with ours.reads() as reads:
        return {
            run_id: patient_text(reads, ours.site.id, run_id) or "not recorded"
            for run_id in found.run_ids
        }
