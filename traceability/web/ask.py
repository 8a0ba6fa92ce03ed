"""Ask anything: one field for a code, a number, a name or a day, and what it touches.

What was typed or scanned never stands in an address: it may be a wristband. Once it is known what
it is, the address names that; of a patient it names one of the runs.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final
from uuid import UUID

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup
from werkzeug.exceptions import NotFound

from traceability.actions.prime.personal import is_personal
from traceability.domain.people import Right
from traceability.domain.tags import LONGEST, OwnSymbol, SymbolKind, read_symbol
from traceability.domain.trace import Node, Sort, Trace
from traceability.errors import BadValue
from traceability.reads.runs import patient_text
from traceability.recall.meant import Meant, meant
from traceability.recall.meant_things import Meaning
from traceability.recall.subjects import subject_of
from traceability.recall.trace import trace
from traceability.trace_messages import (
    HEADS,
    PROBLEMS,
    SURE,
    apart_words,
    counted,
    list_head,
    more_words,
    node_detail,
    shared_words,
    subject_words,
    summary,
)
from traceability.web import session
from traceability.web.as_of import as_of
from traceability.web.forms import number_in
from traceability.web.pictures.trace_graph import Words, trace_graph
from traceability.web.pictures.trace_time import trace_counts, trace_time
from traceability.web.sign_in import badge_code

pages = Blueprint("ask", __name__)

LISTED: Final = (
    Sort.RUN,
    Sort.PATIENT,
    Sort.LOT,
    Sort.UNIT,
    Sort.GAP,
    Sort.MACHINE,
    Sort.PLACE,
    Sort.PERSON,
)
"""Lists below that of the circuits, in this order."""


@pages.get("/ask")
def page() -> ResponseReturnValue:
    """Show the one field."""
    session.need(Right.ASK)
    return _field(None)


@pages.post("/ask")
def ask() -> ResponseReturnValue:
    """Go on to what the text means, or offer what it may mean."""
    session.need(Right.ASK)
    ours, text = session.services(), request.form.get("q", "")[:LONGEST].strip()
    if not text:
        return _field(None)
    with ours.reads() as reads:
        found = meant(
            reads,
            text,
            today=ours.now().astimezone(ours.settings.zone_info).date(),
            may_see_patients=session.may(Right.SEE_PATIENTS),
            person_of_badge=_person(text),
            personal=is_personal(text),
        )
    if found.only is not None:
        return redirect(address_of(found.only))
    return _field(found)


def _person(text: str) -> UUID | None:
    """Return whose badge it is; a badge names a person and proves nothing."""
    own = read_symbol(text)
    if own is not None and not (isinstance(own, OwnSymbol) and own.kind is SymbolKind.BADGE):
        return None
    return session.door().person_of_badge(badge_code(text))


def _field(found: Meant | None) -> str:
    return render_template(
        "ask.html",
        found=found,
        offered=[(each, address_of(each)) for each in found.meanings] if found else [],
        problem=PROBLEMS.get(found.problem, "") if found else "",
        sees_patients=session.may(Right.SEE_PATIENTS),
        nav="ask",
    )


def address_of(meaning: Meaning) -> str:
    """Return where a meaning is followed."""
    return url_for("ask.follow", sort=meaning.sort, text=meaning.text, of=meaning.of or None)


@pages.get("/ask/<sort>")
def follow(sort: str) -> ResponseReturnValue:
    """Show what a thing touches; never a patient's text."""
    return _followed(sort, {})


@pages.post("/ask/<sort>")
def follow_with_patients(sort: str) -> ResponseReturnValue:
    """Show the same with the patients' references, to who may see them."""
    session.need(Right.SEE_PATIENTS)
    return _followed(sort, None)


