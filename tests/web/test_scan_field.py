"""Scans reach a page whole, from a real Chromium, whatever layout the host has and where focus is.

Keys are the ones a US scanner presses. What each host makes of a key comes from xkb-data
(`keyboard_layouts.csv`); names of keys are those of W3C UI Events KeyboardEvent code Values,
section 3.1.1. GS as Ctrl+] is common practice of scanners, no source.
"""

import csv
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Final

import pytest
from flask import Flask
from playwright.sync_api import Browser, CDPSession, Page, expect

GS = "\x1d"
# GS1 General Specifications, AIs 01, 17, 10, 21: a number range for examples, a lot ended by FNC1.
CODE = f"]d20109521234543213172703311004K-0o17/I1{GS}21sN_0&4%Zy"
PAGE = """<!doctype html><html lang="en"><title>t</title><h1>Scans</h1>
<form id="f"><input id="plain"><input id="own" data-scan><input id="next" data-scan="next">
<input id="pin" type="password"><input id="sends" data-scan="submit">
<select id="choice"><option>one<option>two<option>three</select>
<button id="b" type="button">B</button><button>Send</button></form>
<script type="module" src="/static/scan_field.js"></script>
<script type="module" src="/heard.js"></script>"""
HEARD = """window.scans = []; window.sent = 0; window.pressed = 0;
document.addEventListener("scan", (e) => window.scans.push(e.detail));
document.querySelector("#f").addEventListener("submit", (e) => {
  e.preventDefault();
  window.sent += 1;
});
document.querySelector("#b").addEventListener("click", () => { window.pressed += 1; });
window.ready = true;"""

SEEN_TO_END = (
    "localStorage.getItem('ct.scanner.ends') ?? localStorage.setItem('ct.scanner.ends', '1')"
)

# Keys from within the page, where no load of the machine comes between two of them.
SENT_WITH_PAUSES = """async ([parts, pause, end]) => {
  const send = (code, shiftKey, ctrlKey) => document.activeElement.dispatchEvent(new KeyboardEvent(
    "keydown", { code, key: code, shiftKey, ctrlKey, bubbles: true, cancelable: true }));
  for (const [index, part] of parts.entries()) {
    if (index) await new Promise((done) => setTimeout(done, pause));
    for (const [code, shift, ctrl] of part) send(code, shift, ctrl ?? false);
  }
  if (end) send(end, false, false);
}"""

STALL_S: Final = 0.15
"""Half the silence that ends what came into a field."""

_SIGNS = {
    "-": "Minus",
    "=": "Equal",
    "[": "BracketLeft",
    "]": "BracketRight",
    "\\": "Backslash",
    ";": "Semicolon",
    "'": "Quote",
    "`": "Backquote",
    ",": "Comma",
    ".": "Period",
    "/": "Slash",
    " ": "Space",
}
_SHIFTED = dict(zip(')!@#$%^&*(_+{}|:"~<>?', "0123456789-=[]\\;'`,./", strict=True))


def key_of(char: str) -> tuple[str, bool]:
    """Return the key of a US keyboard that gives the character, and whether shift is down."""
    if char.isalpha():
        return f"Key{char.upper()}", char.isupper()
    if char in _SHIFTED:
        return key_of(_SHIFTED[char])[0], True
    return (f"Digit{char}", False) if char.isdigit() else (_SIGNS[char], False)


def keys_of(text: str) -> list[tuple[str, bool, bool]]:
    """Return key, shift and control for each character."""
    return [
        ("BracketRight", False, True) if char == GS else (*key_of(char), False) for char in text
    ]


def layouts() -> dict[str, dict[str, str]]:
    """Return what each host makes of the key that gives a character on a US one."""
    path = files("traceability") / "identifiers/keyboard_layouts.csv"
    rows = list(csv.DictReader(path.read_text("utf-8").splitlines()))
    return {host: {row["us"]: row[host] for row in rows} for host in rows[0]}


LAYOUTS = layouts()


