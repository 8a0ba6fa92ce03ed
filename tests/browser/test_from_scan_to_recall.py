"""The main job in one line: scan, prime, sign, tag, take, patient, recall; by keyboard wedge."""

import csv
import io
import re
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import Person, person
from tests.browser.unit import (
    BAG,
    BAG_HIBC,
    PACK,
    PIN,
    STRONG,
    SYRINGE,
    TAP,
    Unit,
    badge,
    card,
    gs1,
    hibc,
)
from tests.printing.paper import pages, symbols, text
from traceability.domain.act_cards import Act

TAP_LOT = "T77-0B1"
PATIENT = "SOUND-2207"


def primes(one: Person) -> str:
    """Scan everything that the sheet asks for, with the mistakes of a real night."""
    number = one.begins_a_prime()
    one.looks("prime-begun")

    one.scans(gs1(PACK, "PK26-104"))
    one.sees("Accepted", re.compile("Circuit pack adult"))
    one.looks("prime-accepted")

    one.counts(3)

    for done in range(1, 6):
        one.reaches_for_the_next()
        one.scans(gs1(TAP, TAP_LOT))  # five taps of one lot: five scans of the same characters
        one.counts(3 + done)
        one.sees("Accepted", re.compile("Three-way tap"))

    one.scans(gs1(STRONG, "3PC-1"))
    one.sees("Stop", "Not sodium chloride 0.9 %")
    one.looks("prime-stop")
    one.scans(gs1(BAG, "4K0O02B8"))
    one.sees("Accepted", re.compile("bag one of two"))
    one.scans(hibc(BAG_HIBC, "H0I1"))
    one.sees("Accepted", re.compile("bag two of two"))
    one.counts(10)

    one.scans(card(Act.TICK))
    one.sees("Accepted", re.compile("Cable ties"))

    one.scans(gs1(SYRINGE, "SY5"))
    one.page.wait_for_url(re.compile(r"/products/new"))
    one.looks("product-new")
    one.fills(name="Syringe 50 mL", maker="Mellowick Perfusion", kind="syringe")
    one.presses_the_main_button()
    one.page.wait_for_url(re.compile(rf"/prime/{number}$"))
    one.sees("Accepted", re.compile("Syringe 50 mL"))
    expect(one.page.locator("[data-next]")).to_contain_text("Nothing is missing")
    one.counts(11)
    one.looks("prime-complete")
    return number


def ends_and_signs(one: Person, number: str) -> None:
    """Scan *Next step*, end the prime; primer and helper sign."""
    one.scans(card(Act.NEXT))
    one.page.wait_for_url(re.compile(r"/end$"))
    one.looks("prime-end")
    one.presses_the_main_button()
    one.page.wait_for_url(re.compile(r"/sign$"))
    one.looks("sign")
    for name, part in (("E. Lind", "primer"), ("J. Ruiz", "helper")):
        one.scans(badge(name))
        one.types(PIN)
        with one.page.expect_navigation():
            one.page.keyboard.press("Enter")
        if part == "primer":
            one.reads("E. Lind")
    assert one.page.url.endswith(f"/circuits/{number}")
    one.looks("circuit")


def reads_the_tag(one: Person, number: str) -> str:
    """Print the tag and read the very paper, as a scanner reads it."""
    status, kind, tag_pdf = one.fetches(f"/circuits/{number}/tag.pdf")
    assert (status, kind) == (200, "application/pdf")
    printed = text(tag_pdf)
    assert number in printed
    assert "E. Lind, signed" in printed
    assert "J. Ruiz, signed" in printed
    (page,) = pages(tag_pdf, 203)
    (tag,) = symbols(page)
    return tag


def takes_and_turns_on(one: Person, unit: Unit, number: str, tag: str) -> None:
    """At an enrolled telephone: one scan takes it, nobody signs in; the same again is flow on."""
    one.enrols(unit.enrol_code())
    one.opens("/take")
    one.looks("take")
    one.scans(tag)
    one.page.wait_for_url(re.compile(rf"/taken/{number}$"))
    expect(one.page).to_have_title(re.compile(f"{number} taken"))
    one.looks("taken")
    one.page.wait_for_timeout(1_600)  # within 1.5 s it would be one scan read twice
    one.scans(tag)
    expect(one.page).to_have_title(re.compile(f"{number} on a patient"))
    one.looks("flow-on")


def names_the_patient_and_ends(one: Person) -> str:
    """Tie the run to the patient, end it, and return its number."""
    one.opens("/runs")
    one.looks("runs")
    one.page.get_by_role("link", name=re.compile(r"^R-")).first.click()
    one.page.wait_for_url(re.compile(r"/runs/R-\d+$"))
    run = one.page.url.rsplit("/", 1)[1]
    one.looks("run")
    one.page.locator("form[action$='/patient'] [name=reference]").fill(PATIENT)
    one.submits("patient")
    assert PATIENT not in one.page.content(), "shown only to who asks for it"
    one.submits("end")
    one.looks("run-ended")
    return run


def asks_which_circuits(one: Person, number: str, run: str) -> None:
    """Scan the lot that a notice names: the answer on the page, as a table and on paper."""
    one.opens("/recall")
    one.looks("recall-ask")
    one.scans(gs1(TAP, TAP_LOT))
    one.page.wait_for_url(re.compile(r"/recall/answer"))
    one.looks("recall-answer")
    one.reads(number)
    one.reads(run)
    assert PATIENT not in one.page.content()
    question = one.page.url.removeprefix(f"{one.base}/recall/answer")

    status, kind, table = one.fetches(f"/recall/answer.csv{question}")
    assert (status, kind.split(";")[0]) == (200, "text/csv")
    rows = list(csv.reader(io.StringIO(table.decode("utf-8-sig"))))
    (row,) = [row for row in rows if number in row]
    assert run in row
    assert PATIENT in row, "bedside may see patients"

    status, kind, paper = one.fetches(f"/recall/answer.pdf{question}")
    assert (status, kind) == (200, "application/pdf")
    said = text(paper)
    assert number in said
    assert run in said
    assert "page 1 of 1" in said


def test_the_whole_line_from_scan_to_recall(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    with person(chromium, base, seen) as helper, person(chromium, base, seen) as bedside:
        helper.opens("/")
        helper.looks("shelf-empty")
        helper.opens("/sign-in")
        helper.looks("sign-in")
        helper.signs_in("J. Ruiz", then="/prime")
        helper.looks("prime-choose")

        number = primes(helper)
        ends_and_signs(helper, number)
        helper.opens("/")
        helper.reads("1 of 2 ready")
        helper.looks("shelf-ready")

        tag = reads_the_tag(helper, number)
        takes_and_turns_on(bedside, unit, number, tag)
        run = names_the_patient_and_ends(helper)
        asks_which_circuits(helper, number, run)

        assert helper.troubles == []
        assert bedside.troubles == []
