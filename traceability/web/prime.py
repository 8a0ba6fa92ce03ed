"""Begin a prime, end it, sign it."""

from uuid import UUID

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from traceability.actions.prime.begin import BeginPrime, begin_prime
from traceability.actions.prime.end import EndPrime, end_prime
from traceability.actions.prime.sign import SignPrime, sign_prime
from traceability.domain.circuits import Phase
from traceability.domain.people import Right
from traceability.domain.readings import number_text
from traceability.domain.tag_contents import read_contents
from traceability.domain.tags import OwnSymbol, SymbolKind, is_practice, read_symbol, site_and_name
from traceability.errors import PartsMissing, UnknownCode
from traceability.messages import say_refusal
from traceability.reads.circuits import CircuitFacts, circuit_facts
from traceability.reads.lists import people, places, sheets
from traceability.reads.shelf import shelf
from traceability.reads.trolley import TrolleyFacts, circuit_id, trolley
from traceability.shelf_messages import WAYS
from traceability.web import session
from traceability.web.as_of import AsOf
from traceability.web.filters import local
from traceability.web.forms import checked, moment_of, thousandths, whole
from traceability.web.sign_in import badge_code

pages = Blueprint("prime", __name__)

STANDS_IN = ("console", "box", "shelf", "store")


@pages.get("/prime")
def begin_page() -> ResponseReturnValue:
    """Choose the circuit type and the place, and see what is being primed."""
    session.need(Right.ACT)
    ours = session.services()
    with ours.reads() as reads:
        signers = [each for each in people(reads, ours.site.id) if each.active]
        shown = {
            "types": sheets(reads, ours.site.id),
            "places": places(reads, ours.site.id, *STANDS_IN),
            "people": [
                each for each in signers if {"primer", "helper"} & {str(r) for r in each.roles}
            ],
            "priming": shelf(reads, ours.site.id, ours.now()).priming,
        }
    return render_template("begin.html", nav="prime", **shown)


@pages.post("/prime")
def begin() -> ResponseReturnValue:
    """Give the circuit its number and go to the trolley page."""
    asked = BeginPrime(
        sent=session.sent(request.form.get("request_id")),
        circuit_type=request.form.get("circuit_type", ""),
        place_id=session.key(request.form.get("place_id"), "place"),
        at=session.services().now(),
        primer_id=session.key_or_none(request.form.get("primer_id"), "primer"),
        helper_id=session.key_or_none(request.form.get("helper_id"), "helper"),
    )
    done = begin_prime(asked, site=session.site())
    return redirect(url_for("trolley.page", number=done.facts["number"]))


@pages.get("/prime/<number>/end")
def end_page(number: str) -> ResponseReturnValue:
    """Ask for the time, the volume and the gas flow."""
    found = the_trolley(number)
    if not found.priming:
        return redirect(url_for("circuits.page", number=found.number))
    return _end_page(found, None)


def _end_page(found: TrolleyFacts, sentence: str | None) -> str:
    return render_template(
        "finish.html",
        t=found,
        missing=found.missing,
        steps=found.steps,
        fill_ml=found.steps.fill_ml,
        co2=_litres(found.steps.co2_ml_min),
        ways=WAYS,
        flash=sentence,
        local_now=f"{local(session.services().now()):%Y-%m-%dT%H:%M}",
        nav="prime",
    )


def _litres(millilitres: int | None) -> str:
    return "" if millilitres is None else number_text(millilitres)


@pages.post("/prime/<number>/end")
def end(number: str) -> ResponseReturnValue:
    """End the prime; the tag can be printed and the two can sign."""
    found = the_trolley(number)
    asked = EndPrime(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=found.circuit_id,
        at=moment_of("at"),
        fill_ml=whole("fill_ml"),
        way=request.form.get("way", ""),
        co2_ml_min=thousandths("co2"),
        lots_not_recorded=checked("lots_not_recorded"),
    )
    try:
        end_prime(asked, site=session.site())
    except PartsMissing as missing:
        sentence = say_refusal(missing, session.services().settings.zone_info)
        return _end_page(found, sentence), 422
    return redirect(url_for("prime.sign_page", number=found.number))


