"""A notice's scope from what makers send: entered, shown as understood, handed on; never saved."""

import csv
import io
import json
import re
from collections.abc import Sequence
from datetime import date
from typing import Final

from flask import Blueprint, Response, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup, escape

from traceability import scope_row_messages as words
from traceability.domain.at_the_run import EQUIPMENT_KINDS
from traceability.domain.notice_scope import DATED, Scope, ScopeClause, scope_json
from traceability.domain.people import Right
from traceability.domain.scope_check import Found, check_scope
from traceability.domain.scope_draft import Fate, Judged
from traceability.reads.scope_matches import scope_matches
from traceability.web import session
from traceability.web.filters import lot
from traceability.web.scope_form import Given, Looked, given_of, is_passed_over, look, many_fields

pages = Blueprint("scopes", __name__)

ANSWER: Final = "/recall/answer"
"""Where a scope is asked: field or parameter `scope`, as JSON."""
LONGEST_ADDRESS: Final = 2_000
"""Characters of a scope that still goes into an address; a longer one is sent as a form."""
SHOWN: Final = 100
"""Rows of one fate that a page shows; all of them are in the download."""
CLAUSES_SHOWN: Final = 40


def notice_address(number: str) -> str:
    """Return where a scope is recorded as that of a notice."""
    return f"/notices/{number}/scope"


@pages.get("/scope")
def page() -> ResponseReturnValue:
    """Show the empty form; `?notice=` remembers for what."""
    session.need(Right.ASK)
    return _form(None)


@pages.post("/scope")
def preview() -> ResponseReturnValue:
    """Show what was understood; or the form again, to scan on or to change it."""
    session.need(Right.ASK)
    many_fields(request)
    act = request.form.get("act", "")
    given = given_of(request, zone=session.services().settings.zone_info)
    scanned = bool(request.form.get("scan", "").strip())
    if act in {"edit", "more"} or (scanned and act in {"", "scan"}):
        return _form(given, more=act == "more", scanned=scanned)
    looked = look(given, today=_today())
    if looked.is_empty:
        return _form(given, empty=True), 422
    return _preview(looked)


@pages.post("/scope/rows.csv")
def rows() -> ResponseReturnValue:
    """Give every row with its fate as a table."""
    session.need(Right.ASK)
    many_fields(request)
    given = given_of(request, zone=session.services().settings.zone_info)
    looked = look(given, today=_today())
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(
        ["place", "as it stands there", "what became of it", "why", "taken as", "beside"]
    )
    for row in looked.draft.rows:
        table.writerow([_plain(cell) for cell in _cells(row)])
    response = Response("\ufeff" + out.getvalue(), mimetype="text/csv")
    response.headers["Content-Disposition"] = 'attachment; filename="scope-rows.csv"'
    return response


def _cells(row: Judged) -> tuple[str, ...]:
    entry = row.entry
    why = words.not_read_words(entry) if row.fate is Fate.NOT_READ else ""
    why = why or "; ".join(words.doubt_words(each) for each in entry.doubts)
    why = why or (f"as {row.like}" if row.like else "")
    taken = "; ".join(words.meaning_words(each) for each in row.taken)
    return entry.place, entry.given, words.FATES[row.fate], why, taken, entry.beside


def _plain(text: str) -> str:
    """Keep a spreadsheet from taking a text for a formula."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t", "\r"} else text


def _today() -> date:
    ours = session.services()
    return ours.now().astimezone(ours.settings.zone_info).date()


def _form(
    given: Given | None, *, more: bool = False, scanned: bool = False, empty: bool = False
) -> str:
    clauses = list(given.clauses) if given else []
    return render_template(
        "scope.html",
        given=given,
        notice=given.notice if given else request.args.get("notice", "")[:60],
        read_version=given.read_version if given else request.args.get("read_version", "")[:20],
        clauses=clauses,
        blocks=max(len(clauses) + more, 1),
        scanned=scanned,
        empty=empty,
        opened=more or any(not each.is_empty for each in clauses),
        kinds=EQUIPMENT_KINDS,
        nav="recall",
    )


def _preview(looked: Looked) -> str:
    ours = session.services()
    scope = looked.draft.scope
    found = check_scope(scope)
    shown = Scope(clauses=scope.clauses[:CLAUSES_SHOWN])
    with ours.reads() as reads:
        matches = scope_matches(reads, ours.site.id, shown)
    text = json.dumps(scope_json(scope), ensure_ascii=False, separators=(",", ":"))
    fates: dict[str, list[Judged]] = {str(fate): [] for fate in Fate}
    for row in looked.draft.rows:
        if len(fates[row.fate]) < SHOWN:
            fates[row.fate].append(row)
    return render_template(
        "scope_preview.html",
        looked=looked,
        given=looked.given,
        fates=fates,
        counts=looked.draft.counts,
        clauses=list(zip(shown.clauses, matches, strict=True)),
        more_clauses=len(scope.clauses) - len(shown.clauses),
        found=found,
        nothing=bool(scope.clauses) and _matches_nothing(scope, found),
        tables=[table for source in looked.sources for table in source.tables],
        words=words,
        marked=_marked,
        passed_over=is_passed_over,
        scope=text,
        by_address=len(text) <= LONGEST_ADDRESS,
        answer=ANSWER,
        notice_url=notice_address(looked.given.notice) if looked.given.notice else "",
        nav="recall",
    )


def _marked(clause: ScopeClause) -> Markup:
    """Return a clause's sentence with its lots and serials marked letter by letter."""
    tests = (*clause.tests, *clause.excepted)
    texts = {text for test in tests if test.kind not in DATED for text in test.texts[: words.SHOWN]}
    texts |= {end for test in tests if test.kind not in DATED for end in test.ends if end}
    texts |= {ref.identifier for ref in clause.products if ref.identifier}
    sentence, out, at = words.clause_words(clause), Markup(), 0
    either = "|".join(re.escape(text) for text in sorted(texts, key=len, reverse=True))
    for found in re.finditer(rf"(?<![\w-])(?:{either})(?![\w-])", sentence) if texts else ():
        out += escape(sentence[at : found.start()]) + lot(found[0])
        at = found.end()
    return out + escape(sentence[at:])


def _matches_nothing(scope: Scope, found: Sequence[Found]) -> bool:
    return {each.clause for each in found if each.matches_nothing} == set(range(len(scope.clauses)))
