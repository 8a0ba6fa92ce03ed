"""The trolley page, driven by scans alone: each scan and each act answers with the strip."""

import json
from collections.abc import Mapping
from typing import Final

from flask import Blueprint, jsonify, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from traceability.actions.once import Done
from traceability.actions.prime.scan import (
    GoOn,
    ScanAgain,
    ScanPart,
    go_on,
    scan_again,
    scan_part,
)
from traceability.domain.act_cards import COUNT_CARDS, REASON_CARDS, Act
from traceability.domain.part_labels import read_part_of
from traceability.domain.people import Right
from traceability.domain.scan_checks import right_past
from traceability.domain.tag_contents import read_contents
from traceability.domain.tags import (
    BrokenSymbol,
    OwnSymbol,
    SymbolKind,
    read_symbol,
    site_and_name,
)
from traceability.domain.trolley import WAY_ON, Finding
from traceability.errors import NothingToKeep
from traceability.messages import REASONS, WORDS, Said, say_verdict
from traceability.reads.trolley import TrolleyFacts
from traceability.web import session
from traceability.web.camera import filled
from traceability.web.forms import device_moment, number_in
from traceability.web.kept_acts import never_lost
from traceability.web.prime import the_primed, the_trolley
from traceability.web.sign_in import badge_code
from traceability.web.step_words import top_line
from traceability.web.trolley_acts import DOES
from traceability.web.trolley_help import asks_to_type, discards, help_of
from traceability.web.trolley_steps import PAD_CARDS, said_number, steps_answer
from traceability.web.trolley_strip import (
    NEW_PRODUCT,
    asked_back_lines,
    button,
    choices_of,
    draw_plan,
    eighth,
    named_cards,
    next_step,
    shown_verdict,
    strip_answer,
    welcome,
)

pages = Blueprint("trolley", __name__)

NO_PART: Final = "Nothing was added. To look at it, open Take or its page. This prime goes on."

ROW: Final = (
    Act.UNDO,
    Act.SAME,
    Act.COUNT,
    Act.TICK,
    Act.NOT_READABLE,
    Act.NOT_FITTED,
    Act.DROPPED,
)
"""The first seven buttons; the eighth is what the verdict asks for."""


@pages.get("/prime/<number>")
def page(number: str) -> ResponseReturnValue:
    """Show the prime as it stands; the strip shows this device's last act."""
    session.need(Right.ACT)
    found = the_trolley(number)
    drawn = draw_plan(found)
    last = None if found.paused_at else found.last
    said = (
        say_verdict(shown_verdict(last.verdict, last.facts), last.code, last.facts)
        if last
        else welcome(found)
    )
    strip = {
        "verdict": shown_verdict(last.verdict, last.facts) if last else "none",
        "word": said.word,
        "sentence": said.sentence,
        "lines": [*said.lines, *asked_back_lines(found)],
        "choices": choices_of(found) if last or found.paused_at else [],
        "named": named_cards(said),
    }
    return render_template(
        "trolley.html",
        t=found,
        strip=strip,
        plan_svg=Markup(drawn.svg()),  # noqa: S704 - our own drawing; its texts are escaped there
        plan_list=[
            {"slot": slot, "name": name, "states": states} for slot, name, states in drawn.words
        ],
        acts=[button(act) for act in ROW],
        eighth=eighth(found),
        next=next_step(found),
        steps=top_line(found.steps),
        pad_cards=PAD_CARDS,
        after=found.after,
        claim=claim_text(),
        other_step=button(Act.STEPS),
        nav="prime",
    )


@pages.post("/prime/<number>/scan")
@never_lost
def scan(number: str) -> ResponseReturnValue:
    """Judge one scan, whatever it is: a part, a card, a badge, a tag."""
    body = _body()
    if body.get("channel") == "photo":
        return _answer(number, filled(body, the_trolley(number)))
    text = str(body.get("text") or "")
    own = read_symbol(text)
    contents = read_contents(text)
    if contents is not None:
        return _only_say(the_trolley(number), f"That is the tag of {contents.number}", [NO_PART])
    number_said = said_number(text, body)
    if number_said:
        return _act("said", {**body, "said": number_said}, the_trolley(number))
    if own is not None and read_part_of(own) is None:
        return _own(own, body, the_trolley(number))
    done = scan_part(
        ScanPart(
            sent=session.sent(str(body.get("request_id"))),
            circuit_id=the_primed(number),
            text=text,
            at=device_moment(body.get("at")),
            channel=str(body.get("channel") or "physical-keys"),
            slot=str(body.get("slot") or ""),
            known="typed" if body.get("channel") == "typed" else "scanned",
        ),
        site=session.site(),
    )
    return _answer(number, done)


@pages.post("/prime/<number>/act")
@never_lost
def act(number: str) -> ResponseReturnValue:
    """Do what a button or card says."""
    body = _body()
    return _act(str(body.get("act") or ""), body, the_trolley(number))


