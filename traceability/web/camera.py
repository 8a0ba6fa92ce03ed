"""Pictures at the trolley: frames of a live camera, and a photo of all that is laid out.

Frames are looked at and forgotten. A photo is looked at, and each pack is then filled in as an act
of its own, once a person says so; the picture itself is kept only where the policy says so.
"""

import hashlib
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Final
from uuid import UUID, uuid5

from flask import Blueprint, Response, jsonify, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.once import Done
from traceability.actions.prime.evidence import (
    ErasePicture,
    KeepPicture,
    erase_picture,
    keep_picture,
    kept_picture,
)
from traceability.actions.prime.look_over import (
    CAN_FILL,
    MOST_SYMBOLS,
    Fate,
    PackLine,
    look_over,
    packs_in,
)
from traceability.actions.prime.pictured import FillPictured, fill_pictured
from traceability.camera_messages import (
    NO_PATIENT,
    WHY_ERASED,
    say_looked_over,
    say_pack,
    say_too_many,
)
from traceability.domain.people import Right
from traceability.domain.symbols_seen import (
    PackSeen,
    SymbolSeen,
    What,
    reading_order,
    without_separator,
)
from traceability.imaging.pages import is_pages
from traceability.imaging.read_symbol import ReadSymbol, UnreadablePicture
from traceability.messages import say_unreadable
from traceability.reads.pictures import are_kept, pictures_of
from traceability.reads.trolley import TrolleyFacts
from traceability.web import session
from traceability.web.forms import device_moment
from traceability.web.prime import the_primed

pages = Blueprint("camera", __name__)

MARKS: Final = {
    Fate.FILLS: "whole",
    Fate.SENT: "whole",
    Fate.IN_ALREADY: "half",
    Fate.COMPARE: "wait",
    Fate.WHICH_PLACE: "wait",
    Fate.NOT_TIED: "shut",
    Fate.TAKEN_BACK: "shut",
    Fate.NO_PART: "off",
}
"""The bead that stands beside a pack's words."""


@pages.post("/prime/<number>/camera")
def frame(number: str) -> ResponseReturnValue:
    """Read one frame of a live camera; nothing of it is kept, and nothing is recorded."""
    session.need(Right.ACT)
    the_primed(number)
    began = time.perf_counter()
    try:
        read = session.services().readers.frames.read(request.get_data(), live=True)
    except UnreadablePicture as unread:
        return _unread(unread)
    packs = packs_in(_numbered(read), _today())
    took_ms = round((time.perf_counter() - began) * 1000)
    return jsonify({"packs": [_held_up(each) for each in packs], "took_ms": took_ms})


@pages.post("/prime/<number>/photo")
def photo(number: str) -> ResponseReturnValue:
    """Say what every pack in a photo would do; nothing is recorded."""
    session.need(Right.ACT)
    circuit_id, data, ours = the_primed(number), request.get_data(), session.services()
    picture = hashlib.sha256(data).hexdigest()
    try:
        if is_pages(data):
            raise UnreadablePicture("not-a-picture", bytes=len(data))
        read = ours.readers.photos.read(data)
    except UnreadablePicture as unread:
        return _unread(unread)
    packs = packs_in(_numbered(read), _today())
    with ours.reads() as reads:
        found = look_over(
            reads,
            session.site(),
            circuit_id,
            packs,
            picture=picture,
            device_id=session.need_device().device_id,
            at=ours.now(),
        )
        keeps = are_kept(reads, ours.site.id)
    sentence, lacks = say_looked_over(found)
    if len(read) > MOST_SYMBOLS:
        sentence += f" {say_too_many(MOST_SYMBOLS)}"
    return jsonify(
        {
            "picture": picture,
            "sentence": sentence,
            "missing": lacks,
            "fills": sum(line.fate is Fate.FILLS for line in found.lines),
            # The same photo, kept twice, is one act.
            "keep_id": str(uuid5(circuit_id, f"{picture} keep")) if keeps else "",
            "packs": [_pack(line, picture) for line in found.lines],
        }
    )


@pages.post("/prime/<number>/photo/keep")
def keep(number: str) -> ResponseReturnValue:
    """Keep a photo as evidence, its dots alone, where the policy says so."""
    session.need(Right.ACT)
    circuit_id, data, ours = the_primed(number), request.get_data(), session.services()
    asked = KeepPicture(
        sent=session.sent(request.args.get("request_id")),
        circuit_id=circuit_id,
        sent_sha256=hashlib.sha256(data).hexdigest(),
        at=ours.now(),
    )
    try:
        bare = ours.readers.photos.bare(data)
    except UnreadablePicture as unread:
        return _unread(unread)
    keep_picture(asked, bare, site=session.site(), var_dir=ours.settings.var_dir)
    return jsonify({"kept": True})