@dataclass
class Scanner:
    """Presses keys as the operating system reports them on a host of one layout."""

    cdp: CDPSession
    page: Page
    host: str = "us"
    gap_ms: float = 0
    longest_gap: float = 0
    """Seconds between two keys of the last scan, at most."""

    def press(self, char: str, *, ctrl: bool = False) -> None:
        code, shift = key_of(char)
        given = LAYOUTS[self.host][char]
        dead = given.startswith("dead ")
        self._key(code, "Dead" if dead else given, "" if dead or ctrl else given, shift, ctrl)

    def end(self, code: str = "Enter") -> None:
        self._key(code, code, "\r" if code == "Enter" else "", False, False)

    def f8(self) -> None:
        self._key("F8", "F8", "", False, False)

    def scan(self, text: str, *, end: str | None = "Enter", gs: str = "chord") -> None:
        self.longest_gap, last = 0, time.monotonic()
        for char in text:
            now = time.monotonic()
            self.longest_gap, last = max(self.longest_gap, now - last), now
            if char == GS:
                self.press("]", ctrl=True) if gs == "chord" else self.f8()
            else:
                self.press(char)
            if self.gap_ms:
                self.page.wait_for_timeout(self.gap_ms)
        if end:
            self.end(end)

    def scan_into(self, prepare: Callable[[], object], text: str) -> None:
        """Scan into a field; again from the start if this busy machine stalled between two keys.

        No scanner pauses as long as a person; a test process that gets no time does.
        """
        for _ in range(10):
            prepare()
            self.scan(text)
            if self.longest_gap < STALL_S:
                return
        pytest.fail("this machine is too busy to press keys as a scanner does")

    def _key(self, code: str, key: str, text: str, shift: bool, ctrl: bool) -> None:
        event: dict[str, Any] = {"code": code, "key": key, "modifiers": 8 * shift + 2 * ctrl}
        if code == "Enter":
            event["windowsVirtualKeyCode"] = 13
        if code == "Space":
            event["windowsVirtualKeyCode"] = 32
        kind = "keyDown" if text else "rawKeyDown"
        self.cdp.send("Input.dispatchKeyEvent", {"type": kind, "text": text, **event})
        self.cdp.send("Input.dispatchKeyEvent", {"type": "keyUp", **event})


@pytest.fixture(scope="module")
def app() -> Flask:
    app = Flask(__name__, static_folder=str(files("traceability") / "web/static"))
    app.add_url_rule("/", view_func=lambda: PAGE)
    heard = ("heard", lambda: (HEARD, {"Content-Type": "text/javascript"}))
    app.add_url_rule("/heard.js", *heard)
    return app


@pytest.fixture
def page(app: Flask, served: Callable[[Any], str], chromium: Browser) -> Iterator[Page]:
    """A page that has seen this scanner end a code, so that a busy machine ends none for it."""
    context = chromium.new_context()
    page = context.new_page()
    page.add_init_script(SEEN_TO_END)
    page.goto(served(app))
    page.wait_for_function("window.ready === true")
    yield page
    context.close()


@pytest.fixture
def scanner(page: Page) -> Scanner:
    return Scanner(page.context.new_cdp_session(page), page)


def heard(page: Page, count: int = 1) -> list[dict[str, str]]:
    page.wait_for_function(f"window.scans.length >= {count}")
    found: list[dict[str, str]] = page.evaluate("window.scans")
    return found


@pytest.mark.parametrize("host", sorted(LAYOUTS))
def test_every_key_of_a_scan_keeps_its_meaning_on_every_host(
    page: Page, scanner: Scanner, host: str
) -> None:
    scanner.host = host
    every = "".join(sorted(LAYOUTS["us"]))
    scanner.scan(f"]d2{every}{GS}z")
    assert heard(page)[0]["text"] == f"]d2{every}{GS}z"


@pytest.mark.parametrize("gs", ["chord", "F8"])
@pytest.mark.parametrize("end", ["Enter", "Tab"])
def test_the_separator_arrives_and_enter_or_tab_ends(
    page: Page, scanner: Scanner, gs: str, end: str
) -> None:
    scanner.scan(CODE, end=end, gs=gs)
    scan = heard(page)[0]
    assert (scan["text"], scan["channel"]) == (CODE, "physical-keys")


def test_silence_ends_a_scan_until_this_scanner_was_seen_to_end_with_a_key(
    page: Page, scanner: Scanner
) -> None:
    page.evaluate("localStorage.setItem('ct.scanner.ends', '0')")
    page.reload()
    page.wait_for_function("window.ready === true")
    codes = [keys_of("]d20109521234543213"), keys_of("10T77-0B1")]
    page.evaluate(SENT_WITH_PAUSES, [codes, 500, ""])
    assert [each["text"] for each in heard(page, 2)] == ["]d20109521234543213", "10T77-0B1"]
    page.evaluate(SENT_WITH_PAUSES, [[keys_of("]C1" + CODE[3:])], 0, "Enter"])
    page.evaluate(SENT_WITH_PAUSES, [codes, 500, "Enter"])
    assert [each["text"] for each in heard(page, 4)][2:] == [
        "]C1" + CODE[3:],
        "]d2010952123454321310T77-0B1",
    ]


@pytest.mark.parametrize("host", ["us", "de"])
def test_a_scan_into_the_wrong_field_is_taken_out_again(
    page: Page, scanner: Scanner, host: str
) -> None:
    scanner.host = host

    def prepare() -> None:
        page.evaluate("window.scans.length = 0")
        page.locator("#plain").fill("typed before")
        page.locator("#plain").focus()

    scanner.scan_into(prepare, CODE)
    assert heard(page)[0]["text"] == CODE
    expect(page.locator("#plain")).to_have_value("typed before")
    assert page.evaluate("window.sent") == 0  # the scanner's Enter sends no form


