"""The unit's lists: products, circuit types, places and policy."""

from contextlib import suppress
from typing import Final
from uuid import uuid5

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.lists.products import Level, SetProduct, set_product
from traceability.actions.lists.sheets import SetSheet, set_sheet
from traceability.actions.lists.site import (
    PLACE_KINDS,
    STANDS_FOR,
    SetPlace,
    set_place,
)
from traceability.actions.once import Sent
from traceability.actions.prime.scan import GoOn, go_on
from traceability.domain.people import Right
from traceability.domain.sheets import Need, Slot, Where
from traceability.domain.use_by import Way
from traceability.errors import BadValue, NothingToKeep
from traceability.printing.sheets import render_act_cards
from traceability.reads.lists import (
    kinds_in_use,
    places,
    products,
    sheets,
)
from traceability.reads.trolley import unknown_code
from traceability.web import session
from traceability.web.forms import checked, minutes, whole
from traceability.web.prime import the_trolley

pages = Blueprint("lists", __name__)

MOST_SLOTS: Final = 60


@pages.get("/lists")
def page() -> ResponseReturnValue:
    """Show which lists there are."""
    session.need(Right.ACT)
    return render_template("lists.html", nav="lists")


@pages.get("/products")
def product_list() -> ResponseReturnValue:
    """Show all products."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        found = products(reads, ours.site.id)
    return render_template("products.html", products=found, nav="lists")


@pages.get("/products/new")
def new_product() -> ResponseReturnValue:
    """Ask once what a code stands for."""
    session.need(Right.ACT)
    ours = session.services()
    number = request.args.get("prime", "")
    with ours.reads() as reads:
        kinds = kinds_in_use(reads, ours.site.id)
        types = [sheet.circuit_type for sheet in sheets(reads, ours.site.id)]
        asked = unknown_code(reads, ours.site.id, number, session.known_browser().device_id)
    # A code that was scanned at the shelves, where no prime waits for the answer.
    told = request.args.get("standard", "none"), request.args.get("identifier", "")
    standard, identifier = asked or told
    return render_template(
        "product.html",
        p={"standard": standard, "identifier": identifier},
        kinds=kinds,
        types=types,
        prime=number if asked else "",
        then=request.args.get("then", ""),
        nav="lists",
    )


@pages.post("/products")
def save_product() -> ResponseReturnValue:
    """Keep the product; the prime goes on where it was."""
    form = request.form
    units = whole("units", default=1)
    carton = form.get("carton_identifier", "").strip()
    levels = (Level(identifier=carton, units=whole("carton_units")),) if carton else ()
    asked = SetProduct(
        sent=session.sent(form.get("request_id")),
        standard=form.get("standard", "none"),
        identifier=form.get("identifier", ""),
        name=form.get("name", ""),
        maker=form.get("maker", ""),
        part_kind=form.get("kind", ""),
        item_number=form.get("item_number", ""),
        substance=form.get("substance", ""),
        volume_ml=whole("volume_ml", default=0) or None,
        circuit_type=form.get("circuit_type", ""),
        counted=not checked("ward_stock"),
        levels=levels,
        units=units,
    )
    set_product(asked, site=session.site())
    number = form.get("prime", "")
    if form.get("then") == "receive":
        return redirect(url_for("receive.page"))
    if not number:
        return redirect(url_for("lists.product_list"))
    _scan_again(number, asked.sent)
    return redirect(url_for("trolley.page", number=number))


def _scan_again(number: str, sent: Sent) -> None:
    """Judge the scan that asked for the product again: it is in the hand, and not lost."""
    again = Sent(
        device_id=sent.device_id,
        actor_id=sent.actor_id,
        request_id=uuid5(sent.request_id, "scan again"),
    )
    found = the_trolley(number)
    with suppress(NothingToKeep):
        go_on(
            GoOn(sent=again, circuit_id=found.circuit_id, at=session.services().now()),
            site=session.site(),
        )


@pages.get("/sheets")
def sheet_list() -> ResponseReturnValue:
    """Show the circuit types and their sheets."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        found = sheets(reads, ours.site.id)
    return render_template("sheets.html", sheets=found, nav="lists")


