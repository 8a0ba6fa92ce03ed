"""Down-time: sheets printed ahead, and primes entered afterwards from paper."""

from dataclasses import replace

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.prime.late import EnterPrimeLate, LatePart, enter_prime_late
from traceability.actions.prime.sheets_ahead import MOST_SHEETS, PrintSheets, print_sheets
from traceability.domain.in_place import InPlace, free_places
from traceability.domain.papers import DownTimePaper
from traceability.domain.parts import Known, PartState
from traceability.domain.people import Right
from traceability.domain.sheets import Need, Sheet, Slot, Where
from traceability.domain.tags import (
    OwnSymbol,
    SymbolKind,
    circuit_symbol,
    read_symbol,
    site_and_name,
    write_symbol,
)
from traceability.domain.trolley import FLUID_KIND, PACK_KIND
from traceability.errors import BadValue, NotOnPaper, PartsMissing, Refused, UnknownCode
from traceability.messages import say_refusal
from traceability.printing.down_time import render_down_time
from traceability.reads.lists import people, places, sheets, site_facts
from traceability.reads.moves import is_reserved, papers_out
from traceability.web import session
from traceability.web.errors import status_of
from traceability.web.forms import checked, moment_of, thousandths, whole
from traceability.web.lines import Draft, Line, given_lines, known_products, stepped
from traceability.web.papers import pdf
from traceability.web.prime import STANDS_IN, tag_number, the_circuit

pages = Blueprint("down_time", __name__)

WITHOUT: str = "new"
"""In an address: a paper that is none of our sheets."""


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
    number = sheet_number(request.args.get("sheet", ""))
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
                sheet_symbol=write_symbol(SymbolKind.FORM, f"{site.code}.{number.upper()}"),
                tag_symbol=circuit_symbol(site.code, number.upper()),
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
    return _form(number, Draft())


@pages.post("/down-time/<number>")
def enter(number: str) -> ResponseReturnValue:
    """Add a part to the form, or enter all of it as one act."""
    session.need(Right.ACT)
    _require_open(number)
    try:
        draft = stepped()
        if draft is not None:
            return _form(number, _placed(draft))
        done = enter_prime_late(_asked(number), site=session.site())
    except PartsMissing as missing:
        return _form(number, Draft(lines=given_lines()), missing)
    except Refused as refused:
        return _form(number, Draft(lines=given_lines()), refused)
    return redirect(url_for("prime.sign_page", number=done.facts["number"]))


def _require_open(number: str) -> None:
    if number == WITHOUT:
        return
    ours = session.services()
    with ours.reads() as reads:
        if not is_reserved(reads, ours.site.id, number):
            raise NotOnPaper(number=number[:20])


def _sheet() -> Sheet | None:
    """Return the sheet of the type chosen on the form; the only one where there is one."""
    ours = session.services()
    with ours.reads() as reads:
        found = sheets(reads, ours.site.id)
    chosen = request.values.get("circuit_type", "")
    named = [each for each in found if each.circuit_type == chosen]
    return named[0] if named else found[0] if len(found) == 1 else None


def _placed(draft: Draft) -> Draft:
    """Give each part that was added its place: the first free one of its kind on the sheet."""
    sheet, lines = _sheet(), list(draft.lines)
    for line in draft.added:
        slot, ordinal = _place_for(line, sheet, lines)
        lines.append(replace(line, slot=slot, ordinal=ordinal))
    return replace(draft, lines=tuple(lines), added=draft.added)


def _place_for(line: Line, sheet: Sheet | None, lines: list[Line]) -> tuple[str, int]:
    slots: list[Slot] = list(sheet.slots) if sheet else []
    fitting = [slot for slot in slots if slot.id == line.slot] or [
        slot for slot in slots if slot.kind == line.kind and slot.need is not Need.TICK
    ]
    filled = [
        InPlace(slot=each.slot, ordinal=each.ordinal, state=PartState.RECORDED) for each in lines
    ]
    if free := free_places(fitting, filled):
        return free[0]
    # One more than the sheet says, or a kind it has no place for: it was in all the same.
    name = fitting[-1].id if fitting else line.kind
    used = [each.ordinal for each in lines if each.slot == name]
    return name, max(used, default=0) + 1


