"""A morning at the shelf, in a real browser: look at a circuit, find something, tell somebody."""

import re
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import person
from tests.browser.unit import Unit

WALL = (1920, 1080)


def test_a_look_is_a_scan_and_one_key_and_a_bad_one_leads_to_hold_or_discard(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, tag = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        expect(one.page.locator("h1")).to_have_text("1 of 2 ready")
        one.reads("Not looked at since it was primed.")
        with one.page.expect_navigation():
            one.page.get_by_role("link", name="Look at a circuit").click()
        one.scans(tag)
        expect(one.page.locator("h1")).to_have_text(f"Look at {number}")
        one.looks("look")
        with one.page.expect_navigation():
            one.page.keyboard.press("Tab")
            one.page.get_by_role("button", name=re.compile("all right")).focus()
            one.page.keyboard.press("Enter")
        one.reads(f"{number}: all right.")
        # The field has the focus again: the next tag can be scanned at once.
        one.scans(tag)
        one.page.get_by_label("Seal").check()
        with one.page.expect_navigation():
            one.page.get_by_role("button", name=re.compile("^Not right")).click()
        one.reads(f"{number}: seal not right. It does not count as ready.")
        one.looks("look-found")
        one.page.get_by_role("link", name="discard it").click()
        reason = one.page.locator("#discard-reason")
        expect(reason).to_be_visible()
        expect(one.page.locator(".band").first).to_contain_text("The last look found something")
        one.opens("/")
        expect(one.page.locator("h1")).to_have_text("0 of 2 ready")
        one.reads("Seal not right")
        assert one.troubles == []


def test_who_was_told_stands_beside_the_missing_place(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        place = one.page.locator(".berth", has_text="console 3")
        expect(place).to_contain_text("Nobody yet. This service rings nobody.")
        place.get_by_text("Somebody was told").click()
        place.get_by_label("Who was told").fill("N. Aalto, charge consultant")
        with one.page.expect_navigation():
            place.get_by_role("button", name=re.compile("Record it")).click()
        expect(place).to_contain_text("N. Aalto, charge consultant")
        assert one.troubles == []
    with person(chromium, base, seen) as nobody:
        nobody.opens("/")
        nobody.reads("Told by hand")
        assert "Aalto" not in nobody.page.content()


def test_a_wall_shows_the_shelf_whole_and_large(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    """1080 lines: the count, both places and the weeks stand on one screen while all is right.

    Letters of the count at least 70 px high: own choice, no source.
    """
    unit.ready_circuit()
    with person(chromium, base, seen, size=WALL) as wall:
        wall.opens("/")
        one, berth = wall.page.locator("h1"), wall.page.locator(".berth").first
        expect(one).to_have_text("1 of 2 ready")
        box, place = one.bounding_box(), berth.bounding_box()
        assert box is not None
        assert place is not None
        assert box["height"] >= 70
        assert place["y"] + place["height"] <= WALL[1]
        for each in wall.page.locator(".state").all():
            lines = each.evaluate(
                "e => e.getClientRects().length && e.scrollWidth <= e.clientWidth"
            )
            assert lines, each.inner_text()
        wall.page.screenshot(path=seen / "wall.png")
        assert wall.troubles == []


def test_the_model_answers_what_if(unit: Unit, base: str, chromium: Browser, seen: Path) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("S. Berg")
        one.page.get_by_role("link", name="How many should stand ready?").click()
        one.reads("The log holds no call yet.")
        one.page.get_by_label("Calls a week").fill("1")
        one.page.get_by_label("Hours to prime again").fill("24")
        with one.page.expect_navigation():
            one.page.get_by_role("button", name="Look again").click()
        row = one.page.locator("tr.wanted")
        expect(row).to_contain_text("0.885 %")
        expect(one.page.locator("svg.chances")).to_be_visible()
        one.looks("standby-what-if")
        assert one.troubles == []
