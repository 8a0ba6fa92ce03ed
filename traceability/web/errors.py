"""Every exception to an answer, in one place: a sentence for people, a reference for support."""

import logging
import secrets
from typing import Final

from flask import Flask, Response, jsonify, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from sqlalchemy.exc import SQLAlchemyError
from werkzeug.exceptions import HTTPException

from traceability.errors import (
    Busy,
    DeviceNotEnrolled,
    NotAllowed,
    NotSetUp,
    Refused,
    RequestIdReused,
    SignInNeeded,
    StaleForm,
    StoreAway,
    StoreFull,
    UnknownCode,
    WrongCredentials,
)
from traceability.messages import REASONS, WAYS_ON, WORDS, say_refusal
from traceability.printing.field_text import DoesNotFit
from traceability.printing.label import WrongLabel
from traceability.printing.proof import DoesNotReadBack
from traceability.tag_messages import NOT_DRAWN
from traceability.web.session import services

log = logging.getLogger(__name__)

STATUS: Final[dict[type[Refused], int]] = {
    SignInNeeded: 401,
    WrongCredentials: 401,
    NotAllowed: 403,
    DeviceNotEnrolled: 403,
    UnknownCode: 404,
    StaleForm: 409,
    RequestIdReused: 409,
    Busy: 503,
    StoreAway: 503,
    StoreFull: 507,
    NotSetUp: 503,
}
"""Status of each refusal; what is not named here is 422: understood, and not done."""

PLAIN: Final = {
    400: "This request cannot be read. Go back and try again.",
    403: "This came from another site's page, so it was not taken. Open the page here.",
    404: "There is no such page. Go to the shelf.",
    405: "This page does not do that. Go to the shelf.",
    413: "That is too large to be taken. Send less at once.",
}


def register(app: Flask) -> None:
    """Turn refusals, wrong addresses and failures into answers."""

    @app.errorhandler(Refused)
    def _refused(refused: Refused) -> ResponseReturnValue:
        if isinstance(refused, SignInNeeded) and not wants_json():
            return redirect(url_for("sign_in.page", next=request.full_path.rstrip("?")))
        sentence = say_refusal(refused, services().settings.zone_info)
        return _answer(sentence, status_of(refused), refused=refused)

    @app.errorhandler(WrongLabel)
    def _label(wrong: WrongLabel) -> ResponseReturnValue:
        log.error("a label cannot be used: %s", wrong)
        return _answer(f"This label's file cannot be used. Tell who changed it: {wrong}", 503)

    @app.errorhandler(DoesNotFit)
    @app.errorhandler(DoesNotReadBack)
    def _drawn(wrong: Exception) -> ResponseReturnValue:
        log.error("a label was not drawn: %r", wrong)
        return _answer(NOT_DRAWN, 503)

    @app.errorhandler(HTTPException)
    def _http(error: HTTPException) -> ResponseReturnValue:
        code = error.code or 500
        return _answer(PLAIN.get(code, error.description or ""), code)

    @app.errorhandler(Exception)
    def _failed(error: Exception) -> ResponseReturnValue:
        reference = secrets.token_hex(4)
        log.exception("failed reference=%s path=%s", reference, request.path, exc_info=error)
        sentence = "The server could not do this. Nothing was half done. Send it again."
        return _answer(sentence, 500, reference=reference)


def status_of(refused: Refused) -> int:
    """Return the HTTP status of a refusal."""
    return STATUS.get(type(refused), 422)


def wants_json() -> bool:
    """Tell a script's request from a person's."""
    return request.is_json or request.accept_mimetypes.best == "application/json"


def _answer(
    sentence: str, status: int, *, refused: Refused | None = None, reference: str = ""
) -> ResponseReturnValue:
    if wants_json():
        body = {
            "refused": True,
            "verdict": "look-again",
            "word": WORDS["look-again"],
            "sentence": sentence,
            "lines": [],
            "code": refused.code if refused else "failed",
            "reference": reference,
            "tone": "turn",
        }
        return jsonify(body), status
    way_on = None
    if refused is not None and refused.way_on and request.method == "POST":
        fields = {name: value for name, value in request.form.items() if name != "request_id"}
        way_on = {
            "label": WAYS_ON[refused.way_on],
            "code": refused.way_on,
            "url": request.full_path.rstrip("?"),
            "fields": fields,
        }
    try:
        page = render_template(
            "error.html",
            sentence=sentence,
            way_on=way_on,
            reasons=list(REASONS.items()),
            reference=reference,
            nav="",
        )
    except (SQLAlchemyError, Refused):
        # Every page reads the store, and the store may be what failed.
        log.exception("no page for an error path=%s", request.path)
        told = f"{sentence} Reference: {reference}." if reference else sentence
        return Response(told, status, mimetype="text/plain")
    return page, status
