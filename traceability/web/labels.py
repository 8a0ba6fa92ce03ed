"""Labels to print ahead of need, looked at as they are, and read back once they are printed."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from flask import Blueprint, Response, abort, render_template, request
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.domain.part_labels import CannotLabel, PartLabel
from traceability.domain.people import Right
from traceability.errors import BadValue
from traceability.printing.field_text import DoesNotFit
from traceability.printing.label import WrongLabel
from traceability.printing.paper import Printed
from traceability.printing.queue import NotPrinted, queue_says, send_to_queue
from traceability.printing.raster import as_png
from traceability.printing.samples import label_names, sample
from traceability.printing.sheets import (
    print_parts,
    print_places,
    print_ruler,
    print_scanner_sheet,
)
from traceability.reads.lists import ProductFacts, places, products, site_facts
from traceability.settings import RESOLUTIONS
from traceability.tag_messages import place_label, say_read_back
from traceability.web import session
from traceability.web.forms import number_in
from traceability.web.tag_text import stated_by

pages = Blueprint("labels", __name__)

MOST_COPIES: Final = 200
AT_ONCE: Final = 10
"""Labels that are made and sent at one request; so many take about a second."""


@pages.get("/labels")
def page() -> ResponseReturnValue:
    """Show all labels and what can be printed."""
    session.need(Right.ACT)
    return _page("", "")


@pages.post("/labels/read-back")
def read_back() -> ResponseReturnValue:
    """Say what a printed label reads as. Nothing is recorded."""
    session.need(Right.ACT)
    text = request.form.get("text", "")
    ours = session.services()
    with ours.reads() as reads:
        code = site_facts(reads).code
    return _page(text, say_read_back(text, code, stated_by(text)))


def _page(text: str, sentence: str) -> str:
    ours = session.services()
    with ours.reads() as reads:
        kinds = sorted({place.kind for place in places(reads, ours.site.id)})
        own = [each for each in products(reads, ours.site.id) if _is_own(each)]
    return render_template(
        "labels.html",
        names=label_names(),
        kinds=kinds,
        products=own,
        resolutions=RESOLUTIONS,
        dpi=ours.settings.label_dpi,
        queue=ours.settings.label_queue,
        queue_is=_queue_is(ours.settings.label_queue),
        own=ours.own_keys,
        text=text[:80],
        sentence=sentence,
        nav="lists",
    )


def _queue_is(queue: str) -> str:
    """Return what the system says of the unit's label printer; why it says nothing."""
    try:
        return queue_says(queue) if queue else ""
    except NotPrinted as wrong:
        return str(wrong)


@pages.get("/labels/sample/<name>.png")
def sample_png(name: str) -> ResponseReturnValue:
    """Give the first page of a sample, dot for dot as a label printer of 203 dpi prints it."""
    session.need(Right.ACT)
    if name not in label_names():
        raise NotFound
    try:
        made = sample(name)
    except (WrongLabel, DoesNotFit) as wrong:
        raise NotFound from wrong
    return Response(as_png(made.pages[0], made.dpi), mimetype="image/png")


@pages.get("/labels/places.pdf")
def place_labels() -> ResponseReturnValue:
    """Give the labels of all places of one kind."""
    session.need(Right.ACT)
    batch = _places(request.args.get("kind", ""))
    return as_pdf(batch.made(0, batch.count), "places")


@pages.post("/labels/print")
def print_batch() -> ResponseReturnValue:
    """Send the next labels of a batch to the unit's printer, and say how many are sent.

    A batch is done in pieces, each its own request: how far it is stands on the page, and after
    a fault it goes on where it stopped.
    """
    session.need(Right.ACT)
    form, ours = request.form, session.services().settings
    if not ours.label_queue:
        raise NotFound
    batch = _parts(form) if form.get("what") == "parts" else _places(form.get("kind", ""))
    first = min(number_in(form.get("first", "0")) or 0, batch.count)
    some, trouble = min(AT_ONCE, batch.count - first), ""
    try:
        if some:
            send_to_queue(
                batch.made(first, some),
                queue=ours.label_queue,
                title=batch.title,
                graphics=ours.label_graphics,
            )
    except NotPrinted as wrong:
        some, trouble = 0, str(wrong)
    page = render_template(
        "labels_sent.html",
        title=batch.title,
        queue=ours.label_queue,
        sent=first + some,
        count=batch.count,
        trouble=trouble,
        again={name: text for name, text in form.items() if name != "first"},
        nav="lists",
    )
    return page, 503 if trouble else 200


