"""A tag's large symbol, read from its paper: at the desk, at the phone, and from another site."""

import re
from base64 import b32encode
from pathlib import Path

import numpy as np
import zxingcpp
from playwright.sync_api import Browser, expect

from tests.actions.test_tag_keys import checked
from tests.browser.person import Person, person
from tests.browser.unit import Unit
from tests.printing.paper import pages
from tests.security.test_tag_keys import THEIRS
from traceability.domain.tag_contents import contents_text
from traceability.reads.circuits import circuit_facts
from traceability.reads.tags import tag_facts
from traceability.security.tag_keys import tag_signer


def text_on_the_paper(one: Person, number: str) -> str:
    """Return what a phone shows that is held on the printed tag."""
    _, _, pdf = one.fetches(f"/circuits/{number}/tag.pdf")
    (page,) = pages(pdf, 203)
    found = zxingcpp.read_barcodes(
        np.kron(page, np.ones((2, 2), np.uint8)),
        formats=zxingcpp.barcode_formats_from_str("QRCode"),
        text_mode=zxingcpp.TextMode.Plain,
    )
    assert len(found) == 1
    return found[0].text


def another_sites_text(unit: Unit, number: str) -> str:
    """Return the text of a tag that another site made, with keys that nobody compared here."""
    ours = unit.services
    with ours.reads() as session:
        circuit = circuit_facts(session, ours.site.id, number, ours.now())
        assert circuit is not None
        tag = tag_facts(session, circuit, zone=ours.settings.zone_info, copy=0, reason="30 days")
    assert tag.contents is not None
    text = contents_text(tag.contents, listed=2, sign=tag_signer(THEIRS))
    there = text.replace(tag.contents.site_code, "ZZZZ", 1).partition(" * SIGNED ")[0]
    signature = b32encode(tag_signer(THEIRS)(there)).decode().rstrip("=")
    return checked(f"{there} * SIGNED {signature}")


def test_the_symbol_for_phones_says_who_made_it_and_takes_its_circuit(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, _ = unit.ready_circuit()
    with person(chromium, base, seen) as desk, person(chromium, base, seen) as phone:
        desk.signs_in("S. Berg")
        text = text_on_the_paper(desk, number)
        phone.enrols(unit.enrol_code())
        phone.opens("/take")
        phone.page.get_by_role("link", name="Only read what a tag says").click()
        phone.page.wait_for_url(re.compile(r"/tag-text$"))
        expect(phone.page.locator("#text")).to_be_focused()
        phone.scans(text)
        phone.reads("This tag was made here, by")
        phone.reads("Inspect before use.")
        expect(phone.page.locator("h2 .lot")).to_have_text(number)
        phone.looks("tag-text")
        phone.page.locator("#text").fill(text.replace(number, "C-9999", 1))
        phone.page.get_by_role("button", name="Read it").click()
        phone.reads("This is not the whole text of a tag")
        # In a hurry the wrong one of two symbols is scanned: it takes the very same circuit.
        phone.opens("/take")
        phone.scans(text)
        phone.page.wait_for_url(re.compile(rf"/taken/{number}$"))
        assert [each for each in phone.troubles if "422" not in each] == []


def test_another_sites_tag_says_itself_what_it_is_and_is_never_stopped(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, _ = unit.ready_circuit()
    text = another_sites_text(unit, number)
    with person(chromium, base, seen) as desk:
        desk.signs_in("J. Ruiz")
        desk.opens("/take")
        desk.scans(text)
        desk.reads("Stated by a site we do not know")
        desk.reads("no lot can be excluded")
        desk.looks("take-another-site")
        desk.page.get_by_role("button", name="Take it anyway").click()
        desk.page.wait_for_url(re.compile(r"/taken/X-\d+$"))
        desk.opens(desk.page.url.removeprefix(base).replace("/taken/", "/circuits/"))
        desk.reads("What its own tag says")
        desk.looks("circuit-of-another-site")
        here = desk.page.url.rsplit("/", 1)[1]
        listed = desk.page.locator(".stated li .lot, .stated .lot").all_inner_texts()
        desk.page.get_by_role("button", name="Take over its list").click()
        desk.reads("Its list was taken over")
        desk.reads("stated by the sender")
        desk.looks("list-of-another-site")
        taken_over = [lot for lot in unit.lots_in(here) if lot]
        assert taken_over
        assert all(any(lot in each for each in listed) for lot in taken_over)
        # Two of its items are listed, by a site nobody here knows: no lot can be excluded yet.
        desk.reads("Contents known in part.")
        assert [each for each in desk.troubles if "422" not in each] == []


def test_the_symbol_for_phones_is_known_wherever_a_tag_is_scanned(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, _ = unit.ready_circuit()
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        text = text_on_the_paper(one, number)
        priming = one.begins_a_prime()
        one.scans(text)
        one.sees("Look again", f"That is the tag of {number}")
        assert unit.lots_in(priming) == []
        one.opens("/take")
        one.scans(text)
        one.page.wait_for_url(re.compile(rf"/taken/{number}$"))
        one.page.wait_for_timeout(1_600)  # within 1.5 s it would be one scan read twice
        one.scans(text)
        expect(one.page).to_have_title(re.compile(f"{number} on a patient"))
