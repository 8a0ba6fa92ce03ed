"""A unit with numbers of its own from GS1: its labels are keys, and each is found when scanned."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import Browser, expect

from app import create_app
from tests.browser.person import Person, person
from tests.browser.unit import TYPE, Unit
from tests.printing.paper import pages, symbols
from traceability.identifiers.checks import gs1_check
from traceability.identifiers.interpret import interpret
from traceability.identifiers.reading import Status

PREFIX: Final = "9521234"
"""Under 952, GS1's prefix for demonstrations."""
NUMBER: Final = "952123400000" + gs1_check("952123400000")

Serve = Callable[[Callable[..., Any]], str]


def with_numbers(unit: Unit, served: Serve, **numbers: str) -> str:
    settings = replace(unit.services.settings, **numbers)  # type: ignore[arg-type]
    return served(create_app(services=replace(unit.services, settings=settings)))


def keys_on(one: Person, address: str, dpi: int = 203) -> list[str]:
    """Return the symbols of a PDF's first page, each a valid GS1 element string."""
    status, _, pdf = one.fetches(address)
    assert status == 200
    found = symbols(pages(pdf, dpi)[0])
    for text in found:
        read = interpret(text, symbology_identifier="]d2", today=date(2030, 1, 1))
        assert read.status is Status.OK, text
        assert read.device_identifier is None, "no product"
    return found


def test_a_circuit_is_taken_by_its_key_and_by_every_earlier_one(
    unit: Unit, served: Serve, chromium: Browser, seen: Path
) -> None:
    first, private = unit.ready_circuit()
    second, _ = unit.ready_circuit()
    old = with_numbers(unit, served, own_prefix="95219876")
    with person(chromium, old, seen) as one:
        one.signs_in("S. Berg")
        (old_tag,) = keys_on(one, f"/circuits/{first}/tag.pdf")
        assert old_tag.startswith("800495219876")
        for size in ("circuit_tag_large", "drape_tag"):
            assert keys_on(one, f"/circuits/{first}/tag.pdf?size={size}") == [old_tag]
        assert keys_on(one, f"/circuits/{first}/notice/on_hold.pdf") == [old_tag]
    now = with_numbers(unit, served, own_prefix=PREFIX)
    with person(chromium, now, seen) as one:
        one.enrols(unit.enrol_code())
        one.opens("/take")
        one.scans(old_tag)
        one.page.wait_for_url(re.compile(rf"/taken/{first}$"))
        # On that page the same tag means flow on, whichever form it is in.
        one.scans(private)
        one.reads("Flow on")
        one.signs_in("S. Berg")
        (tag,) = keys_on(one, f"/circuits/{second}/tag.pdf")
        assert tag.startswith(f"8004{PREFIX}")
        one.opens("/take")
        one.scans(tag)
        one.page.wait_for_url(re.compile(rf"/taken/{second}$"))
        one.opens("/labels")
        one.page.locator("#text").focus()
        one.scans(tag)
        one.reads(f"Read whole: the tag of circuit {second}.")
        assert one.troubles == []


def test_places_forms_and_badges_are_found_by_their_keys(
    unit: Unit, served: Serve, chromium: Browser, seen: Path
) -> None:
    base = with_numbers(unit, served, own_prefix=PREFIX, own_location=NUMBER, own_document=NUMBER)
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        (place,) = keys_on(one, "/labels/places.pdf?kind=console")
        assert place.startswith(f"414{NUMBER}254P.")
        one.opens("/prime")
        one.scans(place)
        expect(one.page.locator("#place-says")).to_contain_text("Chosen: ")

        one.opens("/down-time")
        one.page.locator("[name=count]").fill("1")
        one.page.locator("[name=circuit_type]").select_option(TYPE)
        with one.page.expect_response(re.compile(r"sheets\.pdf")) as answered:
            one.submits_to_a_pdf("sheets")
        on_sheet = keys_on(one, answered.value.url.removeprefix(base))
        sheet = next(text for text in on_sheet if text.startswith("253"))
        assert any(text.startswith("8004") for text in on_sheet)
        one.opens("/down-time")
        one.scans(sheet)
        one.page.wait_for_url(re.compile(r"/down-time/C-\d+$"))

        one.signs_in("S. Berg")
        one.opens("/people")
        row = one.page.get_by_role("row", name=re.compile("J. Ruiz"))
        row.get_by_role("button", name="New badge").click()
        shown = one.page.locator(".once dd")
        code, pin = shown.nth(0).inner_text(), shown.nth(1).inner_text()
        assert re.fullmatch(rf"{PREFIX}\d{{11}}", code)
        with one.page.expect_response(re.compile(r"badge\.pdf")) as printed:
            form = one.page.locator("form[action='/badge.pdf']")
            form.evaluate("form => { form.target = '_self'; form.requestSubmit(); }")
        assert printed.value.status == 200
    with person(chromium, base, seen) as one:
        one.opens("/sign-in")
        one.scans(f"8017{code}")
        one.types(pin)
        one.page.keyboard.press("Enter")
        one.page.wait_for_url(re.compile(r"/pin"))