@pages.get("/circuits/<number>/pictures")
def kept(number: str) -> ResponseReturnValue:
    """Show which photos of this circuit's prime are kept."""
    session.need(Right.SEE_PICTURES)
    ours = session.services()
    the_primed(number)
    with ours.reads() as reads:
        found, keeps = (
            pictures_of(reads, ours.site.id, number),
            are_kept(reads, ours.site.id),
        )
    return render_template(
        "prime_pictures.html",
        number=number,
        pictures=found,
        keeps=keeps,
        reasons=WHY_ERASED,
        no_patient=NO_PATIENT,
        nav="prime",
    )


@pages.get("/circuits/<number>/pictures/<uuid:picture_id>.jpg")
def picture(number: str, picture_id: UUID) -> ResponseReturnValue:
    """Give a photo that is kept."""
    session.need(Right.SEE_PICTURES)
    ours = session.services()
    with ours.reads() as reads:
        known = pictures_of(reads, ours.site.id, number)
    there = any(each.id == picture_id and not each.erased for each in known)
    data = kept_picture(picture_id, var_dir=ours.settings.var_dir) if there else None
    if data is None:
        raise NotFound
    return Response(data, mimetype="image/jpeg")


@pages.post("/circuits/<number>/pictures/<uuid:picture_id>/erase")
def erase(number: str, picture_id: UUID) -> ResponseReturnValue:
    """Erase a photo; that there was one stays on record."""
    asked = ErasePicture(
        sent=session.sent(request.form.get("request_id")),
        picture_id=picture_id,
        reason=request.form.get("reason", ""),
    )
    erase_picture(asked, site=session.site(), var_dir=session.services().settings.var_dir)
    return redirect(url_for("camera.kept", number=number))


def filled(body: Mapping[str, object], found: TrolleyFacts) -> Done:
    """Fill in one pack of a photo, as the page was told that it can be."""
    texts = body.get("texts")
    boxes = body.get("boxes")
    return fill_pictured(
        FillPictured(
            # The id stands for this pack of this photo, whenever it is sent.
            sent=replace(session.sent(str(body.get("request_id"))), unsaid=frozenset({"at"})),
            circuit_id=found.circuit_id,
            texts=tuple(
                (str(each[0]), str(each[1]))
                for each in (texts if isinstance(texts, list) else [])
                if isinstance(each, list) and len(each) == 2  # noqa: PLR2004 - text, identifier
            ),
            at=device_moment(body.get("at")),
            picture=str(body.get("picture") or "")[:64],
            boxes=tuple(
                each for each in (boxes if isinstance(boxes, list) else []) if isinstance(each, int)
            ),
            slot=str(body.get("slot") or ""),
            compared=body.get("compared") is True,
        ),
        site=session.site(),
    )


def _today() -> date:
    ours = session.services()
    return ours.now().astimezone(ours.settings.zone_info).date()


def _numbered(read: Sequence[ReadSymbol]) -> list[SymbolSeen]:
    first = [each for each in read if each.page == 1][:MOST_SYMBOLS]
    ordered = [first[at] for at in reading_order([each.box for each in first])]
    return [
        SymbolSeen(
            number=number,
            text=each.text,
            symbology_identifier=each.symbology_identifier,
            corners=each.box,
            suspect=each.suspect,
        )
        for number, each in enumerate(ordered, 1)
    ]


def _held_up(pack: PackSeen) -> dict[str, object]:
    """Return what the page does with a pack before the camera: what a scanner would send of it."""
    if pack.what is What.PERSON:
        return {"person": True}
    return {
        "key": pack.key,
        "scans": [each.sent for each in pack.scans],
        "reads": [each.text for each in pack.scans],
        "texts": [each.text for each in pack.symbols],
        "suspect": pack.suspect,
        "whole": pack.whole or pack.what is What.OURS,
        "shown": " + ".join(without_separator(each.text) for each in pack.scans),
    }


def _pack(line: PackLine, picture: str) -> dict[str, object]:
    said, can = say_pack(line), line.fate in CAN_FILL
    answer: dict[str, object] = {
        "fate": line.fate,
        "mark": MARKS[line.fate],
        "boxes": [{"number": each.number, "corners": each.corners} for each in line.pack.symbols],
        "title": said.title,
        "says": said.says,
        "lines": said.lines,
        "asks": said.asks,
        "places": [{"value": value, "label": label} for value, label in line.places],
    }
    if can:
        answer["fill"] = {
            "request_id": str(line.request_id),
            "texts": [[each.text, each.symbology_identifier] for each in line.pack.scans],
            "picture": picture,
            "boxes": [each.number for each in line.pack.symbols],
            "compared": line.compare,
        }
    return answer


def _unread(unread: UnreadablePicture) -> ResponseReturnValue:
    return jsonify({"refused": True, "sentence": say_unreadable(unread.code, unread.facts)}), 422
