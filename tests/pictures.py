"""Takes the pictures that documents show, from the demo's own pages: `make pictures`.

They land in `docs/pictures/`. The demo ends today, so dates in them are those of the day.
"""

import os
import re
import shutil
import subprocess
import tempfile
from contextlib import closing
from pathlib import Path
from typing import Final

from playwright.sync_api import Page, ViewportSize, sync_playwright

from app import create_app
from demo_data.hospital import DESK, PIN, RUIZ
from demo_data.make_demo import make_demo
from tests.film_strip import film_strip
from tests.servers import served_by_waitress
from traceability.settings import Settings
from traceability.wiring import Services, wire

TO: Final = Path(__file__).parents[1] / "docs" / "pictures"
DESK_SIZE: Final[ViewportSize] = {"width": 1280, "height": 800}
PHONE_SIZE: Final[ViewportSize] = {"width": 390, "height": 844}


def main() -> None:
    """Fill a store, serve it, look at it and keep what is seen."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        raise SystemExit("Chromium is missing; `make tools` prints the command that installs it.")
    TO.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        services = wire(Settings(var_dir=Path(folder)))
        services.create_tables()
        make_demo(services, progress=lambda _done, _of: None)
        flags = ["--disable-gpu", *(["--no-sandbox"] if os.geteuid() == 0 else [])]
        with (
            served_by_waitress(create_app(services=services)) as base,
            sync_playwright() as playwright,
            closing(playwright.chromium.launch(executable_path=program, args=flags)) as browser,
        ):
            page = browser.new_page(viewport=DESK_SIZE, device_scale_factor=1)
            take_pictures(page, base, services)
            film_strip(browser, TO / "prime.png")
            print("docs/pictures/prime.png")
        services.close()


def take_pictures(page: Page, base: str, services: Services) -> None:
    """Go from page to page as somebody of the demo."""
    page.goto(f"{base}/sign-in")
    _enrol(page, base, DESK.enrol_code)
    _sign_in(page, base)
    _take(page, f"{base}/", "shelf")
    number = page.locator("a.lot[href^='/circuits/']").first.inner_text()
    _take(page, f"{base}/circuits/{number}", "circuit")
    tag(page, base, number)
    page.goto(f"{base}/prime")
    priming = page.locator("a.lot[href^='/prime/']")
    if priming.count():
        _take(page, f"{base}/prime/{priming.first.inner_text()}", "trolley")
    page.goto(f"{base}/circuits/{number}")
    lot = page.locator("table.it td.nw .lot").first.inner_text()
    page.goto(f"{base}/recall?lot={lot}")
    answer = page.locator("a[href^='/recall/answer']")
    if "/recall/answer" not in page.url and answer.count():
        answer.first.click()
    _shot(page, "recall")
    page.set_viewport_size(PHONE_SIZE)
    _take(page, f"{base}/take", "take")


def tag(page: Page, base: str, number: str) -> None:
    """Keep the circuit tag as a label printer of 203 dots an inch draws it."""
    pdf = page.context.request.get(f"{base}/circuits/{number}/tag.pdf").body()
    drawn = ["pdftoppm", "-r", "203", "-png", "-singlefile", "-", str(TO / "tag")]
    subprocess.run(drawn, input=pdf, check=True)


def _take(page: Page, address: str, name: str) -> None:
    page.goto(address)
    _shot(page, name)


def _shot(page: Page, name: str) -> None:
    page.wait_for_load_state("networkidle")
    page.screenshot(path=TO / f"{name}.png")
    print(f"docs/pictures/{name}.png")


def _enrol(page: Page, base: str, code: str) -> None:
    page.goto(f"{base}/sign-in")
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    page.locator("form[action='/enrol'] [name=code]").fill(code)
    page.locator("form[action='/enrol'] button").click()
    page.wait_for_url(re.compile(r"/$"))


def _sign_in(page: Page, base: str) -> None:
    page.goto(f"{base}/sign-in")
    page.locator("[name=badge]").fill(RUIZ.badge)
    page.locator("[name=pin]").fill(PIN)
    page.locator("main form button.main").first.click()
    page.wait_for_url(re.compile(r"/$"))


if __name__ == "__main__":
    main()
