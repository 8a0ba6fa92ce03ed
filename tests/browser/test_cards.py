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


MEASURED = """
() => {
  const word = document.querySelector(".strip .word");
  const style = getComputedStyle(word);
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const scale = Number(getComputedStyle(document.documentElement).getPropertyValue("--px-per-mm"));
  const touch = [...document.querySelectorAll("[data-acts] > *")]
    .map((each) => each.getBoundingClientRect()).filter(({ width }) => width > 0);
  const inked = (of) => {
    const range = document.createRange();
    range.selectNodeContents(of);
    return range.getBoundingClientRect();
  };
  return {
    letter: pen.measureText("x").actualBoundingBoxAscent / scale,
    touch: Math.min(...touch.map(({ height }) => height)) / scale,
    meets: inked(word).right - inked(document.querySelector(".strip .left span")).left,
  };
}
"""


def measured(one: Person, path: str, px_per_mm: float) -> tuple[dict[str, float], str]:
    """Measure strip and targets on a screen of that density, and read what the page says of it."""
    one.page.evaluate("(scale) => localStorage.setItem('ct.px-per-mm', scale)", str(px_per_mm))
    one.opens("/prime")
    one.unfolds()
    said = one.page.locator("[data-scale-says]")
    expect(said).not_to_be_empty()
    says = said.inner_text()
    one.opens(path)
    found: dict[str, float] = one.page.evaluate(MEASURED)
    return found, says


def test_the_verdict_can_be_read_at_two_metres_or_the_page_says_that_it_cannot(
    helper: Person,
) -> None:
    number = helper.begins_a_prime()
    helper.scans(f"]d201{BAG}")
    helper.sees("Look again")
    for px_per_mm, readable in ((MM, True), (4.4, True), (8.0, False)):
        found, says = measured(helper, f"/prime/{number}", px_per_mm)
        assert (found["letter"] >= 14) is readable, (px_per_mm, found)
        assert ("readable at two metres" in says) is readable, says
        told = float(re.findall(r"[0-9.]+(?= mm)", says)[0])
        assert abs(told - found["letter"]) < 0.2, (found, says)
        assert found["touch"] >= 14.9
        assert found["meets"] <= 0, "word and count do not touch"


TONES = """
async () => {
  const { tone, GAP } = await import("/static/tones.js");
  const heard = {};
  let at = 0;
  for (const kind of ["in", "turn"]) {
    at += 10; // the module counts on one clock
    const context = new OfflineAudioContext(1, 48000 * 2, 48000);
    const sounds = (after) => tone(context, kind, 0.2, at + after);
    heard[kind] = { first: sounds(0), soon: sounds(GAP - 0.01), later: sounds(GAP + 0.01) };
  }
  for (const kind of ["in", "turn"]) {
    const quiet = new OfflineAudioContext(1, 48000, 48000);
    const { tone: fresh } = await import(`/static/tones.js?${kind}`);
    fresh(quiet, kind, 0.2, 0);
    const samples = (await quiet.startRendering()).getChannelData(0);
    const heardAt = (each) => Math.abs(each) > 0.005;
    heard[kind].ms = (samples.findLastIndex(heardAt) - samples.findIndex(heardAt)) / 48;
    heard[kind].peak = samples.reduce((most, each) => Math.max(most, Math.abs(each)), 0);
  }
  return heard;
}
"""


def test_two_tones_are_told_apart_and_never_follow_each_other_within_400_ms(helper: Person) -> None:
    """Alarm sounds are bursts of pulses (IEC 60601-1-8, from a public summary): these are not."""
    heard = helper.page.evaluate(TONES)
    for kind in ("in", "turn"):
        assert [heard[kind][when] for when in ("first", "soon", "later")] == [True, False, True]
        assert 0.15 < heard[kind]["peak"] <= 0.2
    assert heard["in"]["ms"] < 75, "shorter than any pulse of an alarm"
    assert heard["turn"]["ms"] > 250, "longer than any"