@dataclass(frozen=True, slots=True)
class _Batch:
    title: str
    count: int
    made: Callable[[int, int], Printed]
    """The labels from this one on, so many of them; drawn when asked for."""


def _places(kind: str) -> _Batch:
    ours = session.services()
    with ours.reads() as reads:
        site, found = site_facts(reads), places(reads, ours.site.id)
    texts = [place_label(place, site) for place in found if place.kind == kind]
    if not texts:
        raise NotFound
    dpi = asked_dpi()

    def made(first: int, count: int) -> Printed:
        return print_places(
            texts[first : first + count],
            site_code=site.code,
            kind=kind,
            keys=ours.own_keys,
            dpi=dpi,
        )

    return _Batch(f"Places: {kind}", len(texts), made)


@pages.get("/labels/scanner.pdf")
def scanner_sheet() -> ResponseReturnValue:
    """Give the sheet that a new scanner has to read."""
    session.need(Right.ACT)
    return as_pdf(print_scanner_sheet(), "scanner-sheet")


@pages.get("/labels/ruler.pdf")
def ruler() -> ResponseReturnValue:
    """Give the label that proves a printer."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        site = site_facts(reads)
    return as_pdf(print_ruler(site=f"{site.name}, {site.unit}", dpi=asked_dpi()), "ruler")


@pages.get("/labels/parts.pdf")
def part_labels() -> ResponseReturnValue:
    """Give labels for pieces of an item that has no code of its own."""
    session.need(Right.ACT)
    batch = _parts(request.args)
    return as_pdf(batch.made(0, batch.count), "parts")


def _parts(asked: Mapping[str, str]) -> _Batch:
    ours, lot = session.services(), asked.get("lot", "").strip()
    product_id = session.key(asked.get("product"), "product")
    with ours.reads() as reads:
        site = site_facts(reads)
        found = next((p for p in products(reads, ours.site.id) if p.id == product_id), None)
    if found is None or not _is_own(found):
        raise NotFound
    part = PartLabel(
        standard=found.standard,
        item=found.identifier,
        name=found.name,
        maker=found.maker,
        lot=lot,
        expiry=_day(asked.get("expires", "")),
    )
    dpi = asked_dpi()

    def made(_: int, count: int) -> Printed:
        try:
            return print_parts(
                part,
                site_code=site.code,
                copies=count,
                unit=site.unit,
                practice=site.practice,
                dpi=dpi,
            )
        except CannotLabel as wrong:
            value = lot if wrong.field == "lot" else part.item
            raise BadValue(field=wrong.field, value=value, why="short-name") from wrong
        except DoesNotFit as wrong:
            raise BadValue(field=wrong.name, value=lot, why="too-long") from wrong

    copies = number_in(asked.get("copies", "1")) or 1
    return _Batch(f"{part.name}, lot {lot}", min(copies, MOST_COPIES), made)


def _is_own(product: ProductFacts) -> bool:
    """Tell an item whose code is ours to give: of no agency, or under the unit's own prefix."""
    prefix = session.services().settings.own_prefix
    if product.standard == "gs1":
        return bool(prefix) and product.identifier.startswith(f"0{prefix}")
    return product.standard == "none"


def _day(text: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadValue(field="expires", value=text, why="not-a-day") from None


def asked_dpi() -> int:
    """Return the resolution that was asked for, else that of the unit's label printer."""
    asked = number_in(request.args.get("dpi", ""))
    if asked is not None and asked not in RESOLUTIONS:
        abort(404)
    return asked or session.services().settings.label_dpi


def as_pdf(made: Printed, name: str) -> Response:
    """Return a print to be opened."""
    answer = Response(made.pdf, mimetype="application/pdf")
    answer.headers["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return answer
