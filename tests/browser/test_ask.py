"""Ask anything in a real browser: scan, follow, look closer by the keyboard, print."""

from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import person
from tests.browser.unit import PACK, Unit, gs1
from traceability.domain.keys import product_key


def test_a_scan_is_followed_and_its_picture_is_enlarged_by_keys(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, tag = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto")
        one.opens("/take")
        one.scans(tag)
        one.reads("R-0001")
        one.opens("/ask")
        expect(one.page.locator("#q")).to_be_focused()
        one.looks("ask")
        one.scans(gs1(PACK, "PK26-104"))
        one.page.wait_for_url("**/ask/lot?**")
        one.reads("This page is no recall answer.")
        one.looks("trace-of-a-lot")
        box = one.page.locator(".zoom-box").first
        picture = box.locator("svg")
        box.focus()
        whole = picture.bounding_box()
        assert whole is not None
        one.page.keyboard.press("+")
        one.page.keyboard.press("+")
        larger = picture.bounding_box()
        assert larger is not None
        assert larger["width"] > whole["width"] * 1.8
        one.page.keyboard.press("ArrowRight")
        one.page.wait_for_function("document.querySelector('.zoom-box').scrollLeft > 0")
        one.page.keyboard.press("0")
        back = picture.bounding_box()
        room = box.bounding_box()
        assert back is not None
        assert room is not None
        assert back["width"] <= room["width"]
        one.page.get_by_role("button", name="Larger").first.click()
        expect(one.page.get_by_text("1.4 times as large")).to_have_count(1)
        # A word of the picture is a link that keys reach.
        one.reaches_for_the_next()  # keys so fast would be a scan, and Enter its end
        link = picture.get_by_role("link", name=number)
        link.focus()
        one.page.keyboard.press("Enter")
        one.page.wait_for_url("**/ask/circuit?text=*")
        one.looks("trace-of-a-circuit")
        one.page.emulate_media(media="print")
        assert one.page.locator(".zoom-acts").first.is_hidden()
        over = one.page.locator(".zoom-box .over").first
        assert over.is_visible(), "the headings in the picture are printed too"
        one.page.emulate_media(media="screen")
        assert one.troubles == []


def test_the_picture_stands_whole_without_a_script(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    unit.ready_circuit()
    pack = product_key("gs1", PACK, site_id=unit.site.id)
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto")
        state = one.context.storage_state()
        plain = chromium.new_context(java_script_enabled=False, storage_state=state)
        page = plain.new_page()
        page.goto(f"{base}/ask/lot?of={pack}&text=PK26-104")
        assert page.locator(".zoom-box svg").count() >= 2
        assert page.locator(".zoom-acts").first.is_hidden(), "no button that does nothing"
        plain.close()