def _followed(sort: str, texts: Mapping[str, str] | None) -> str:
    """Return the page; with no texts given, those of the patients shown are read."""
    session.need(Right.ASK)
    if sort not in set(Sort):
        raise NotFound
    sees = session.may(Right.SEE_PATIENTS)
    if sort == Sort.PATIENT:
        session.need(Right.SEE_PATIENTS)
    ours, then = session.services(), as_of()
    zone, first = ours.settings.zone_info, request.args.get("from", "0")
    start = number_in(first)
    if start is None:
        raise BadValue(field="from", value=first, why="no-number")
    with ours.reads() as reads:
        subject = subject_of(
            reads,
            Sort(sort),
            text=request.args.get("text", ""),
            of=request.args.get("of", ""),
            zone=zone,
            as_of_no=then.number,
        )
        if subject is None:
            raise NotFound
        found = trace(
            reads,
            subject,
            zone_name=ours.settings.zone,
            as_of_no=then.number,
            first=start,
            patients=sees,
        )
        if texts is None:
            people = [*found.listed(Sort.PATIENT).nodes, found.subject]
            texts = {
                node.id: patient_text(reads, ours.site.id, UUID(run.id)) or "not recorded"
                for node in people
                for run in found.listed(Sort.RUN).nodes
                if node.sort is Sort.PATIENT and run.label == node.of
            }
    title = f"{subject_words(found)} {found.subject.label}".strip()
    graph = trace_graph(_worded(found), picture_words(title), node_href)
    lanes = trace_time(found, then.at, zone, f"{title} over time", node_href)
    counts = trace_counts(found, f"{title}: circuits over time")
    return render_template(
        "trace.html",
        t=found,
        title=title,
        what=subject_words(found),
        summary=summary(found, patients=sees),
        graph=Markup(graph),  # noqa: S704 - our own drawing; its texts are escaped there
        lanes=Markup(lanes),  # noqa: S704
        counts=Markup(counts),  # noqa: S704
        lists=[(each, found.listed(each)) for each in LISTED if found.listed(each).total],
        circuits=found.listed(Sort.CIRCUIT),
        met=_met(found),
        words={
            "head": lambda kind: list_head(found, kind),
            "counted": counted,
            "sure": SURE,
            "detail": node_detail,
            "shared": shared_words,
        },
        href=node_href,
        recall=_recall(found),
        page_of=lambda number: _page(sort, number),
        texts=texts,
        sees_patients=sees,
        then=then,
        nav="ask",
    )


def _worded(found: Trace) -> Trace:
    """Return the trace with the words of what is not known in place of codes."""
    lists = dict(found.lists)
    gaps = lists.get(Sort.GAP)
    if gaps is None:
        return found
    nodes = tuple(replace(node, detail=node_detail(node.sort, node.detail)) for node in gaps.nodes)
    lists[Sort.GAP] = replace(gaps, nodes=nodes)
    return replace(found, lists=lists)


def picture_words(title: str) -> Words:
    """Return the words of a trace's picture."""
    return Words(title=f"What {title} touches", heads=HEADS, more=more_words, note=apart_words)


def _met(found: Trace) -> dict[str, list[tuple[Node, object]]]:
    """Return for each node the nodes it is linked with, and the link."""
    nodes = found.nodes
    met: dict[str, list[tuple[Node, object]]] = {}
    for link in found.links:
        met.setdefault(link.source, []).append((nodes[link.target], link))
        met.setdefault(link.target, []).append((nodes[link.source], link))
    return met


def node_href(node: Node) -> str:
    """Return where a node leads: to its own trace, from which its own page is one step."""
    match node.sort:
        case Sort.CIRCUIT | Sort.RUN:
            given = {"text": node.label}
        case Sort.LOT | Sort.UNIT:
            given = {"of": node.of, "text": node.label}
        case Sort.PATIENT:
            given = {"text": node.of}
        case Sort.MACHINE if ":" in node.id:
            kind, _, serial = node.id.partition(":")
            given = {"of": kind, "text": serial} if serial else {}
        case Sort.MACHINE | Sort.PLACE | Sort.PERSON:
            given = {"of": node.id}
        case Sort.PRODUCT:
            given = {"of": node.id, "text": node.label}
        case Sort.SPAN:
            given = {"text": node.id}
        case _:
            given = {}
    return _address(node.sort, given) if given else ""


def _address(sort: str, given: Mapping[str, str]) -> str:
    return url_for("ask.follow", sort=sort, of=given.get("of"), text=given.get("text"))


def _page(sort: str, first: int) -> str:
    """Return the address of another page of the circuits, cut at the same entry."""
    given: dict[str, Any] = {**request.args.to_dict(), "sort": sort, "from": first}
    return url_for("ask.follow", **given)


def _recall(found: Trace) -> tuple[str, str]:
    """Return the next step and its words: the recall answer, or the thing's own page."""
    node = found.subject
    match node.sort:
        case Sort.LOT:
            address = url_for("recall.answered", lot=f"{node.of}:{node.label}")
            return address, "Ask which circuits may have held it"
        case Sort.UNIT:
            address = url_for("recall.answered", serial=f"{node.of}:{node.label}")
            return address, "Ask which circuits may have held it"
        case Sort.PRODUCT:
            address = url_for("recall.answered", product=node.id)
            return address, "Ask which circuits may have held it"
        case Sort.CIRCUIT:
            return url_for("circuits.page", number=node.label), "The circuit's own page"
        case Sort.RUN:
            return url_for("runs.page", number=node.label), "The run's own page"
        case Sort.PATIENT:
            return url_for("runs.page", number=node.of), "The run's own page"
        case Sort.MACHINE if ":" not in node.id:
            return url_for("equipment.page", equipment_id=node.id), "The machine's own page"
        case _:
            return url_for("recall.ask"), "Ask about a lot or product"