def test_a_field_for_scans_takes_the_whole_code_and_forgets_the_last_one(
    page: Page, scanner: Scanner
) -> None:
    scanner.host = "de"
    for text in ("CTB.7K3M.ABCDEFGH.Z", CODE):
        scanner.scan_into(page.locator("#own").focus, text)
        assert page.locator("#own").input_value() == text
    assert page.evaluate("[window.scans.length, window.sent]") == [0, 0]


def test_a_badge_goes_on_to_the_pin_and_a_tag_sends_its_form(page: Page, scanner: Scanner) -> None:
    page.locator("#next").focus()
    scanner.scan("CTB.7K3M-ABCDEFGH-Z")
    expect(page.locator("#pin")).to_be_focused()
    page.locator("#sends").focus()
    scanner.scan("CT1.NSH2.C-0419.X", end=None)
    page.wait_for_function("window.sent === 1")
    assert page.locator("#sends").input_value() == "CT1.NSH2.C-0419.X"


def test_typing_is_left_to_the_field_it_goes_to(page: Page, scanner: Scanner) -> None:
    scanner.gap_ms = 90  # a fast typist: 80 to 120 ms, common practice, no source
    page.locator("#plain").focus()
    scanner.scan("T77-0B1 lot", end=None)
    page.wait_for_timeout(500)
    assert page.locator("#plain").input_value() == "T77-0B1 lot"
    scanner.end()
    assert page.evaluate("[window.scans.length, window.sent]") == [0, 1]  # Enter sends, as ever


def test_a_few_quick_keys_in_a_field_are_no_scan(page: Page, scanner: Scanner) -> None:
    page.locator("#pin").focus()
    scanner.scan("12345")
    assert page.locator("#pin").input_value() == "12345"
    assert page.evaluate("[window.scans.length, window.sent]") == [0, 1]


def test_a_scanner_that_stalls_is_waited_for_once_its_ending_is_known(
    page: Page, scanner: Scanner
) -> None:
    scanner.scan(CODE)
    assert len(heard(page)) == 1
    scanner.scan("]d20109521234543213", end=None)
    page.wait_for_timeout(600)  # a stall of 366 ms was measured; half a code must not be sent
    scanner.scan("1727033110AB")
    assert [each["text"] for each in heard(page, 2)][1:] == ["]d201095212345432131727033110AB"]


def test_a_stall_after_the_first_keys_into_a_field_loses_none_of_them(
    page: Page, scanner: Scanner
) -> None:
    scanner.scan(CODE)
    page.locator("#plain").fill("typed before")
    page.locator("#plain").focus()
    head, tail = "]d2", "0109521234543213"  # a stall of 366 ms was measured
    page.evaluate(SENT_WITH_PAUSES, [[keys_of(head), keys_of(tail)], 400, "Enter"])
    assert [each["text"] for each in heard(page, 2)][1:] == [head + tail]
    expect(page.locator("#plain")).to_have_value("typed before")


def test_what_a_person_typed_slowly_before_a_scan_is_not_part_of_it(
    page: Page, scanner: Scanner
) -> None:
    scanner.scan(CODE)
    page.locator("#plain").focus()
    scanner.gap_ms = 90
    scanner.scan("lot", end=None)
    page.wait_for_timeout(400)
    scanner.gap_ms = 0
    page.evaluate(SENT_WITH_PAUSES, [[keys_of("]d20109521234543213")], 0, "Enter"])
    assert [each["text"] for each in heard(page, 2)][1:] == ["]d20109521234543213"]
    expect(page.locator("#plain")).to_have_value("lot")


def test_a_scan_presses_no_button_and_chooses_nothing(page: Page, scanner: Scanner) -> None:
    page.locator("#b").focus()
    scanner.scan("AB CD 12 34")
    page.locator("#choice").focus()
    scanner.scan("three 1234567")
    assert [each["text"] for each in heard(page, 2)] == ["AB CD 12 34", "three 1234567"]
    assert page.evaluate("window.pressed") == 0
    assert page.locator("#choice").input_value() == "one"
    page.locator("#b").focus()
    scanner.end()  # a person's Enter still presses it
    assert page.evaluate("window.pressed") == 1


def test_slow_stray_keys_without_a_field_are_no_scan(page: Page, scanner: Scanner) -> None:
    scanner.gap_ms = 450
    scanner.scan("ab", end=None)
    page.wait_for_timeout(400)
    assert page.evaluate("window.scans.length") == 0


def test_a_field_that_gets_the_focus_while_a_scan_is_under_way_takes_all_of_it(page: Page) -> None:
    page.evaluate("document.activeElement?.blur()")
    page.evaluate(SENT_WITH_PAUSES, [[keys_of("CT")], 0, ""])
    page.locator("#own").focus()
    page.evaluate(SENT_WITH_PAUSES, [[keys_of("1.7K3M.C-0419.Z")], 0, "Enter"])
    assert page.locator("#own").input_value() == "CT1.7K3M.C-0419.Z"
    assert page.evaluate("window.scans.length") == 0
