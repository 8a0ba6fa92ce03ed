"""From a notice's list to its scope, in a browser with and without script."""

from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import person
from tests.browser.unit import TAP, Unit, gs1

LIST = """Affected lots, list of 25 November
GTIN\tLot number\tExpires\tQty
09521234000013\tTA-0701\t2027-03\t40
09521234000013\tTA-0702 to TA-0720\t2027-04\t
09521234000013\t1E+05\t2027-04\t12
\t0417\t2027-05\t4
09521234000013\tsee page two\t\t
09521234000099\tU-77\t2027-05\t4
"""


def test_from_a_pasted_table_to_the_question(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto")
        one.opens("/scope?notice=N-26-014&read_version=1")
        one.scans(gs1(TAP, "TA-0699"))
        one.reads("Scan taken.")
        expect(one.page.locator("#scan")).to_be_focused()
        expect(one.page.locator("#scans")).to_have_value(
            "]d2010952123400001310TA-0699\x1d17" + gs1(TAP, "")[-6:]
        )
        one.page.locator("#pasted").fill(LIST)
        one.unfolds()
        one.page.locator("#c0-kind").select_option("heater-cooler")
        one.page.locator("#c0-serials_to").fill("HC-0420")
        one.looks("scope-form")
        one.page.get_by_role("button", name="Look at it").click()
        one.reads("2 rows wait for you")
        one.looks("scope-doubts")
        one.page.get_by_label("What is meant by 1E+05", exact=False).select_option("both")
        one.page.get_by_label("What is meant by 0417", exact=False).select_option("read")
        one.page.get_by_label("I looked at what was not read", exact=False).check()
        one.page.get_by_role("button", name="Look again").click()
        one.reads("What was understood")
        one.reads("Lots TA-0701, 1E+05, 1E5, 1E05, 100000, 0417")
        one.reads("is not known here. The code is kept all the same")
        expect(one.page.get_by_role("link", name="Ask it now")).to_be_visible()
        expect(one.page.get_by_role("button", name="Use it for notice N-26-014")).to_be_visible()
        one.looks("scope-settled")
        assert one.troubles == []


def test_it_works_without_script(unit: Unit, base: str, chromium: Browser, seen: Path) -> None:
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto")
        state = one.context.storage_state()
    context = chromium.new_context(java_script_enabled=False, storage_state=state)
    page = context.new_page()
    page.goto(f"{base}/scope")
    page.locator("#scan").fill(f"(01){TAP}(10)TA-1")
    page.keyboard.press("Enter")
    expect(page.locator("#scans")).to_have_value(f"(01){TAP}(10)TA-1")
    page.locator("#file").set_input_files(
        {
            "name": "lots.csv",
            "mimeType": "text/csv",
            "buffer": f"GTIN;Lot\n{TAP};TA-2\n".encode("utf-16"),
        }
    )
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_text("Read as UTF-16.")).to_be_visible()
    expect(page.get_by_text("TA-2, TA-1")).to_be_visible()
    expect(page.get_by_role("link", name="Ask it now")).to_be_visible()
    context.close()
