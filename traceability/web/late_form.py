"""The form for a prime from paper: its places, what is in them, and what is asked with it."""

from dataclasses import replace

from flask import render_template, request, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.prime.late import EnterPrimeLate, LatePart
from traceability.domain.in_place import InPlace, free_places
from traceability.domain.parts import Known, PartState
from traceability.domain.sheets import Need, Sheet, Slot, Where
from traceability.domain.trolley import FLUID_KIND, PACK_KIND
from traceability.errors import BadValue, PartsMissing, Refused
from traceability.messages import say_refusal
from traceability.reads.lists import people, places, sheets
from traceability.web import session
from traceability.web.errors import status_of
from traceability.web.forms import checked, moment_of, thousandths, whole
from traceability.web.lines import Draft, Line, given_lines, known_products
from traceability.web.prime import STANDS_IN

WITHOUT: str = "new"
"""In an address: a paper that is none of our sheets."""


def _sheet() -> Sheet | None:
    """Return the sheet of the type chosen on the form; the only one where there is one."""
    ours = session.services()
    with ours.reads() as reads:
        found = sheets(reads, ours.site.id)
    chosen = request.values.get("circuit_type", "")
    named = [each for each in found if each.circuit_type == chosen]
    return named[0] if named else found[0] if len(found) == 1 else None


def placed(draft: Draft) -> Draft:
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


def asked_of_form(number: str) -> EnterPrimeLate:
    """Return the whole prime as the form says it.

    Raises:
        BadValue: no circuit type, no times, a field that cannot be read.
    """
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


def late_form(number: str, draft: Draft, refused: Refused | None = None) -> ResponseReturnValue:
    """Return the page with what was entered so far; `refused` says why it was not taken."""
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
