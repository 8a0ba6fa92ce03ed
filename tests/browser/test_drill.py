"""The drill as people see it: the share, what is to be mended, and a clock until all are told."""

import re
from datetime import timedelta
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import Person, person
from tests.browser.unit import PACK, TAP, Unit, by, gs1
from traceability.actions.stock.receive import ReceiveStock, receive_stock
from traceability.domain.tags import place_symbol, site_code

LOT = "T77-0B1"


def books_in(one: Person, packs: str = "12") -> None:
    one.opens("/stock/receive")
    one.fills(packs=packs)
    one.page.get_by_label("Goes to").select_option(label="box 1")
    one.page.locator("#text").focus()
    with one.page.expect_navigation():
        one.scans(gs1(TAP, LOT))


def test_the_service_drills_and_what_is_open_leads_to_where_it_is_mended(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    early = unit.services.now() - timedelta(hours=3)
    received = ReceiveStock(sent=by("S. Berg"), at=early, text=gs1(PACK, "PK26-103"))
    receive_stock(received, site=unit.site)
    unit.ready_circuit()  # its pack was never booked in
    with person(chromium, base, seen) as one:
        one.signs_in("S. Berg")
        one.opens("/drill")
        one.reads("No drill yet.")
        one.looks("drill-none")
        with one.page.expect_navigation():
            one.page.get_by_role("button", name=re.compile("Drill now")).click()
        one.reads("Used, with no receipt before that")
        expect(one.page.locator(".share .big")).to_contain_text("1 of 2 units")
        one.looks("drill")
        status, kind, data = one.fetches("/drill/to-mend.csv")
        assert (status, kind.split(";")[0]) == (200, "text/csv")
        assert b"no-receipt-before-use" in data
        with one.page.expect_navigation():
            one.page.get_by_role("link", name=re.compile("Enter the receipt")).first.click()
        assert "/stock/" in one.page.url
        assert one.troubles == []


def test_the_clock_of_a_drill_stops_when_all_named_were_told(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto")
        one.opens("/drill")
        one.page.get_by_role("button", name=re.compile("Begin a drill")).click()
        one.reads("No lot is known here yet.")
    with person(chromium, base, seen) as keeper:
        keeper.signs_in("S. Berg")
        books_in(keeper)
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto")
        one.opens("/drill")
        one.page.locator("#lot").focus()
        one.scans(gs1(TAP, LOT))
        expect(one.page.locator("#lot")).not_to_have_value("")
        one.unfolds()
        for role in ("Pharmacist on duty", "Biomedical engineer on duty"):
            one.page.get_by_label(role).uncheck()
        one.page.get_by_label("E. Lind").check()
        with one.page.expect_navigation():
            one.page.get_by_role("button", name=re.compile("Begin a drill")).click()
        one.reads("DRILL. This is no notice.")
        one.reads("0 of 2 told")
        clock = one.page.locator("[data-drill-since]")
        before = clock.inner_text()
        expect(clock).not_to_have_text(before)
        one.looks("people-drill")
        one.page.get_by_role("link", name=re.compile("Which circuits hold it")).click()
        one.reads("DRILL. This is no notice.")
        one.looks("people-drill-answer")
        one.page.go_back()
        with one.page.expect_navigation():
            one.page.get_by_role("button", name="Answer found").click()
        one.page.locator("#text").focus()
        with one.page.expect_navigation():
            one.scans(gs1(TAP, "OTHER-1"))
        one.reads("That is no place of this unit, and no pack of this lot.")
        one.page.locator("#text").focus()
        with one.page.expect_navigation():
            one.scans(place_symbol(site_code(unit.site.id), "B1"))
        one.reads("box 1, N. Aalto")
        for _ in range(2):
            with one.page.expect_navigation():
                one.page.get_by_role("button", name=re.compile("^Told")).first.click()
        one.reads("Everybody named was told")
        expect(one.page.locator("[data-drill-since]")).to_have_count(0)
        one.looks("people-drill-over")
        one.opens("/drill")
        one.reads("2 of 2")
        one.looks("drill-people-history")
        one.opens(f"/lots/{_product(one)}/{LOT}")
        expect(one.page.locator("body")).not_to_contain_text("On hold")
        assert [each for each in one.troubles if "422" not in each] == []


def _product(one: Person) -> str:
    one.opens("/stock")
    address = one.page.get_by_role("link", name="Three-way tap").first.get_attribute("href")
    return str(address).rsplit("/", 1)[1]


def test_who_may_not_see_it_is_told_so(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("E. Lind")
        one.opens("/drill")
        one.reads("This is for a recall coordinator or an administrator")
