"""Paper first and record later; circuits from elsewhere, to elsewhere, and out with the team."""

import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, expect

from app import create_app
from tests.browser.person import Person, person
from tests.browser.unit import BAG, PACK, PIN, TAP, TYPE, UNKNOWN, Unit, badge, gs1, make_unit
from tests.printing.paper import pages, symbols, text
from traceability.domain.tags import SymbolKind, circuit_symbol, read_symbol, site_code
from traceability.storage.ledger import first_break

TAP_LOT = "T77-0B1"


def wall(unit: Unit, hours: float) -> str:
    """Return what a person writes for a moment so many hours ago."""
    at = unit.services.now() - timedelta(hours=hours)
    return f"{at.astimezone(unit.services.settings.zone_info):%Y-%m-%d %H:%M}"


def besides_refusals(one: Person) -> list[str]:
    """Return what the browser complained of; it also names each answer that was a refusal.

    And its own page for papers has no store for what our scripts keep.
    """
    own = ("Failed to load resource", "reading 'setItem'")
    return [each for each in one.troubles if not any(word in each for word in own)]


def prints_a_sheet(one: Person) -> tuple[str, str, str]:
    """Print one sheet; return its number and what its two symbols say, read from the paper."""
    one.opens("/down-time")
    one.looks("down-time")
    one.page.locator("[name=count]").fill("1")
    one.page.locator("[name=circuit_type]").select_option(TYPE)
    with one.page.expect_response(re.compile(r"sheets\.pdf")) as answered:
        one.submits_to_a_pdf("sheets")
    address = answered.value.url
    pdf = one.fetches(address.removeprefix(one.base))[2]
    (drawn,) = pages(pdf, 203)
    found = symbols(drawn)
    assert len(found) == 2
    kinds = {read.kind: code for code in found if (read := read_symbol(code))}  # type: ignore[union-attr]
    sheet, tag = kinds[SymbolKind.FORM], kinds[SymbolKind.CIRCUIT]
    (number,) = set(re.findall(r"C-\d{4}", text(pdf)))
    assert "Tap before the oxygenator" in text(pdf)
    return number, sheet, tag


def enters_it(one: Person, unit: Unit, number: str, sheet: str) -> None:
    """Scan the number, then sticker after sticker, then what is written by hand."""
    one.opens("/down-time")
    one.scans(sheet)
    one.page.wait_for_url(re.compile(rf"/down-time/{number}$"))
    one.reads("is not entered yet")
    one.scans(gs1(PACK, "PK26-104"))
    one.reads("Added: Circuit pack adult")
    one.page.get_by_label("How many").fill("4")
    one.scans(gs1(TAP, TAP_LOT))
    one.reads("Three-way tap × 4")
    one.page.get_by_label("How many").fill("2")
    one.scans(gs1(BAG, "4K0O02B8"))
    one.reads("Sodium chloride 0.9 % × 2")
    one.scans(gs1(UNKNOWN, "SY5"))
    one.reads("New here: say once what it is")
    one.page.locator("[name='state-tap-5-1']").select_option("lot-not-readable")
    one.page.locator("[name='state-ties-0']").select_option("ticked")
    one.looks("late-filled")
    one.page.get_by_label("Prime begun").fill(wall(unit, 30))
    one.page.get_by_label("Prime ended").fill(wall(unit, 29))
    one.page.get_by_label("It stands in").select_option(label="console 3, mounted")
    one.page.get_by_label("Primer").select_option(label="E. Lind")
    one.presses("save")
    one.reads("Still missing: 1 × Syringe")
    one.reads(TAP_LOT)
    one.page.get_by_label("Open places").check()
    one.presses("save")
    one.page.wait_for_url(re.compile(rf"/circuits/{number}/sign$"))


def signs(one: Person) -> None:
    for name in ("E. Lind", "J. Ruiz"):
        one.scans(badge(name))
        one.types(PIN)
        with one.page.expect_navigation():
            one.page.keyboard.press("Enter")