def _own(
    own: OwnSymbol | BrokenSymbol, body: Mapping[str, object], found: TrolleyFacts
) -> ResponseReturnValue:
    if isinstance(own, BrokenSymbol):
        line = "It begins like a card or tag of ours and is not whole. Scan it again."
        return _only_say(found, "Half a card or tag was read", [line])
    if own.kind is SymbolKind.ACT:
        if own.body in REASON_CARDS:
            return _act("reason", {**body, "reason": REASON_CARDS[own.body]}, found)
        if own.body in COUNT_CARDS:
            return _act("count", {**body, "choice": COUNT_CARDS[own.body]}, found)
        return _act(own.body, body, found)
    if own.kind is SymbolKind.BADGE:
        return _act("needed", {**body, "badge": own.body}, found)
    if own.kind is SymbolKind.CIRCUIT:
        _, name = site_and_name(own.body)
        return _only_say(found, f"That is the tag of {name}", [NO_PART])
    return _only_say(found, "That card is not for the trolley", ["Nothing was added."])


def _act(name: str, body: Mapping[str, object], found: TrolleyFacts) -> ResponseReturnValue:
    """Do what a card or button says: go to another page, or act and answer with the strip."""
    name, number = name.upper(), found.number
    of_steps = steps_answer(name, body, found)
    if of_steps is not None:
        return of_steps
    onward = {
        Act.NEXT: url_for("prime.end_page", number=number),
        Act.END: url_for("prime.end_page", number=number),
        Act.SIGN: url_for("prime.sign_page", number=number),
        Act.TAKE_OVER: url_for("pauses.page", number=number),
        NEW_PRODUCT: url_for("lists.new_product", prime=number),
    }
    if name in onward:
        return jsonify({"redirect": onward[name], "verdict": "none", "refused": False})
    if name == Act.HELP:
        return help_of(found)
    if name == Act.TYPE:
        return asks_to_type(found)
    if name == Act.DISCARD:
        return discards(body, found)
    if name == Act.COUNT:
        return _count(body, found)
    if name in {Act.KEEP, Act.NEEDED, "REASON"}:
        return _go_past(body, found)
    if name not in DOES:
        return _only_say(found, "That card does nothing here", ["Nothing was changed."])
    return _answer(number, DOES[name](body, found))


def _count(body: Mapping[str, object], found: TrolleyFacts) -> ResponseReturnValue:
    times = number_in(str(body.get("choice") or ""))
    if times is None:
        choices = [{"value": n, "label": str(n), "act": "count"} for n in COUNT_CARDS.values()]
        return _only_say(
            found, "How many more of the last one?", ["Touch, or scan a number card."], choices
        )
    asked = ScanAgain(
        sent=session.sent(str(body.get("request_id"))),
        circuit_id=found.circuit_id,
        at=device_moment(body.get("at")),
        times=times,
    )
    return _answer(found.number, scan_again(asked, site=session.site()))


def _go_past(body: Mapping[str, object], found: TrolleyFacts) -> ResponseReturnValue:
    """Keep it with a reason, or needed now: first who, then why, then it is judged again."""
    last = found.last
    if last is None or last.code not in set(WAY_ON):
        raise NothingToKeep
    right = right_past(Finding(last.code), last.verdict)
    badge = str(body.get("badge") or "")
    person_id = session.door().person_of_badge(badge_code(badge)) if badge else None
    if not badge and not session.may(right):
        who = "a charge consultant's" if right is Right.PAST_STOP else "a signer's"
        return _only_say(
            found, f"Scan {who} badge", ["Then the reason. Nothing was added yet."], ask="badge"
        )
    if badge and person_id is None:
        return _only_say(found, "No such badge is known", ["Scan it again."], ask="badge")
    reason = str(body.get("reason") or "")
    if reason not in REASONS:
        choices: list[dict[str, object]] = [
            {"value": value, "label": label, "act": "reason"} for value, label in REASONS.items()
        ]
        return _only_say(found, "Why? Touch or scan a reason", [], choices, ask="reason")
    asked = GoOn(
        sent=session.sent(str(body.get("request_id"))),
        circuit_id=found.circuit_id,
        at=device_moment(body.get("at")),
        reason=reason,
        by=person_id,
    )
    return _answer(found.number, go_on(asked, site=session.site()))


def _answer(number: str, done: Done) -> ResponseReturnValue:
    found = the_trolley(number, for_the_strip=True)
    verdict = shown_verdict(done.verdict, done.facts)
    said = say_verdict(verdict, done.code, done.facts)
    redirect = url_for("shelf.page") if done.code == "prime-paused" else None
    if done.code == "unknown-product" and done.facts.get("standard") != "none":
        redirect = url_for("lists.new_product", prime=number)
    choices = choices_of(found)
    return jsonify(
        strip_answer(found, verdict, said, choices, tone="in" if verdict == "accepted" else "turn")
        | {"redirect": redirect}
    )


def _only_say(
    found: TrolleyFacts,
    sentence: str,
    lines: list[str],
    choices: list[dict[str, object]] | None = None,
    *,
    ask: str | None = None,
) -> ResponseReturnValue:
    """Answer with words alone: nothing was recorded, nothing is lost."""
    said = Said(word=WORDS["look-again"], sentence=sentence, lines=tuple(lines), speech=sentence)
    answer = strip_answer(found, "look-again", said, choices or [], tone="turn")
    return jsonify(answer | {"ask": ask})


def claim_text() -> str:
    """Return what this page marks its acts with, as JSON; empty: nobody is signed in."""
    found = session.act_key()
    return json.dumps(found) if found else ""


def _body() -> Mapping[str, object]:
    body = request.get_json(silent=True)
    return body if isinstance(body, dict) else {}
