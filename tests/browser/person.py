"""A person at a browser, in the words of the ward; the scanner is a keyboard that types by itself.

Every key is a physical key of a US keyboard, as scanners send them; the separator is Ctrl+].
"""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Locator, Page, expect

from tests.browser.axe import violations
from tests.browser.unit import GS, PIN, TYPE, badge

SIZES: Final = {"desk": (1280, 800), "phone": (390, 844)}

KEYS: Final = {
    **{letter: f"Key{letter.upper()}" for letter in "abcdefghijklmnopqrstuvwxyz"},
    **{letter: f"Shift+Key{letter}" for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"},
    **{digit: f"Digit{digit}" for digit in "0123456789"},
    **{shifted: f"Shift+Digit{n}" for n, shifted in enumerate(")!@#$%^&*(")},
    " ": "Space",
    "-": "Minus",
    "_": "Shift+Minus",
    "=": "Equal",
    "+": "Shift+Equal",
    "[": "BracketLeft",
    "]": "BracketRight",
    "{": "Shift+BracketLeft",
    "}": "Shift+BracketRight",
    '"': "Shift+Quote",
    "<": "Shift+Comma",
    "\\": "Backslash",
    "|": "Shift+Backslash",
    "`": "Backquote",
    "~": "Shift+Backquote",
    ";": "Semicolon",
    ":": "Shift+Semicolon",
    "'": "Quote",
    ",": "Comma",
    ".": "Period",
    ">": "Shift+Period",
    "/": "Slash",
    "?": "Shift+Slash",
    GS: "Control+BracketRight",
    "\x1e": "Control+Shift+Digit6",
    "\x04": "Control+KeyD",
}

WATCH: Final = """
// This browser has met its scanner before: a stall of a busy machine inside a code is no end of it.
localStorage.setItem("ct.scanner.ends", "1");
document.addEventListener("securitypolicyviolation",
  (event) => window.ctViolated(`${event.violatedDirective} ${event.blockedURI}`));
"""


@dataclass(slots=True)
class Person:
    """Somebody at one browser."""

    context: BrowserContext
    page: Page
    base: str
    seen: Path
    """Where pictures of pages go."""
    troubles: list[str] = field(default_factory=list)
    """What the browser complained of: errors of scripts, and what the policy forbade."""

    # ---- keys ------------------------------------------------------------------------------------
    def scans(self, text: str) -> None:
        """Hold the scanner on a symbol: all its characters as keys, then Enter."""
        self.page.wait_for_load_state()  # nobody scans before the page stands
        for char in text:
            self.page.keyboard.press(KEYS[char])
        self.page.keyboard.press("Enter")

    def scans_fast(self, text: str) -> None:
        """The same with no time between keys, for texts that would take long to type."""
        self.page.wait_for_load_state()
        self.page.evaluate(
            """(codes) => {
              const send = (code, shiftKey) => document.activeElement.dispatchEvent(
                new KeyboardEvent("keydown", { code, shiftKey, bubbles: true, cancelable: true }));
              for (const code of codes) send(code.replace("Shift+", ""), code.includes("Shift+"));
              send("Enter", false);
            }""",
            [KEYS[char] for char in text],
        )

    def reaches_for_the_next(self) -> None:
        """Put a piece away and take the next of the same lot; that takes longer than 1.5 s."""
        self.page.wait_for_timeout(1600)

    def types(self, text: str) -> None:
        """Type as a person does, slowly."""
        for char in text:
            self.page.keyboard.press(KEYS[char])
            self.page.wait_for_timeout(70)

    def opens(self, path: str) -> None:
        """Open a page."""
        self.page.goto(f"{self.base}{path}")

    # ---- acts ------------------------------------------------------------------------------------
    def signs_in(self, name: str, then: str = "/") -> None:
        """Scan the badge, type the PIN."""
        self.opens(f"/sign-in?next={then}")
        self.scans(badge(name))
        expect(self.page.locator("#pin")).to_be_focused()  # the badge is in; then the PIN is typed
        self.types(PIN)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")
        expect(self.page.get_by_text(name).first).to_be_visible()

    def enrols(self, code: str) -> None:
        """Make this browser one of the unit's devices."""
        self.opens("/sign-in")
        self.unfolds()
        self.page.locator("form[action='/enrol'] [name=code]").fill(code)
        self.submits("enrol")

    def unfolds(self) -> None:
        """Open whatever is folded away on the page."""
        self.page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")

    def begins_a_prime(self, place: str = "console 3, mounted") -> str:
        """Choose type and place, and return the circuit's number."""
        self.opens("/prime")
        self.page.get_by_label("It will stand in").select_option(label=place)
        self.page.get_by_label(TYPE).check()
        self.page.get_by_label("Primer").select_option(label="E. Lind")
        self.presses_the_main_button()
        self.page.wait_for_url(re.compile(r"/prime/C-\d+$"))
        return self.page.url.rsplit("/", 1)[1]

    def fills(self, **fields: str) -> None:
        """Fill in or choose fields of the page's main form by their names."""
        for name, value in fields.items():
            into = self.page.locator(f"main form [name={name}]").first
            if into.evaluate("field => field.tagName") == "SELECT":
                into.select_option(value)
            else:
                into.fill(value)

    def presses_the_main_button(self) -> None:
        """Do what the page is for: it has one button that stands out."""
        self.page.locator("main form button.main").first.click()

    def presses(self, do: str) -> None:
        """Press one of a form's buttons by what it does."""
        with self.page.expect_navigation():
            self.page.locator(f"main button[name=do][value={do}]").click()

    def gives_the_file(self, name: str, data: bytes) -> None:
        """Choose a file and send its form."""
        field = self.page.locator("input[type=file]").first
        field.set_input_files({"name": name, "mimeType": "application/json", "buffer": data})
        with self.page.expect_navigation():
            field.evaluate("field => field.form.requestSubmit()")

    def submits_to_a_pdf(self, act: str) -> None:
        """Send a form whose answer is a paper: the browser shows it, or keeps it."""
        self.page.locator(f"form[action$='/{act}']").evaluate("form => form.requestSubmit()")

    def submits(self, act: str) -> None:
        """Send the form of an act of this page, wherever it is folded away."""
        with self.page.expect_navigation():
            self.page.locator(f"form[action$='/{act}']").evaluate("form => form.requestSubmit()")

    def sees(self, word: str, sentence: str | re.Pattern[str] = "") -> None:
        """Look at the strip: the verdict's word, and the sentence beside it."""
        strip = self.strip
        expect(strip.locator(".word")).to_have_text(word)
        if sentence:
            expect(strip.locator(".what")).to_have_text(sentence)

    @property
    def strip(self) -> Locator:
        """The verdict strip."""
        return self.page.locator("[data-strip]")

    def counts(self, recorded: int) -> None:
        """Look at how many parts the strip says are recorded."""
        expect(self.strip.locator(".left b")).to_have_text(str(recorded))

    def reads(self, words: str | re.Pattern[str]) -> None:
        """Find words on the page."""
        expect(self.page.locator("body")).to_contain_text(words)

    def hears(self, said: ConsoleMessage) -> None:
        """Keep what the browser complains of."""
        if said.type == "error":
            self.troubles.append(f"console: {said.text} {said.location.get('url', '')}")

    # ---- looking ---------------------------------------------------------------------------------
    def looks(self, name: str) -> None:
        """Keep a picture of the page at both sizes; nothing may hang over its side.

        At both, by day and by night, an automated checker finds nothing wrong (WCAG 2.2, A and AA).
        """
        before = self.page.viewport_size
        for size, (wide, tall) in SIZES.items():
            self.page.set_viewport_size({"width": wide, "height": tall})
            self.page.wait_for_timeout(150)
            self.page.screenshot(path=self.seen / f"{name}-{size}.png", full_page=size == "phone")
            over = self.page.evaluate(
                "document.documentElement.scrollWidth - document.documentElement.clientWidth"
            )
            assert over <= 0, f"{name} at {wide} px: {over} px hang over the side"
            before_it = len(self.troubles)
            wrong = violations(self.page, night=size == "desk")
            del self.troubles[before_it:]  # the checker's own styles, which the policy forbids
            assert wrong == [], f"{name} at {wide} px: {wrong}"
        if before:
            self.page.set_viewport_size(before)

    def fetches(self, path: str) -> tuple[int, str, bytes]:
        """Return status, type and bytes of what stands at an address, as this person sees it."""
        answer = self.context.request.get(f"{self.base}{path}")
        return answer.status, answer.headers.get("content-type", ""), answer.body()


@contextmanager
def person(
    chromium: Browser, base: str, seen: Path, *, size: tuple[int, int] = SIZES["desk"]
) -> Iterator[Person]:
    """Give somebody a browser of their own."""
    context = chromium.new_context(viewport={"width": size[0], "height": size[1]})
    context.set_default_timeout(8_000)
    page = context.new_page()
    one = Person(context=context, page=page, base=base, seen=seen)
    told: Callable[..., None] = lambda _source, what: one.troubles.append(f"policy: {what}")  # noqa: E731
    context.expose_binding("ctViolated", told)
    context.add_init_script(WATCH)
    page.on("pageerror", lambda error: one.troubles.append(f"script: {error}"))
    page.on("console", lambda said: one.hears(said))  # noqa: PLW0108 - the library marks what it is given
    try:
        yield one
    finally:
        context.close()
