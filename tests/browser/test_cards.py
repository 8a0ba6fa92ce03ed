"""All of the trolley by scanner: a card for each act; large keys for what is only printed."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.person import SIZES, Person, person
from tests.browser.unit import BAG, GS, LATER, PACK, SITE, TAP, Unit, card, gs1
from traceability.domain.act_cards import Act
from traceability.domain.parts import Known, PartState
from traceability.domain.trials import LAYOUT_LINE, TRIALS
from traceability.identifiers.wedge import LAYOUTS
from traceability.reads.circuit_parts import PartFacts
from traceability.reads.circuits import circuit_facts

MM = 5.94
"""Pixels of a millimetre on 10 inch with 1280 × 800, until the device measures its own."""
YEAR = f"20{LATER[:2]}"


@pytest.fixture
def helper(unit: Unit, base: str, chromium: Browser, seen: Path) -> Iterator[Person]:
    """J. Ruiz, signed in at the trolley's tablet."""
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        yield one


def parts_of(unit: Unit, number: str) -> list[PartFacts]:
    """Return what the record says is in the circuit."""
    with unit.services.reads() as reads:
        circuit = circuit_facts(reads, SITE, number, unit.services.now())
    assert circuit is not None
    return list(circuit.now_in)


def buttons(page: Page) -> str:
    """Return the words of all acts on the screen."""
    return " | ".join(page.locator("[data-acts] :is(button, a):visible").all_inner_texts())


def presses_keys(page: Page, text: str) -> None:
    """Touch the large keys."""
    for char in text:
        page.locator(f'[data-key="{char}"]').click()


def test_a_lot_that_is_only_printed_is_typed_with_large_keys(helper: Person, unit: Unit) -> None:
    number, page = helper.begins_a_prime(), helper.page
    helper.scans(f"]d201{BAG}")
    helper.sees("Look again", "Lot is not in this code")
    assert "card 5" in buttons(page)
    assert "card 18" in buttons(page), "a card that the sentence names is on the screen"
    helper.scans(card(Act.TYPE))
    keys = page.locator("[data-typed] .keys button")
    expect(keys.first).to_be_visible()
    for wide, tall in SIZES.values():
        page.set_viewport_size({"width": wide, "height": tall})
        for key in keys.all():
            box = key.bounding_box()
            assert box is not None
            assert min(box["width"], box["height"]) >= 15 * MM - 0.5, key.inner_text()
    helper.looks("pad")
    # A scan while the pad is open is a scan, and no text in a field.
    helper.scans(gs1(TAP, "T1"))
    helper.sees("Accepted")
    expect(keys.first).to_be_hidden()
    helper.scans(f"]d201{BAG}")
    helper.scans(card(Act.TYPE))
    presses_keys(page, "4KO")
    page.locator('[data-key="case"]').click()
    presses_keys(page, "o0")
    assert page.locator("[data-pad-shown] b").all_inner_texts() == ["KOo"]
    page.locator("[name=expiry]").click()
    presses_keys(page, f"{YEAR}-02-30")
    page.get_by_role("button", name="Send").click()
    helper.sees("Look again", re.compile(f"{YEAR}-02-30 is no day"))
    expect(page.locator("[name=lot]")).to_have_value("4KOo0")  # nothing typed is lost
    page.locator("[name=expiry]").click()
    for _ in range(3):
        page.locator("[data-key=delete]").click()
    page.get_by_role("button", name="Send").click()
    helper.sees("Accepted")
    bag = next(part for part in parts_of(unit, number) if part.kind == "fluid")
    assert (bag.lot, bag.known) == ("4KOo0", Known.TYPED)
    assert all("422" in each for each in helper.troubles), "the refusal, and nothing else"


def test_places_help_and_discard_go_by_cards_alone(helper: Person, unit: Unit) -> None:
    number, page = helper.begins_a_prime(), helper.page
    helper.scans(gs1(PACK, "PK1"))
    helper.scans(gs1(TAP, "T1"))
    helper.sees("Accepted")
    helper.scans(gs1(TAP, "T2"))
    helper.sees("Look again", "A second lot. Where does it go?")
    assert "number card 2" in buttons(page)
    helper.looks("second-lot")
    helper.scans(card("COUNT-2"))
    helper.sees("Accepted", re.compile("Tap after the oxygenator"))
    helper.scans(card(Act.HELP))
    helper.sees("Help", "Next: Tap before the oxygenator")
    helper.looks("help")
    third = page.locator(".choice", has_text="Tap by the patient").get_attribute("data-number")
    helper.scans(card(f"COUNT-{third}"))
    expect(page.locator("[data-for]")).to_have_text("For: Tap by the patient")
    helper.scans(card(Act.NOT_FITTED))
    helper.sees("Accepted", "Tap by the patient: not fitted")
    taps = {part.slot: part.state for part in parts_of(unit, number) if part.kind == "tap"}
    assert taps["tap-5"] is PartState.NOT_FITTED
    helper.scans(card(Act.DISCARD))
    helper.sees("Look again", "Discard this prime? Why?")
    assert "Prime stopped" in buttons(page)
    helper.scans(card("COUNT-5"))
    page.wait_for_url(re.compile(rf"/circuits/{number}"))
    helper.reads("Prime stopped")
    assert helper.troubles == []


def test_two_scans_of_the_sheet_tell_what_a_scanner_has_to_be_set_to(helper: Person) -> None:
    page = helper.page
    helper.opens("/scanner")
    helper.scans("]d2" + TRIALS[0][1].replace(GS, ""))
    helper.reads("Set the scanner to send the separator")
    # A scanner set to German presses the keys of a German keyboard: z where US has y.
    german = {char: us for us, char in reversed(LAYOUTS["de"].items())}
    helper.scans("".join(german[char] for char in f"d1{LAYOUT_LINE}"))
    helper.reads("It types on a German keyboard.")
    helper.looks("scanner-wrong")
    helper.scans("]d1" + LAYOUT_LINE)
    helper.scans("]d2" + TRIALS[0][1])
    helper.reads("All points are right: this scanner can be used here.")
    helper.looks("scanner-right")
    page.evaluate(
        """() => { for (const key of "4711 AB") document.dispatchEvent(
          new KeyboardEvent("keydown", { key, code: "", bubbles: true, cancelable: true })); }"""
    )
    helper.reads("That is no symbol of the scanner sheet")
    assert helper.troubles == []
