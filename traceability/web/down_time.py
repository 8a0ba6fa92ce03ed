"""Down-time: sheets printed ahead, and primes entered afterwards from paper."""

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.prime.late import enter_prime_late
from traceability.actions.prime.sheets_ahead import MOST_SHEETS, PrintSheets, print_sheets
from traceability.domain.papers import DownTimePaper
from traceability.domain.people import Right
from traceability.domain.sheets import Need, Sheet, Where
from traceability.domain.tags import (
    OwnSymbol,
    SymbolKind,
    circuit_symbol,
    form_symbol,
    read_symbol,
    site_and_name,
)
from traceability.errors import BadValue, NotOnPaper, PartsMissing, Refused, UnknownCode
from traceability.printing.down_time import render_down_time
from traceability.reads.lists import sheets, site_facts
from traceability.reads.moves import is_reserved, papers_out
from traceability.web import session
from traceability.web.forms import whole
from traceability.web.late_form import WITHOUT, asked_of_form, late_form, placed
from traceability.web.lines import Draft, given_lines, stepped
from traceability.web.papers import pdf
from traceability.web.prime import tag_number, the_circuit

pages = Blueprint("down_time", __name__)


@pages.get("/down-time")
def page() -> ResponseReturnValue:
    """Scan a sheet to enter it, see which are out, print more."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        out = papers_out(reads, ours.site.id)
        types = [sheet.circuit_type for sheet in sheets(reads, ours.site.id)]
    return render_template("down_time.html", papers=out, types=types, most=MOST_SHEETS, nav="prime")


@pages.get("/down-time/find")
def find() -> ResponseReturnValue:
    """Go to the late entry of a sheet, or to its circuit once it is entered."""
    session.need(Right.ACT)
    if not request.args.get("sheet", "").strip():
        return redirect(url_for("down_time.page"))
    number = sheet_number(request.args["sheet"])
    if _is_entered(number):
        return redirect(url_for("circuits.page", number=number))
    _require_open(number)
    return redirect(url_for("down_time.entry", number=number))


def _is_entered(number: str) -> bool:
    """Tell whether the prime of that number is recorded, from its sheet or otherwise."""
    try:
        return the_circuit(number).ended_at is not None
    except UnknownCode:
        return False


def sheet_number(text: str) -> str:
    """Return the circuit number of a down-time sheet's symbol, a tag's, or one that was typed.

    Raises:
        UnknownCode: it is none of ours.
    """
    ours = session.services()
    with ours.reads() as reads:
        code = site_facts(reads).code
    own = read_symbol(text.strip())
    if isinstance(own, OwnSymbol) and own.kind is SymbolKind.FORM:
        site, number = site_and_name(own.body)
        if site == code:
            return number
    number, is_ours = tag_number(text, code)
    if not is_ours:
        raise UnknownCode(what="down-time sheet", value=text.strip()[:60])
    return number


@pages.post("/down-time/sheets")
def print_more() -> ResponseReturnValue:
    """Give numbers out and show the sheets."""
    asked = PrintSheets(
        sent=session.sent(request.form.get("request_id")),
        count=whole("count"),
        at=session.services().now(),
    )
    done = print_sheets(asked, site=session.site())
    numbers = done.facts["numbers"]
    given = [str(each) for each in numbers] if isinstance(numbers, (list, tuple)) else []
    circuit_type = request.form.get("circuit_type", "") or None
    return redirect(url_for("down_time.paper", number=given, circuit_type=circuit_type))


@pages.get("/down-time/sheets.pdf")
def paper() -> ResponseReturnValue:
    """Give sheets whose numbers were given out; printed again, they are the same."""
    session.need(Right.ACT)
    ours, numbers = session.services(), request.args.getlist("number")[:MOST_SHEETS]
    name = request.args.get("circuit_type", "")
    with ours.reads() as reads:
        site = site_facts(reads)
        found = [each for each in sheets(reads, ours.site.id) if each.circuit_type == name]
        for number in numbers:
            if not is_reserved(reads, ours.site.id, number):
                raise NotOnPaper(number=number)
    if not numbers:
        raise BadValue(field="number", value="", why="empty")
    return pdf(
        render_down_time(
            DownTimePaper(
                unit=site.unit,
                site=site.name,
                ring=site.ring,
                number=number.upper(),
                sheet_symbol=ours.own_keys.carrying(form_symbol(site.code, number.upper())),
                tag_symbol=ours.own_keys.carrying(circuit_symbol(site.code, number.upper())),
                circuit_type=name if found else "",
                places=tuple(_boxes(found[0])) if found else (),
                ticks=tuple(
                    f"{slot.name}{f' × {slot.count}' if slot.count > 1 else ''}"
                    for sheet in found
                    for slot in sheet.slots
                    if slot.need is Need.TICK
                ),
                practice=site.practice,
            )
            for number in numbers
        ),
        "down-time-sheets",
    )


def _boxes(sheet: Sheet) -> list[str]:
    """Return the places that need a sticker: what is inside the pack has none of its own."""
    return [
        f"{slot.name}{f', {ordinal} of {slot.count}' if slot.count > 1 else ''}"
        for slot in sheet.slots
        if slot.need is not Need.TICK and not (slot.inside_pack and slot.where is not Where.PACK)
        for ordinal in range(1, slot.count + 1)
    ]


@pages.get("/down-time/<number>")
def entry(number: str) -> ResponseReturnValue:
    """Show the form for a prime from paper."""
    session.need(Right.ACT)
    if number != WITHOUT and _is_entered(number):
        return redirect(url_for("circuits.page", number=number.upper()))
    _require_open(number)
    return late_form(number, Draft())


@pages.post("/down-time/<number>")
def enter(number: str) -> ResponseReturnValue:
    """Add a part to the form, or enter all of it as one act."""
    session.need(Right.ACT)
    _require_open(number)
    try:
        draft = stepped()
        if draft is not None:
            return late_form(number, placed(draft))
        done = enter_prime_late(asked_of_form(number), site=session.site())
    except PartsMissing as missing:
        return late_form(number, Draft(lines=given_lines()), missing)
    except Refused as refused:
        return late_form(number, Draft(lines=given_lines()), refused)
    return redirect(url_for("prime.sign_page", number=done.facts["number"]))


def _require_open(number: str) -> None:
    if number == WITHOUT:
        return
    ours = session.services()
    with ours.reads() as reads:
        if not is_reserved(reads, ours.site.id, number):
            raise NotOnPaper(number=number[:20])