def _asked(number: str) -> EnterPrimeLate:
    sheet = _sheet()
    if sheet is None:
        raise BadValue(field="circuit type", value="", why="empty")
    for name in ("begun_at", "ended_at"):
        if not request.form.get(name, "").strip():
            raise BadValue(field=name.replace("_at", "").replace("_", " "), value="", why="empty")
    paper_number = request.form.get("paper_number", "").strip().upper()
    lines = given_lines()
    held = {(line.slot, line.ordinal) for line in lines}
    return EnterPrimeLate(
        sent=session.sent(request.form.get("request_id")),
        circuit_type=sheet.circuit_type,
        begun_at=moment_of("begun_at"),
        ended_at=moment_of("ended_at"),
        parts=(*(_late(line) for line in lines), *_said(sheet, held)),
        number=None if number == WITHOUT else number,
        paper_number=paper_number or None if number == WITHOUT else None,
        place_id=session.key_or_none(request.form.get("place_id"), "place"),
        primer_id=session.key_or_none(request.form.get("primer_id"), "primer"),
        helper_id=session.key_or_none(request.form.get("helper_id"), "helper"),
        fill_ml=whole("fill_ml", default=0) or None,
        co2_ml_min=thousandths("co2"),
        lots_not_recorded=checked("lots_not_recorded"),
    )


def _late(line: Line) -> LatePart:
    return LatePart(
        slot=line.slot,
        ordinal=line.ordinal,
        kind=line.kind,
        product_id=line.product_id,
        lot_text=line.lot or None,
        serial=line.serial or None,
        expiry=line.expiry or None,
        state=line.state,
        known=line.known,
    )


def _said(sheet: Sheet, held: set[tuple[str, int]]) -> list[LatePart]:
    """Return what was said of places without a part: not readable, not fitted, ticked."""
    return [
        LatePart(slot=slot.id, ordinal=ordinal, kind=slot.kind, state=state, known=Known.SAID)
        for slot in sheet.slots
        for ordinal in range(1, slot.count + 1)
        if (slot.id, ordinal) not in held and (state := request.form.get(_field(slot, ordinal), ""))
    ]


def _which(slot: Slot, ordinal: int) -> str:
    if slot.count == 1:
        return ""
    return f"all {slot.count}" if slot.need is Need.TICK else f"{ordinal} of {slot.count}"


def _field(slot: Slot, ordinal: int) -> str:
    """Return the name of a place's field; what is only ticked is ticked all at once."""
    return f"state-{slot.id}-{0 if slot.need is Need.TICK else ordinal}"


def _form(number: str, draft: Draft, refused: Refused | None = None) -> ResponseReturnValue:
    ours, sheet = session.services(), _sheet()
    with ours.reads() as reads:
        signers = [each for each in people(reads, ours.site.id) if each.active]
        shown = {
            "types": [each.circuit_type for each in sheets(reads, ours.site.id)],
            "places": places(reads, ours.site.id, *STANDS_IN),
            "people": [
                each for each in signers if {"primer", "helper"} & {str(r) for r in each.roles}
            ],
        }
    by_place = {(line.slot, line.ordinal): n for n, line in enumerate(draft.lines)}
    has_pack = any(line.kind == PACK_KIND for line in draft.lines)
    page = render_template(
        "late.html",
        number=None if number == WITHOUT else number.upper(),
        address=url_for("down_time.enter", number=number),
        sheet=sheet,
        rows=_rows(sheet, draft, by_place, has_pack=has_pack),
        draft=draft,
        products=known_products(),
        flash=say_refusal(refused, ours.settings.zone_info) if refused else None,
        missing=isinstance(refused, PartsMissing),
        form=request.form,
        nav="prime",
        **shown,
    )
    return page, status_of(refused) if refused else 200


def _rows(
    sheet: Sheet | None, draft: Draft, by_place: dict[tuple[str, int], int], *, has_pack: bool
) -> list[dict[str, object]]:
    """Return one row a place: what is in it, or what can be said of it; then what is beyond."""
    rows: list[dict[str, object]] = []
    for slot in sheet.slots if sheet else ():
        at_once = slot.need is Need.TICK
        for ordinal in range(1, 2 if at_once else slot.count + 1):
            at = by_place.pop((slot.id, ordinal), None)
            inside = has_pack and slot.inside_pack and slot.where is not Where.PACK
            rows.append(
                {
                    "name": _field(slot, ordinal),
                    "place": slot.name,
                    "which": _which(slot, ordinal),
                    "tick": slot.need is Need.TICK,
                    "inside": inside,
                    "fluid": slot.kind == FLUID_KIND,
                    "line": None if at is None else draft.lines[at],
                    "number": at,
                }
            )
    for (slot_id, ordinal), at in sorted(by_place.items()):
        rows.append(
            {
                "name": "",
                "place": f"{slot_id.replace('-', ' ')} {ordinal}",
                "which": "beyond the sheet",
                "tick": False,
                "inside": False,
                "fluid": False,
                "line": draft.lines[at],
                "number": at,
            }
        )
    return rows
