"""The procedure's steps within a prime: by cards, keys and badges alone, and what they leave."""

import re
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import Person, person
from tests.browser.unit import BAG, PACK, SYRINGE, TAP, Unit, badge, by, card, gs1
from tests.printing.paper import text
from traceability.actions.lists.products import SetProduct, set_product
from traceability.actions.lists.steps import SetSteps, set_steps
from traceability.domain.act_cards import Act
from traceability.domain.step_lists import list_of_file

EXAMPLE = Path(__file__).parents[2] / "demo_data" / "step_lists" / "wet_closed.toml"

LEFT_OUT = {"packs-looked-at", "ports-shut", "tight"}
"""Steps that are said like others: each takes a hand its time."""

SLOW = """() => {
  window.quickly = window.fetch;
  window.fetch = (...asked) =>
    new Promise((come) => setTimeout(() => come(window.quickly(...asked)), 900));
}"""


def next_step(one: Person, sentence: str, word: str = "Accepted") -> None:
    """Scan *next step*, which takes a hand about two seconds each time."""
    one.reaches_for_the_next()
    one.scans(card(Act.NEXT))
    one.sees(word, re.compile(sentence))


def numbers(one: Person, *bodies: str) -> None:
    """Scan the cards that make up a number, then *next step*."""
    for body in bodies:
        one.scans(card(body))
    one.scans(card(Act.NEXT))


def scans_the_parts(one: Person) -> None:
    """Scan what the sheet asks for."""
    one.scans(gs1(PACK, "PK26-104"))
    one.counts(3)
    one.scans(gs1(TAP, "T77-0B1"))
    one.scans(card("COUNT-4"))  # a number card counts again: no reading is asked for
    one.counts(8)
    one.scans(gs1(BAG, "4K0O02B8"))
    one.scans(card(Act.SAME))
    one.counts(10)
    one.scans(gs1(SYRINGE, "SY5"))
    one.counts(11)
    one.scans(card(Act.TICK))
    one.sees("Accepted", re.compile("Cable ties"))


def says_the_steps(one: Person) -> None:
    """Say all steps of the example: done, begun, read, read wrongly, undone, not done."""
    button = one.page.locator("[data-next]")
    expect(button).to_contain_text("Next step: Right circuit type read aloud")
    expect(button).to_contain_text("10 steps open")
    next_step(one, "Done: Right circuit type read aloud")
    one.scans(card(Act.NEXT))  # the scanner was held a moment too long
    one.sees("Look again", "One card, read twice")
    one.scans(card(Act.UNDO))
    one.sees("Accepted", "Taken back: Right circuit type read aloud")
    for name in ("Right circuit type", "Access ports"):
        next_step(one, f"Done: {name}")
    next_step(one, "Begun: CO₂ flush")
    expect(one.page.locator("[data-step-since]")).to_have_text("CO₂ flush: 0 of 5 min")
    next_step(one, "CO₂ flow, in L/min", "Say it")
    one.looks("steps-reading")
    one.scans(card("COUNT-1"))
    one.scans(card("POINT"))
    one.scans(card("COUNT-5"))
    expect(one.page.locator("[data-pad-entry]")).to_have_text("1.5")
    one.scans(card(Act.NEXT))
    one.sees("Say it", "Flushed for, in min")
    one.types("1,5 L")  # keys: no reading of minutes
    one.page.keyboard.press("Enter")
    one.sees("Look again", "Flushed for, in min")
    expect(one.strip).to_contain_text("Flushed for is asked for in min; 1,5 L is something else.")
    numbers(one, "COUNT-6")
    one.sees("Accepted", "Done: CO₂ flush")
    next_step(one, "Volume filled, in L", "Say it")
    numbers(one, "COUNT-4")
    one.sees("Look again", "Outside the usual range")
    one.looks("steps-outside")
    one.scans(card(Act.UNDO))
    one.sees("Accepted", "Taken back: Filled")
    one.reaches_for_the_next()
    one.page.evaluate(SLOW)
    one.scans(card(Act.NEXT))
    for body in ("COUNT-1", "POINT", "COUNT-5"):  # the hand is faster than the network
        one.scans(card(body))
    expect(one.page.locator("[data-pad-entry]")).to_have_text("1.5")
    one.scans(card(Act.NEXT))
    one.sees("Accepted", "Done: Filled")
    one.page.evaluate("void (window.fetch = window.quickly)")


def says_the_rest(one: Person) -> None:
    """Another step first, one not done, one that both say."""
    one.scans(card(Act.STEPS))  # another one first
    one.sees("Steps", "Which step?")
    one.looks("steps-which")
    numbers(one, "COUNT-9")
    one.sees("Accepted", "Done: Console off")
    one.scans(card(Act.STEP_NOT_DONE))
    one.sees("Not done", re.compile("Why"))
    one.looks("steps-why")
    one.scans(card("WHY-WAITS"))
    one.sees("Accepted", "Not done: De-aired")
    next_step(one, "Scan the badge of the other one", "Both")
    one.scans(badge("J. Ruiz"))
    one.sees("Look again", "Scan the badge of the other one")
    expect(one.strip).to_contain_text("J. Ruiz says it already.")
    one.scans(badge("E. Lind"))
    one.sees("Accepted", "Done: Inspected by both")
    expect(one.page.locator("[data-next]")).not_to_have_class(re.compile("main"))


def test_the_steps_are_said_by_cards_alone_within_a_prime(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    example = list_of_file(EXAMPLE.read_bytes())
    steps = tuple(step for step in example.steps if step.id not in LEFT_OUT)
    set_steps(
        SetSteps(sent=by("S. Berg"), way=example.way, steps=steps, read_version=0), site=unit.site
    )
    syringe = SetProduct(
        sent=by("S. Berg"),
        standard="gs1",
        identifier=SYRINGE,
        name="Syringe 50 mL",
        maker="Mellowick Perfusion",
        part_kind="syringe",
    )
    set_product(syringe, site=unit.site)
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz", then="/prime")
        number = one.begins_a_prime()
        one.looks("steps-begun")
        says_the_steps(one)
        says_the_rest(one)
        scans_the_parts(one)
        one.scans(card(Act.END))
        one.page.wait_for_url(re.compile(r"/end$"))
        one.reads("Steps not said")
        one.looks("steps-end")
        assert one.page.locator("#fill").input_value() == "1500"
        assert one.page.locator("#co2").input_value() == "1.5"
        one.presses_the_main_button()
        one.page.wait_for_url(re.compile(r"/sign$"))

        one.opens(f"/circuits/{number}/steps#covered")
        one.looks("steps-late")
        one.page.locator("#covered summary").click()
        with one.page.expect_navigation():
            one.page.locator("#covered form [value=done]").click()
        one.reads("said after the prime had ended")
        one.opens(f"/circuits/{number}")
        one.reads("2 of 10 not said.")
        one.looks("steps-circuit")
        status, kind, paper = one.fetches(f"/circuits/{number}/steps.pdf")
        assert (status, kind) == (200, "application/pdf")
        said = " ".join(text(paper).split())
        (seen / "steps.pdf").write_bytes(paper)
        for words in ("CO₂ flow 1.5 L/min", "NOT DONE:", "J. Ruiz and E. Lind", "NOT SAID"):
            assert words in said, words
        assert "replaces no training" in said
        assert one.troubles == []