@pages.get("/sheets/edit")
def sheet_page() -> ResponseReturnValue:
    """Show one sheet as a table to be edited, or an empty one."""
    session.need(Right.LISTS)
    name, ours = request.args.get("circuit_type", ""), session.services()
    with ours.reads() as reads:
        found = [sheet for sheet in sheets(reads, ours.site.id) if sheet.circuit_type == name]
    if name and not found:
        raise NotFound
    return render_template(
        "sheet.html",
        sheet=found[0] if found else None,
        needs=[need.value for need in Need],
        wheres=[where.value for where in Where],
        ways=[way.value for way in Way],
        nav="lists",
    )


@pages.post("/sheets")
def save_sheet() -> ResponseReturnValue:
    """Keep the next version of the sheet."""
    asked = SetSheet(
        sent=session.sent(request.form.get("request_id")),
        circuit_type=request.form.get("circuit_type", "").strip(),
        way=request.form.get("way", ""),
        fill_ml=whole("fill_ml"),
        slots=tuple(_slots()),
        coating=request.form.get("coating", ""),
        read_version=whole("read_version", default=0),
    )
    set_sheet(asked, site=session.site())
    return redirect(url_for("lists.sheet_list"))


def _slots() -> list[Slot]:
    form, found = request.form, []
    for number in range(MOST_SLOTS):
        slot_id = form.get(f"slot-{number}-id", "").strip()
        if not slot_id:
            continue
        name = form.get(f"slot-{number}-name", "").strip()
        try:
            where = Where(form.get(f"slot-{number}-where", ""))
            need = Need(form.get(f"slot-{number}-need", ""))
        except ValueError:
            raise BadValue(field=name or slot_id, value="", why="empty") from None
        found.append(
            Slot(
                id=slot_id,
                name=name,
                kind=form.get(f"slot-{number}-kind", "").strip(),
                where=where,
                count=whole(f"slot-{number}-count", default=1),
                need=need,
                inside_pack=checked(f"slot-{number}-inside_pack"),
                leaves=checked(f"slot-{number}-leaves"),
                substance=form.get(f"slot-{number}-substance", "").strip(),
                volume_ml=whole(f"slot-{number}-volume_ml", default=0) or None,
            )
        )
    return found


@pages.get("/places")
def place_list() -> ResponseReturnValue:
    """Show all places."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        found = places(reads, ours.site.id)
        types = [sheet.circuit_type for sheet in sheets(reads, ours.site.id)]
    return render_template(
        "places.html",
        places=found,
        kinds=PLACE_KINDS,
        duties=STANDS_FOR,
        types=types,
        nav="lists",
    )


@pages.post("/places")
def save_place() -> ResponseReturnValue:
    """Add or change a place."""
    ours, form = session.services(), request.form
    place_id = session.key_or_none(form.get("place_id"), "place")
    asked = SetPlace(
        sent=session.sent(form.get("request_id")),
        place_id=place_id or session.key(form.get("request_id"), "place"),
        code=form.get("code", "").strip().upper(),
        name=form.get("name", "").strip(),
        place_kind=form.get("kind", ""),
        stands_for=form.get("stands_for") or None,
        sort=whole("sort", default=0),
        active=not checked("gone"),
        wanted=whole("wanted", default=1),
        accepts=tuple(form.getlist("accepts")),
        least_left_minutes=minutes("least_left") or 0,
    )
    set_place(asked, site=ours.site)
    return redirect(url_for("lists.place_list"))


@pages.get("/cards.pdf")
def cards() -> ResponseReturnValue:
    """Give the sheet of act cards."""
    answer = Response(render_act_cards(), mimetype="application/pdf")
    answer.headers["Content-Disposition"] = 'inline; filename="act-cards.pdf"'
    return answer