@pages.get("/circuits/<number>/sign")
def sign_page(number: str) -> ResponseReturnValue:
    """Show who has signed, and two fields for who has not."""
    circuit = the_circuit(number)
    if circuit.standing.phase is Phase.PRIMING:
        return redirect(url_for("prime.end_page", number=circuit.number))
    return render_template("sign.html", c=circuit, nav="prime")


@pages.post("/circuits/<number>/sign")
def sign(number: str) -> ResponseReturnValue:
    """Check badge and PIN and sign."""
    circuit, at = the_circuit(number), session.known_browser()
    signer_id = session.door().check(
        badge_code(request.form.get("badge", "")),
        request.form.get("pin", ""),
        at.device_id,
        for_signature=True,
    )
    asked = SignPrime(
        sent=session.sent(request.form.get("request_id")),
        circuit_id=circuit.id,
        part=request.form.get("part", ""),
        signer_id=signer_id,
        at=session.services().now(),
    )
    done = sign_prime(asked, site=session.site())
    both = done.facts.get("signatures") == len(("primer", "helper"))
    page = "circuits.page" if both else "prime.sign_page"
    return redirect(url_for(page, number=circuit.number))


def the_trolley(number: str, *, for_the_strip: bool = False) -> TrolleyFacts:
    """Return the prime of that number, or answer 404; for the strip without its top line."""
    ours, at = session.services(), session.known_browser()
    with ours.reads() as reads:
        found = trolley(reads, ours.site.id, number, at.device_id, for_the_strip=for_the_strip)
    if found is None:
        raise NotFound
    return found


def the_primed(number: str) -> UUID:
    """Return the id of the circuit of that number, or answer 404: an act needs no more."""
    ours = session.services()
    with ours.reads() as reads:
        found = circuit_id(reads, ours.site.id, number)
    if found is None:
        raise NotFound
    return found


def the_circuit(number: str, then: AsOf | None = None) -> CircuitFacts:
    """Return the circuit of that number, as it is or as it was known then.

    Raises:
        UnknownCode: there is none, or none was known then.
    """
    ours = session.services()
    at, as_of_no = (then.at, then.number) if then else (ours.now(), None)
    with ours.reads() as reads:
        found = circuit_facts(reads, ours.site.id, number, at, as_of_no)
    if found is None:
        raise UnknownCode(what="circuit", value=number)
    return found


def other_store(text: str, site_code: str) -> str:
    """Return "practice" or "real" for a tag from a store of the other kind, else nothing.

    A practice tag on a real circuit is a mix-up, and so is a real tag at the practice store.
    """
    own = read_symbol(text.strip())
    if not isinstance(own, OwnSymbol) or own.kind is not SymbolKind.CIRCUIT:
        return ""
    theirs = is_practice(site_and_name(own.body)[0])
    if theirs == is_practice(site_code):
        return ""
    return "practice" if theirs else "real"


def tag_number(text: str, site_code: str) -> tuple[str, bool]:
    """Return the circuit number that a tag's text names, and whether the text is a tag of ours.

    A number that was typed counts: it is print on the tag. So does the symbol for phones: whoever
    scans the wrong one of two in a hurry has the right circuit in hand. Another site's tag, half a
    tag and any other code name no circuit of ours.
    """
    contents = read_contents(text)
    if contents is not None:
        return (contents.number, True) if contents.site_code == site_code else ("", False)
    own = read_symbol(text.strip())
    if isinstance(own, OwnSymbol) and own.kind is SymbolKind.CIRCUIT:
        code, number = site_and_name(own.body)
        return (number, True) if code == site_code else ("", False)
    typed = text.strip().upper()
    letter, dash, digits = typed.partition("-")
    if dash and len(letter) == 1 and digits.isdigit():
        return typed, True
    return "", False
