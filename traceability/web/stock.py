"""The shelves: what is there, whether we can prime, and the acts on a product's stock."""

from collections.abc import Iterator
from typing import Final
from uuid import UUID

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup
from werkzeug.exceptions import NotFound

from traceability import stock_messages as words
from traceability.actions.once import Done
from traceability.actions.stock.count import Counted, CountStock, count_stock
from traceability.actions.stock.declare import DeclareBook, declare_book
from traceability.actions.stock.move import MoveStock, move_stock
from traceability.actions.stock.receive import ReceiveStock, receive_stock
from traceability.actions.stock.take_out import TakeOutStock, take_out_stock
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.reads.can_prime import CanPrime, can_prime_from
from traceability.reads.lists import places
from traceability.reads.stock import product_stock, stock
from traceability.reads.stock_lines import changes
from traceability.web import session
from traceability.web.forms import checked, moment_of, number_in, whole
from traceability.web.pictures.weeks import weeks_ahead

pages = Blueprint("stock", __name__)

WEEKS: Final = (4, 8, 12, 26)
USUAL_WEEKS: Final = 8
HOLDS_STOCK: Final = ("store", "shelf", "trolley", "box", "console", "bin")
"""Kinds of places that parts lie in; nobody keeps them in a bed."""
MOST_ROWS: Final = 200


@pages.get("/stock")
def page() -> ResponseReturnValue:
    """Show whether we can prime, the coming weeks, and what the shelves hold."""
    session.need(Right.ACT)
    ours = session.services()
    asked = number_in(request.args.get("weeks", ""))
    weeks = asked if asked in WEEKS else USUAL_WEEKS
    zone, now = ours.settings.zone_info, ours.now()
    with ours.reads() as reads:
        products = stock(reads, ours.site.id, now, zone)
        answers = can_prime_from(reads, ours.site.id, products, now, zone, weeks=weeks)
    return render_template(
        "stock.html",
        answers=[_shown(each, number) for number, each in enumerate(answers)],
        shelves=[each for each in products if each.levels],
        to_count=[each for each in products if each.to_count],
        empty=[each for each in products if each.in_book and not each.levels],
        not_in_book=[each for each in products if each.counted and not each.in_book],
        ward_stock=[each for each in products if not each.counted],
        weeks=weeks,
        choices=WEEKS,
        words=words,
        nav="lists",
    )


def _shown(answer: CanPrime, number: int) -> dict[str, object]:
    names = {need.key: need.name for need in answer.needs}
    zone = session.services().settings.zone_info
    drawn = ""
    if answer.weeks:
        drawn = weeks_ahead(answer.circuit_type, answer.weeks, names, zone, key=f"ahead-{number}")
    return {
        "a": answer,
        "svg": Markup(drawn),  # noqa: S704 - our own drawing; its texts are escaped there
        "weeks": [(week, words.week_words(week, names)) for week in answer.weeks],
    }


@pages.get("/stock/<uuid:product_id>")
def product_page(product_id: UUID) -> ResponseReturnValue:
    """Show one product's lots, and the forms to count, move and take out."""
    return _product_page(product_id, None)


def _product_page(product_id: UUID, done: Done | None) -> str:
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        found = product_stock(reads, ours.site.id, product_id, ours.now(), ours.settings.zone_info)
        if found is None:
            raise NotFound
        return render_template(
            "stock_product.html",
            p=found,
            places=places(reads, ours.site.id, *HOLDS_STOCK),
            lines=changes(reads, ours.site.id, product_id),
            reasons=list(words.OUT_REASONS.items()),
            said=words.done_words(done.code, done.facts) if done else "",
            doubts=words.doubt_words(done.cautions) if done else [],
            words=words,
            zone=ours.settings.zone_info,
            nav="lists",
        )


@pages.post("/stock/<uuid:product_id>/count")
def count(product_id: UUID) -> ResponseReturnValue:
    """Record what was counted; fields left empty were not counted."""
    asked = CountStock(
        sent=session.sent(request.form.get("request_id")),
        product_id=product_id,
        rows=tuple(_counted()),
        at=moment_of("at"),
    )
    return _product_page(product_id, count_stock(asked, site=session.site()))