def test_a_prime_on_paper_stands_on_the_shelf_in_the_end(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz", then="/prime")
        one.page.get_by_role("link", name=re.compile("Primed on paper")).click()
        number, sheet, tag = prints_a_sheet(one)
        one.opens("/down-time")
        one.reads(number)

        # Before it is entered the tag says so, and an emergency could go on.
        one.opens("/take")
        one.scans(tag)
        one.reads(f"{number} is not entered yet")
        one.looks("take-paper")

        enters_it(one, unit, number, sheet)
        signs(one)
        assert one.page.url.endswith(f"/circuits/{number}")
        one.reads("Prime entered from paper")
        one.reads("later")
        one.looks("late-circuit")
        one.opens("/")
        one.reads("1 of 2 ready")
        one.reads(number)

        # The number is used now: the sheet leads to its circuit, the tag takes it.
        one.opens("/down-time")
        one.reads("No sheet is out")
        one.scans(sheet)
        one.page.wait_for_url(re.compile(rf"/circuits/{number}$"))
        one.opens(f"/down-time/{number}")
        assert one.page.url.endswith(f"/circuits/{number}")
        one.opens("/take")
        one.scans(tag)
        one.page.wait_for_url(re.compile(rf"/taken/{number}$"))
        assert besides_refusals(one) == []
    with unit.services.reads() as reads:
        assert first_break(reads, unit.site.id) is None


def test_a_foreign_circuit_with_a_list_is_answered_as_stated(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto", then="/foreign")
        one.fills(sender="Inventium North ICU")
        one.presses_the_main_button()
        one.page.wait_for_url(re.compile(r"/circuits/X-0001$"))
        one.reads("Contents not recorded")
        one.looks("foreign-circuit")
        one.page.get_by_role("link", name="Add the list").click()
        one.page.wait_for_url(re.compile(r"/list$"))
        one.scans(gs1(TAP, TAP_LOT))
        one.reads("Added: Three-way tap")
        one.scans(gs1(BAG, "4K0O02B8"))
        one.reads("Added: Sodium chloride 0.9 %")
        one.scans("]d2019521234000")  # half a code
        one.looks("foreign-list")
        one.page.get_by_text("Type one in instead").click()
        one.page.locator("[name=typed_kind]").select_option("tap")
        one.presses("type")
        one.page.get_by_label("Who states it").fill("Inventium North ICU, its own list")
        one.page.get_by_label("This is all of it").check()
        one.presses("save")
        one.page.wait_for_url(re.compile(r"/circuits/X-0001$"))
        one.reads("Contents stated by Inventium North ICU, its own list")
        one.looks("foreign-listed")

        one.opens("/recall")
        one.scans(gs1(TAP, TAP_LOT))
        one.page.wait_for_url(re.compile(r"/recall/answer"))
        one.reads("1 circuit held this lot")
        one.reads("stated by the sending hospital")
        one.looks("foreign-answer")
        assert besides_refusals(one) == []


def test_a_file_out_of_one_store_goes_into_another(
    unit: Unit,
    base: str,
    served: Callable[[Callable[..., Any]], str],
    chromium: Browser,
    seen: Path,
    tmp_path: Path,
) -> None:
    number, tag = unit.ready_circuit()
    folder = tmp_path / "neighbour"
    folder.mkdir()
    neighbour = make_unit(folder, name="Inventium North")
    try:
        there = served(create_app(services=neighbour.services))
        with person(chromium, base, seen) as sender, person(chromium, there, seen) as receiver:
            sender.signs_in("J. Ruiz", then="/take")
            sender.scans(tag)
            sender.page.wait_for_url(re.compile(rf"/taken/{number}$"))
            sender.opens(f"/circuits/{number}/transfer")
            sender.looks("transfer")
            sender.fills(to="Inventium North")
            sender.presses_the_main_button()
            sender.reads("to Inventium North")
            sender.opens(f"/circuits/{number}")
            sender.reads("What comes after is beyond our record")
            sender.looks("transferred")
            status, kind, file = sender.fetches(f"/circuits/{number}/contents.json")
            assert (status, kind) == (200, "application/json")
            paper = sender.fetches(f"/circuits/{number}/hand-over.pdf")[2]
            (seen / "hand-over.pdf").write_bytes(paper)
            assert symbols(pages(paper, 300)[0]) == [tag]
            assert "PK26-104" in text(paper)
            assert "ring 5512" in text(paper)

            receiver.signs_in("J. Ruiz", then="/foreign")
            receiver.looks("foreign-file")
            for bad, told in (
                (file[:-40], "cut short"),
                (file.replace(b"PK26-104", b"PK26-105"), "digest does not fit"),
                (b"{}", "not a list of contents"),
            ):
                receiver.opens("/foreign")
                receiver.gives_the_file("contents.json", bad)
                receiver.reads(told)
            receiver.opens("/foreign")
            receiver.gives_the_file("contents.json", file)
            receiver.page.wait_for_url(re.compile(r"/circuits/X-0001$"))
            receiver.reads("from a file")
            receiver.reads("PK26-104")
            receiver.looks("foreign-from-file")
            receiver.opens("/recall?lot=PK26-104")
            receiver.reads("stated by the sending hospital")

            # And its own file is not another hospital's.
            sender.opens("/foreign")
            sender.gives_the_file("contents.json", file)
            sender.reads("This file was written here")
            assert besides_refusals(sender) == []
    finally:
        neighbour.services.close()


def test_a_circuit_goes_out_with_the_team_and_flow_on_is_entered_on_return(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, tag = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz", then="/take")
        one.page.get_by_role("link", name=re.compile("^Retrieval")).click()
        one.page.wait_for_url(re.compile(r"/retrieval$"))
        one.looks("retrieval")
        one.scans(tag)
        one.page.get_by_label("Hours away").fill("6,5")
        one.presses_the_main_button()
        one.reads(re.compile(r"Use-by is 29 d \d+ h after your return"))
        one.looks("retrieval-checked")
        one.opens(f"/retrieval?tag={number}&hours=300&out={wall(unit, -24 * 20)}")
        one.reads("Use-by ends while you are away")
        one.looks("retrieval-ends")
        one.opens(f"/retrieval?tag={number}&hours=6")
        paper = one.fetches(f"/circuits/{number}/retrieval.pdf?hours=6")[2]
        (seen / "retrieval.pdf").write_bytes(paper)
        assert symbols(pages(paper, 300)[0]) == [circuit_symbol(site_code(unit.site.id), number)]
        assert "after your return" in text(paper)
        one.page.get_by_label("Out at").fill(wall(unit, 1))
        one.presses_the_main_button()
        one.page.wait_for_url(re.compile(rf"/retrieval/{number}"))
        one.looks("away")
        one.opens("/")
        one.reads("away with the retrieval team")
        one.looks("shelf-away")
        one.opens(f"/circuits/{number}")
        one.reads("Away with the retrieval team since")
        one.page.get_by_role("link", name=re.compile("Back from the retrieval")).click()
        one.page.get_by_label("Flow on was at").fill(wall(unit, 0.5))
        one.submits("flow-on")
        expect(one.page).to_have_title(re.compile(f"{number} on a patient"))
        one.opens("/")
        expect(one.page.locator("body")).not_to_contain_text("away with the retrieval team")
        assert one.troubles == []
