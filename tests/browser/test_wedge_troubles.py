"""Odd keys at the trolley each end in a sentence: wrong fields, two scans at once, caps lock."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.person import KEYS, Person, person
from tests.browser.unit import BAG, GS, PACK, TAP, Unit, gs1

TROUBLES_OF_KEYS = """
(keys) => {
  for (const [key, code, more] of keys) {
    document.activeElement.dispatchEvent(new KeyboardEvent("keydown",
      { key, code, bubbles: true, cancelable: true, ...more }));
  }
}
"""


@pytest.fixture
def helper(unit: Unit, base: str, chromium: Browser, seen: Path) -> Iterator[Person]:
    """J. Ruiz, signed in at the trolley's tablet."""
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        yield one


def test_separators_trigger_no_short_cut_of_the_browser(helper: Person, unit: Unit) -> None:
    """Ctrl+] is no short cut of Chromium; Ctrl+D (EOT) and Ctrl+J (LF) are, and open nothing."""
    number = helper.begins_a_prime()
    taken = helper.page.evaluate(
        """() => {
          const went = [];
          addEventListener("keydown", (event) => {
            if (event.ctrlKey) went.push([event.code, event.defaultPrevented]);
          });
          window.went = went;
        }"""
    )
    assert taken is None
    helper.scans(f"]d2\x1e{gs1(TAP, 'T1')[3:]}\x04")
    prevented = helper.page.evaluate("window.went")
    chords = [was for code, was in prevented if not code.startswith(("Control", "Shift"))]
    assert chords
    assert all(chords), prevented
    assert len(helper.context.pages) == 1
    assert helper.page.url.endswith(number)


def test_two_scans_into_each_other_add_nothing_and_are_told(helper: Person, unit: Unit) -> None:
    number = helper.begins_a_prime()
    one, other = gs1(PACK, "PK1"), gs1(TAP, "T1")
    mixed = "".join(a + b for a, b in zip(one, other, strict=False))
    helper.scans(mixed)
    expect(helper.strip).to_have_class("strip look-again field-plum")
    assert unit.lots_in(number) == []
    helper.scans(one)
    helper.sees("Accepted")
    assert unit.lots_in(number)[:1] == ["PK1"]


def test_caps_lock_turns_no_lot_round(helper: Person, unit: Unit) -> None:
    """The keyboard's lock changes what the host types, not which keys the scanner presses."""
    number = helper.begins_a_prime()
    helper.page.wait_for_load_state()
    keys = []
    for char in gs1(BAG, "aB9"):
        code = KEYS[char].replace("Shift+", "").replace("Control+", "")
        shown = char.swapcase() if char.isalpha() else char
        more = {
            "shiftKey": "Shift+" in KEYS[char],
            "ctrlKey": char == GS,
            "modifierCapsLock": True,
        }
        keys.append([shown, code, more])
    helper.page.evaluate(TROUBLES_OF_KEYS, [*keys, ["Enter", "Enter", {}]])
    helper.sees("Accepted")
    assert "aB9" in unit.lots_in(number)


def test_a_scan_while_the_pad_or_a_question_is_open_is_judged_as_a_scan(
    helper: Person, unit: Unit
) -> None:
    number, page = helper.begins_a_prime(), helper.page
    page.get_by_role("button", name="Type a code").click()
    field = page.locator("[data-typed] [name=text]")
    helper.types("01")
    page.wait_for_timeout(600)  # a hand goes from the keys to the scanner
    helper.scans(gs1(TAP, "T1"))
    helper.sees("Accepted")
    helper.scans(gs1(TAP, "T2"))
    helper.sees("Look again", "A second lot. Where does it go?")
    helper.scans(gs1(PACK, "PK1"))  # the question is left, and said no more
    helper.sees("Accepted")
    expect(field).to_be_hidden()
    assert sorted(unit.lots_in(number)) == ["PK1", "T1"]


def test_keys_without_a_place_on_the_keyboard_are_told_and_not_believed(
    helper: Person, unit: Unit
) -> None:
    """A keyboard on a screen, or a remote desktop, sends characters and no key."""
    number = helper.begins_a_prime()
    text = f"01{TAP}10T1"
    keys = [[char, "", {}] for char in text] + [["Enter", "", {}]]
    helper.page.evaluate(TROUBLES_OF_KEYS, keys)
    helper.sees("Look again", "Compare with the print")
    assert unit.lots_in(number) == []
    helper.page.evaluate(TROUBLES_OF_KEYS, [["Unidentified", "", {}]] * 20)
    helper.sees("Look again", "Compare with the print")


def test_somebody_who_types_as_fast_as_a_scanner_writes_no_part(helper: Person, unit: Unit) -> None:
    number = helper.begins_a_prime()
    for char in "qwertz asdf":
        helper.page.keyboard.press(KEYS[char])
    helper.page.keyboard.press("Enter")
    expect(helper.page.get_by_text("New here")).to_be_visible()
    assert unit.lots_in(number) == []
    helper.opens(f"/prime/{number}")
    helper.page.get_by_role("button", name="Type a code").click()
    for char in gs1(TAP, "T1"):
        helper.page.keyboard.press(KEYS[char])
    helper.page.keyboard.press("Enter")
    helper.sees("Accepted")  # into whatever field: it is a scan
    assert unit.lots_in(number) == ["T1"]