def _counted() -> Iterator[Counted]:
    form = request.form
    for number in range(MOST_ROWS):
        if not form.get(f"count-{number}", "").strip():
            continue
        # A lot of the book is kept to the letter; only the last row was written by a person.
        lot, written = form.get(f"lot-{number}", ""), f"expiry-{number}" in form
        yield Counted(
            lot_text=lot.strip() if written else lot,
            place_id=session.key(form.get(f"place-{number}"), "place"),
            quantity=whole(f"count-{number}"),
            expiry=form.get(f"expiry-{number}", ""),
        )


@pages.post("/stock/<uuid:product_id>/move")
def move(product_id: UUID) -> ResponseReturnValue:
    """Record that pieces stand somewhere else now."""
    lot, place_id = _which()
    asked = MoveStock(
        sent=session.sent(request.form.get("request_id")),
        product_id=product_id,
        lot_text=lot,
        quantity=whole("quantity"),
        from_place_id=place_id,
        to_place_id=session.key(request.form.get("to_place"), "place"),
        at=moment_of("at"),
    )
    return _product_page(product_id, move_stock(asked, site=session.site()))


@pages.post("/stock/<uuid:product_id>/out")
def out(product_id: UUID) -> ResponseReturnValue:
    """Record that pieces are gone unused, and why."""
    lot, place_id = _which()
    asked = TakeOutStock(
        sent=session.sent(request.form.get("request_id")),
        product_id=product_id,
        lot_text=lot,
        quantity=whole("quantity"),
        place_id=place_id,
        reason=request.form.get("reason", ""),
        at=moment_of("at"),
    )
    return _product_page(product_id, take_out_stock(asked, site=session.site()))


def _which() -> tuple[str, UUID | None]:
    """Return lot and place of the row that was chosen: "place lot", the lot with its blanks."""
    which = request.form.get("which", "")
    place, blank, lot = which.partition(" ")
    if not blank:
        raise BadValue(field="lot and place", value="", why="empty")
    return lot, session.key_or_none(place, "place")


@pages.post("/stock/<uuid:product_id>/book")
def say_of_the_book(product_id: UUID) -> ResponseReturnValue:
    """Record that the book is complete, or no longer."""
    asked = DeclareBook(
        sent=session.sent(request.form.get("request_id")),
        product_id=product_id,
        complete=request.form.get("complete") == "1",
        at=moment_of("at"),
    )
    return _product_page(product_id, declare_book(asked, site=session.site()))


@pages.post("/stock/<uuid:product_id>/receive")
def receive_written(product_id: UUID) -> ResponseReturnValue:
    """Book in what carries no code, or one that nothing reads."""
    form = request.form
    asked = ReceiveStock(
        sent=session.sent(form.get("request_id")),
        at=moment_of("at"),
        product_id=product_id,
        lot_text=form.get("lot", ""),
        without_lot=checked("without_lot"),
        expiry=form.get("expiry", ""),
        packs=whole("packs"),
        place_id=session.key_or_none(form.get("place_id"), "place"),
    )
    return _product_page(product_id, receive_stock(asked, site=session.site()))


@pages.get("/stock/<uuid:product_id>/book")
@pages.get("/stock/<uuid:product_id>/count")
@pages.get("/stock/<uuid:product_id>/move")
@pages.get("/stock/<uuid:product_id>/out")
@pages.get("/stock/<uuid:product_id>/receive")
def back(product_id: UUID) -> ResponseReturnValue:
    """Go back to the product's page: who opens the address of a form again wants to see it."""
    return redirect(url_for("stock.product_page", product_id=product_id))


def lines_for_shelf(answers: list[CanPrime]) -> list[str]:
    """Return the lines of the ready shelf; nothing where nothing is in the book."""
    return [words.shelf_line(each) for each in answers if each.primes is not None]
