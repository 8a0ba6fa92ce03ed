"""Receiving by keyboard wedge, and what the shelves then allow, as who keeps stock sees it."""

import re
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import Person, person
from tests.browser.unit import BAG, GS, LATER, PACK, TAP, TYPE, UNKNOWN, Unit, gs1


def receives(one: Person, text: str, booked: str) -> None:
    """Scan one pack; the page says what was booked in and waits for the next."""
    with one.page.expect_navigation():
        one.scans(text)
    expect(one.page.locator(".said")).to_contain_text(booked)
    assert one.page.evaluate("document.activeElement.id") == "text"


def test_three_packs_by_wedge_alone_and_the_number_of_primes_grows(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("S. Berg")
        one.opens("/stock")
        one.reads(f"{TYPE}: no number yet")
        one.page.get_by_role("link", name="Receive").click()
        one.page.get_by_label("Goes to").select_option(label="box 1")
        one.page.locator("#text").focus()
        receives(one, gs1(PACK, "PK26-104"), "Circuit pack adult, lot PK26-104: 1 piece")
        one.reads(f"{TYPE}: 1 more prime. Circuit pack adult limits.")
        receives(one, gs1(PACK, "PK26-105"), "1 piece, box 1")  # the place stays
        one.reads(f"{TYPE}: 2 more primes.")
        one.fills(packs="12")
        one.page.locator("#text").focus()
        receives(one, gs1(TAP, "T77-0B1"), "12 pieces")
        one.looks("stock-receive")
        receives(one, gs1(BAG, "4K0I"), "1 piece")
        one.reads(f"{TYPE}: 0 more primes.")
        one.opens("/")
        one.reads(f"{TYPE}: 0 more primes. Sodium chloride 0.9 %, 1 L limits.")
        one.looks("stock-on-the-shelf-page")
        one.page.get_by_role("link", name="Stock", exact=True).click()
        expect(one.page.locator("#shelves + .table-box")).to_contain_text("PK26-105")
        one.looks("stock")
        assert one.troubles == []


def test_what_is_asked_back_at_the_shelves_is_answered_there(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("S. Berg")
        one.opens("/stock/receive")
        one.scans(f"]C110T77-0B1{GS}17{LATER}")  # half a label
        expect(one.page.locator(".refused")).to_contain_text("Scan the other barcode")
        receives(one, f"]C101{TAP}", "Three-way tap, lot T77-0B1: 1 piece")
        one.scans(f"]C101{TAP}")  # a code without a lot
        expect(one.page.locator(".refused")).to_contain_text("Lot is not in this code")
        one.looks("stock-lot-missing")
        lot = one.page.locator(".lot-form")
        lot.get_by_label("Lot", exact=True).fill("T9-1")
        lot.get_by_role("button").click()
        expect(one.page.locator(".said")).to_contain_text("lot T9-1: 1 piece")
        one.scans(gs1(UNKNOWN, "X1"))
        one.page.get_by_role("link", name="Say what it is").click()
        one.fills(name="Pump head", maker="Mellowick Perfusion", kind="pump-head")
        one.presses_the_main_button()
        one.page.wait_for_url(re.compile("/stock/receive$"))
        one.page.locator("#text").focus()
        receives(one, gs1(UNKNOWN, "X1"), "Pump head, lot X1: 1 piece")
        assert [each for each in one.troubles if "422" not in each] == []


def test_a_product_is_counted_moved_and_taken_out(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("S. Berg")
        one.opens("/stock/receive")
        one.fills(packs="25")
        one.page.get_by_label("Goes to").select_option(label="box 1")
        one.page.locator("#text").focus()
        receives(one, gs1(TAP, "T77-0B1"), "25 pieces")
        one.page.get_by_role("link", name="Three-way tap").first.click()
        one.fills(**{"count-0": "22"})
        one.page.get_by_role("button", name=re.compile("Save the count")).click()
        one.reads("Counted: \u22123 against the book.")
        move = one.page.locator("form[action$='/move']")
        move.get_by_label("Pieces").fill("10")
        move.get_by_label("To").select_option(label="console 3")
        move.get_by_role("button").click()
        one.reads("Moved 10 pieces, lot T77-0B1 to console 3.")
        out = one.page.locator("form[action$='/out']")
        out.get_by_label("Pieces").fill("30")
        out.get_by_label("Why").select_option(label="Lent")
        out.get_by_role("button").click()
        one.reads("Taken out 30 pieces, lot T77-0B1: lent.")
        one.reads("More went out than was booked in. Count it")
        one.looks("stock-product")
        one.opens("/stock")
        one.reads("A count is to be made.")
        one.looks("stock-to-count")
        assert one.troubles == []
