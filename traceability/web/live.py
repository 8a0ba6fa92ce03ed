"""What other devices did on a prime since a number of the ledger: asked once a second, so cheap."""

import json
from collections.abc import Sequence
from typing import Final

from flask import Blueprint, Response, jsonify, request
from flask.typing import ResponseReturnValue

from traceability.domain.people import Right
from traceability.errors import DeviceNotEnrolled
from traceability.messages import say_event
from traceability.reads.others import OthersAct, acts_after, newest_act
from traceability.web import session
from traceability.web.forms import number_in
from traceability.web.prime import the_trolley
from traceability.web.trolley_strip import draw_plan, missing_words, next_step

pages = Blueprint("live", __name__)

NAMED: Final = 2
"""How many acts of others are named before the rest is counted."""


@pages.get("/prime/<number>/after")
def after(number: str) -> ResponseReturnValue:
    """Give plan, places and count if something came after `number`; else 304 with no body.

    Raises:
        DeviceNotEnrolled: this device was taken out of use. SignInNeeded, NotAllowed.
    """
    if session.is_revoked():
        raise DeviceNotEnrolled
    session.need(Right.ACT)
    ours, at = session.services(), session.device()
    known = number_in(request.args.get("number", "")) or 0
    with ours.reads() as reads:
        newest = newest_act(reads, ours.site.id, number)
    if newest <= known:
        return _tagged(Response(status=304), newest)
    with ours.reads() as reads:
        others = acts_after(
            reads, ours.site.id, number, known, besides=at.device_id if at else None
        )
    found = the_trolley(number)
    drawn = draw_plan(found)
    answer = jsonify(
        {
            "after": found.after,
            "recorded": found.recorded,
            "of": found.of,
            "missing": missing_words(found),
            "next": next_step(found),
            "plan": drawn.groups,
            "list": [
                {"slot": slot, "name": name, "states": states} for slot, name, states in drawn.words
            ],
            "said": _said(others),
            "priming": found.priming,
        }
    )
    return _tagged(answer, found.after)


def _tagged(answer: Response, number: int) -> Response:
    answer.set_etag(str(number))
    return answer


def _said(others: Sequence[OthersAct]) -> str:
    """Return one quiet line: "Trolley 2, J. Ruiz: Part placed: Tap, lot T1"."""
    lines = [
        f"{each.device}{', ' if each.device and each.who else ''}{each.who}: "
        f"{say_event(each.kind, json.loads(each.body))}"
        for each in others[-NAMED:]
    ]
    more = len(others) - NAMED
    return "  ·  ".join([*([f"{more} more"] if more > 0 else []), *lines])
