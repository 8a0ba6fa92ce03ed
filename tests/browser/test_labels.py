"""Labels as those see them who print them: the list, the tag at three sizes, reading back."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from app import create_app
from tests.browser.person import person
from tests.browser.unit import Unit, by, key
from tests.printing.paper import pages, symbols, text
from tests.printing.print_system import LabelPrinter
from traceability.actions.lists.site import SetPlace, set_place
from traceability.domain.tags import OwnSymbol, read_symbol
from traceability.domain.trials import TRIALS
from traceability.printing.samples import label_names


def test_labels_are_looked_at_printed_and_read_back(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, tag = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("S. Berg")
        one.opens("/lists")
        one.page.get_by_role("link", name="Labels").click()
        one.page.wait_for_url(re.compile(r"/labels$"))
        pictures = one.page.locator(".samples img")
        expect(pictures).to_have_count(len(label_names()))
        for at in range(pictures.count()):
            pictures.nth(at).scroll_into_view_if_needed()
            expect(pictures.nth(at)).to_have_js_property("complete", True)
            assert pictures.nth(at).evaluate("image => image.naturalWidth") > 100
        one.looks("labels")

        _, _, pdf = one.fetches("/labels/ruler.pdf?dpi=203")
        (page,) = pages(pdf, 203)
        one.page.locator("#text").focus()
        one.scans(symbols(page)[0])
        one.reads("lay a ruler on the line: 79.6 to 80.4 mm is right")
        one.page.locator("#text").focus()
        one.scans(tag[:-2])
        one.reads("only half of it was read")
        one.page.locator("#text").focus()
        one.scans(tag)
        one.reads(f"Read whole: the tag of circuit {number}.")

        for text_sent, says in (
            (TRIALS[0][1], "came as it is printed"),
            (TRIALS[0][1].replace("\x1d", ""), "The separator was lost"),
        ):
            one.page.locator("#text").focus()
            one.scans(text_sent)
            one.reads(says)

        for size in ("circuit_tag", "circuit_tag_large", "drape_tag"):
            status, _, pdf = one.fetches(f"/circuits/{number}/tag.pdf?size={size}&dpi=300")
            assert status == 200
            (page,) = pages(pdf, 300)
            assert symbols(page) == [tag], size
            assert "PLAIN TAG" not in text(pdf)
        for name in ("on_hold", "do_not_use", "contents_not_recorded"):
            status, _, pdf = one.fetches(f"/circuits/{number}/notice/{name}.pdf")
            assert status == 200
            assert name.replace("_", " ").upper() in text(pdf)
        for kind in ("console", "box"):
            status, _, pdf = one.fetches(f"/labels/places.pdf?kind={kind}")
            assert status == 200
            assert all(
                isinstance(read_symbol(each), OwnSymbol)
                for page in pages(pdf, 203)
                for each in symbols(page)
            )
        for wrong in (
            "/labels/places.pdf?kind=none",
            "/labels/sample/..png",
            f"/circuits/{number}/notice/circuit_tag.pdf",
            f"/circuits/{number}/tag.pdf?dpi=72",
            f"/circuits/{number}/tag.pdf?size=badge",
        ):
            assert one.fetches(wrong)[0] == 404, wrong
        assert one.troubles == []


@pytest.mark.parametrize(("queue", "says"), [("tags", "Sent to tags."), ("gone", "Not printed")])
def test_a_tag_goes_to_the_units_printer_and_opens_if_it_does_not(
    unit: Unit,
    served: Callable[[Callable[..., Any]], str],
    chromium: Browser,
    seen: Path,
    printer: LabelPrinter,
    queue: str,
    says: str,
) -> None:
    settings = replace(unit.services.settings, label_queue=queue, label_graphics=True)
    base = served(create_app(services=replace(unit.services, settings=settings)))
    number, _ = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("S. Berg")
        one.opens(f"/circuits/{number}")
        form = one.page.locator("form[action$='/tag']").first
        form.evaluate("form => { form.target = '_self'; form.requestSubmit(); }")
        one.reads(says)
        one.looks(f"tag-{queue}")
        status, kind, _ = one.fetches(f"/circuits/{number}/tag.pdf")
        assert (status, kind) == (200, "application/pdf")
    if queue == "tags":
        assert printer.gets(1).startswith(b"^XA^PW799^LL496")
    else:
        assert printer.prints == []


def test_a_batch_goes_to_the_printer_with_progress_and_on_after_a_fault(
    unit: Unit,
    served: Callable[[Callable[..., Any]], str],
    chromium: Browser,
    seen: Path,
    printer: LabelPrinter,
) -> None:
    """23 places through the system's own scheduler, its printer away in between."""
    for number in range(20, 43):
        place = SetPlace(
            sent=by("S. Berg"),
            place_id=key(f"place {number}"),
            code=f"BED-{number}",
            name=f"Bed {number}",
            place_kind="bed",
        )
        set_place(place, site=unit.site)
    settings = replace(unit.services.settings, label_queue="tags", label_graphics=True)
    base = served(create_app(services=replace(unit.services, settings=settings)))
    with person(chromium, base, seen) as one:
        one.signs_in("S. Berg")
        one.opens("/labels")
        one.reads("The system says: printer tags is idle")
        form = one.page.locator("form[action='/labels/print']:has([value=bed])")
        form.get_by_role("button").click()
        one.reads("23 of 23 sent to tags.")
        one.looks("labels-sent")
        expect(one.page.locator("progress")).to_have_js_property("value", 23)
        labels = b"".join(printer.gets(number) for number in (1, 2, 3))
        assert labels.count(b"^XA") == 23
        printer.closes_its_queue()
        one.opens("/labels")
        one.page.locator("form[action='/labels/print']:has([value=bed])").get_by_role(
            "button"
        ).click()
        one.reads("0 of 23 sent to tags.")
        one.page.get_by_role("button", name="Try again").click()
        one.reads("did not take it")
        printer.opens_its_queue()
        one.page.get_by_role("button", name="Try again").click()
        one.reads("23 of 23 sent to tags.")


