"""Receiving by scan: each scan of a pack or carton is booked in at once, and the last ones show."""

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from traceability import stock_messages as words
from traceability.actions.once import Done
from traceability.actions.stock.receive import ReceiveStock, receive_stock
from traceability.domain.people import Right
from traceability.errors import BadScan
from traceability.messages import say_refusal
from traceability.reads.can_prime import can_prime
from traceability.reads.lists import places
from traceability.reads.stock_lines import newest_receipts
from traceability.web import session
from traceability.web.forms import checked, moment_of, whole
from traceability.web.stock import HOLDS_STOCK

pages = Blueprint("receive", __name__)

KEPT = ("place_id", "box", "shipped", "supplier")
"""Fields of the delivery: they stay for the next scan."""
WAITS = {"half-label", "stock-lot-missing"}
"""Why of a scan whose other half is still to come."""


@pages.get("/stock/receive")
def page() -> ResponseReturnValue:
    """Show the scan field and the last receipts."""
    session.need(Right.LISTS)
    return _page(None, None)


@pages.post("/stock/receive")
def receive() -> ResponseReturnValue:
    """Book one scan in; what names no piece yet is asked back."""
    form = request.form
    asked = ReceiveStock(
        sent=session.sent(form.get("request_id")),
        at=moment_of("at"),
        text=form.get("text", "").strip("\r\n"),
        channel="typed" if form.get("channel") == "typed" else "physical-keys",
        before=form.get("before", ""),
        chosen=form.get("reading", ""),
        lot_text=form.get("lot", ""),
        without_lot=checked("without_lot"),
        expiry=form.get("expiry", ""),
        packs=whole("packs", default=1),
        place_id=session.key_or_none(form.get("place_id"), "place"),
        box=form.get("box", ""),
        shipped=form.get("shipped", ""),
        supplier=form.get("supplier", ""),
    )
    try:
        done = receive_stock(asked, site=session.site())
    except BadScan as refused:
        return _page(None, refused), 422
    return _page(done, None)


def _page(done: Done | None, refused: BadScan | None) -> str:
    ours, form = session.services(), request.form
    zone = ours.settings.zone_info
    why = str(refused.facts.get("why")) if refused else ""
    shows = why in {*WAITS, "compare"}
    with ours.reads() as reads:
        return render_template(
            "stock_receive.html",
            places=places(reads, ours.site.id, *HOLDS_STOCK),
            receipts=newest_receipts(reads, ours.site.id),
            can_prime=can_prime(reads, ours.site.id, ours.now(), zone),
            kept={name: form.get(name, "") for name in KEPT},
            said=words.booked_in_words(done.facts) if done else "",
            doubts=words.doubt_words(done.cautions) if done else [],
            refused=say_refusal(refused, zone) if refused else "",
            why=why,
            facts=refused.facts if refused else {},
            # What was read comes back to the one browser that read it, and only where it is a
            # part's code that waits for an answer.
            text=form.get("text", "") if shows else "",
            packs=form.get("packs", "1") if shows else "1",
            words=words,
            nav="lists",
        )
