"""Scanner set-up: a few scans of the acceptance sheet tell what is right and what is to be set."""

from typing import Final

from flask import Blueprint, jsonify, render_template, request
from flask.typing import ResponseReturnValue

from traceability.domain.people import Right
from traceability.domain.scanner_setup import Point, ScannerRead, judge_scanner
from traceability.domain.trials import TRIALS
from traceability.scanner_messages import NAMES, NOT_OF_THE_SHEET, READ, say_point, shown_text
from traceability.web import session

pages = Blueprint("scanner", __name__)

LONGEST: Final = 400


@pages.get("/scanner")
def page() -> ResponseReturnValue:
    """Show the points; each fills when a symbol of the sheet has told it."""
    session.need(Right.ACT)
    symbols = [{"name": kind.upper().replace("-", " "), "why": why} for kind, _, why in TRIALS]
    return render_template("scanner.html", points=NAMES.items(), symbols=symbols, nav="lists")


@pages.post("/scanner/read")
def read() -> ResponseReturnValue:
    """Judge one read. Nothing of it is kept: it may be anything that lies about."""
    session.need(Right.ACT)
    body = request.get_json(silent=True)
    body = body if isinstance(body, dict) else {}
    gap = body.get("gap")
    given = ScannerRead(
        text=str(body.get("text") or "")[:LONGEST],
        ended_by_key=body.get("ended") == "key",
        gap_ms=float(gap) if isinstance(gap, (int, float)) else None,
    )
    told = judge_scanner(given)
    if not told.kind:
        return jsonify({"sentence": NOT_OF_THE_SHEET, "symbol": "", "points": {}})
    return jsonify(
        {
            "sentence": READ.format(kind=told.kind.upper().replace("-", " ")),
            "symbol": told.symbol,
            "text": shown_text(given.text),
            "points": {
                str(point): {"right": point in told.right, "says": say_point(point, told)}
                for point in Point
                if point in told.right | told.wrong
            },
        }
    )