def test_every_tag_that_is_printed_is_counted_and_every_print_finds_its_circuit(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, tag = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        copies = []
        for size in ("", "circuit_tag_large", "drape_tag"):
            one.opens(f"/circuits/{number}")
            forms = one.page.locator("form[action$='/tag']")
            form = forms.filter(has=one.page.locator(f"[value={size}]")) if size else forms
            button = form.first.get_by_role("button")
            one.unfolds()
            with one.page.context.expect_page() as opened:
                button.click()
            copies.append(opened.value.url.partition("?")[2])
            opened.value.close()
        assert [re.search(r"copy=(\d)", each)[1] for each in copies] == ["0", "1", "2"]  # type: ignore[index]
        assert "size=drape_tag" in copies[2]
        for copy, says in (("0", ""), ("1", "Copy 2")):
            pdf = one.fetches(f"/circuits/{number}/tag.pdf?copy={copy}")[2]
            assert symbols(pages(pdf, 203)[0]) == [tag]
            assert says in text(pdf)


def test_a_part_without_a_code_gets_a_label_and_is_scanned_by_it(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        one.opens("/products/new")
        one.fills(standard="none", identifier="TAP-9", name="Tap without a code")
        one.fills(maker="Oskerby Devices", kind="tap")
        one.presses_the_main_button()
        one.page.wait_for_url(re.compile(r"/products$"))
        one.opens("/labels")
        one.looks("labels-with-a-part")
        product = one.page.locator("#product option").first.get_attribute("value")
        address = f"/labels/parts.pdf?product={product}&expires=2033-03-31&copies=3"
        status, _, pdf = one.fetches(f"{address}&lot=K26-0B8")
        assert status == 200
        drawn = pages(pdf, 203)
        assert len(drawn) == 3
        (symbol,) = symbols(drawn[0])
        assert "Lot K26-0B8" in text(pdf)
        assert "Expires 2033-03-31" in text(pdf)
        assert one.fetches(f"{address}&lot=k26")[0] == 422, "a lot is refused and never changed"
        wrong_day = f"/labels/parts.pdf?product={product}&expires=31.3.&lot=K26"
        assert one.fetches(wrong_day)[0] == 422
        number = one.begins_a_prime()
        one.scans(symbol)
        one.sees("Accepted", re.compile("Tap without a code"))
        assert unit.lots_in(number) == ["K26-0B8"]
