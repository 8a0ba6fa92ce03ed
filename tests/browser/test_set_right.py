"""A mistyped lot set right after signing, as the people on the unit see it."""

import re
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.person import Person, person
from tests.browser.unit import BAG, PACK, TAP, TYPE, Unit, by, gs1, key
from traceability.actions.prime.begin import BeginPrime, begin_prime
from traceability.actions.prime.end import EndPrime, end_prime
from traceability.actions.prime.scan import ScanPart, scan_part
from traceability.actions.prime.sign import SignPrime, sign_prime
from traceability.actions.run.flow import FlowOn, flow_on
from traceability.actions.run.take import TakeCircuit, take_circuit
from traceability.domain.keys import product_key
from traceability.domain.moments import Manner
from traceability.storage.ledger import LedgerHead

WRONG, RIGHT = "T77-OB1", "T77-0B1"
TAP_KEY = product_key("gs1", TAP, site_id=key("any"))


def signed_circuit(unit: Unit, lot: str = WRONG) -> str:
    """Prime a circuit with taps of a lot, end it and sign it; return its number."""
    site, at = unit.site, unit.services.now()
    begun = begin_prime(
        BeginPrime(sent=by("E. Lind"), circuit_type=TYPE, place_id=key("C3"), at=at), site=site
    )
    circuit = begun.subject
    assert circuit is not None
    for text in (gs1(PACK, "PK26-104"), gs1(TAP, lot), gs1(BAG, "4K0O02B8")):
        scan_part(ScanPart(sent=by("E. Lind"), circuit_id=circuit, text=text, at=at), site=site)
    ended = EndPrime(
        sent=by("E. Lind"), circuit_id=circuit, at=at, fill_ml=1500, lots_not_recorded=True
    )
    end_prime(ended, site=site)
    for part, name in (("primer", "E. Lind"), ("helper", "J. Ruiz")):
        signed = SignPrime(sent=by(name), circuit_id=circuit, part=part, signer_id=key(name), at=at)
        sign_prime(signed, site=site)
    return str(begun.facts["number"])


def entry_of(one: Person, words: str | re.Pattern[str]) -> None:
    """Open the entry whose line on this page holds the words."""
    rows = one.page.locator("table.told tr", has_text=words)
    row = rows.filter(has_not_text="void").first
    row.get_by_role("link", name=re.compile("Entry")).click()
    one.page.wait_for_url(re.compile(r"/entries/\d+$"))


def newest(unit: Unit) -> int:
    """Return the number of the last entry."""
    with unit.services.reads() as reads:
        return reads.get_one(LedgerHead, unit.site.id).number


def recall(lot: str, as_of: int | None = None) -> str:
    """Return the address of the recall for a lot of taps."""
    return f"/recall/answer?lot={TAP_KEY}:{lot}" + (f"&as_of={as_of}" if as_of else "")


def test_a_mistyped_lot_is_set_right_after_signing_and_both_are_found(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number = signed_circuit(unit)
    before = newest(unit)
    with person(chromium, base, seen) as one:
        one.signs_in("E. Lind", then=f"/circuits/{number}")
        one.opens(f"/circuits/{number}")
        entry_of(one, WRONG)
        one.looks("entry")
        one.page.get_by_label("Lot", exact=True).fill(RIGHT)
        one.page.locator("#parts-note").fill("Read again with the lamp on")
        one.page.get_by_role("button", name="Set the part right").click()
        one.page.wait_for_url(re.compile(rf"/circuits/{number}$"))
        one.reads("Changed after signing")
        one.reads("Awaiting signatures")
        one.reads(re.compile(f"lot {WRONG} is now lot {RIGHT}"))
        expect(one.page.locator("table.it")).to_contain_text(RIGHT)
        one.looks("circuit-changed")

        one.page.get_by_role("link", name="See what changed").click()
        one.reads("Read again with the lamp on")
        one.looks("entry-of-correction")

        one.opens(recall(RIGHT))
        expect(one.page.locator("tbody.rail-1")).to_contain_text(number)
        one.opens(recall(WRONG))
        expect(one.page.locator("tbody.rail-1")).not_to_contain_text(number)
        one.opens(recall(WRONG, before))
        expect(one.page.locator("tbody.rail-1")).to_contain_text(number)

        one.opens(f"/lots/{TAP_KEY}/{WRONG}")
        one.reads("Was recorded in, and is no more")
        one.looks("lot-wrong")
        one.page.get_by_role("link", name="The recall as known before").click()
        expect(one.page.locator("tbody.rail-1")).to_contain_text(number)
        one.opens(f"/lots/{TAP_KEY}/{RIGHT}")
        expect(one.page.locator("h1")).to_contain_text(RIGHT)
        one.looks("lot-right")

        one.opens(f"/circuits/{number}?as_of={before}")
        one.reads("As known on")
        expect(one.page.locator("table.it")).to_contain_text(WRONG)
        expect(one.page.locator("main")).not_to_contain_text("Changed after signing")
        assert one.page.locator("nav.acts3").count() == 0
        one.looks("circuit-as-known")
        assert one.troubles == []
        one.opens(f"/circuits/{number}")
        one.unfolds()
        one.page.get_by_label("As known on").fill("2001-01-01 12:00")
        one.page.get_by_role("button", name="Show it").click()
        one.reads("No circuit is known by")
        one.opens(f"/circuits/{number}?as_of=last week")
        one.reads("as known on: last week cannot be right")


def test_two_claims_wait_for_the_consultant_who_rules(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    number, _ = unit.ready_circuit()
    runs = []
    for _ in range(2):
        take = TakeCircuit(
            sent=by("J. Ruiz"), number=number, at=unit.services.now(), manner=Manner.EMERGENCY
        )
        runs.append(take_circuit(take, site=unit.site))
    circuit = runs[0].subject
    assert circuit is not None
    flow = FlowOn(
        sent=by("J. Ruiz"),
        circuit_id=circuit,
        at=unit.services.now(),
        manner=Manner.PLANNED,
    )
    flow_on(flow, site=unit.site)
    with person(chromium, base, seen) as one:
        one.signs_in("N. Aalto")
        one.opens(f"/circuits/{number}")
        one.page.get_by_role("link", name="See both claims").click()
        one.reads(f"Two runs claim {number}")
        one.unfolds()
        one.looks("disputes")
        one.page.locator("[name=note]").fill("The second scan was of the box beside it")
        one.page.get_by_label("I looked at both").check()
        one.page.get_by_role("button", name=re.compile("R-0001 stands")).click()
        one.reads("No claim waits for a ruling")
        one.opens("/runs/R-0001")
        one.looks("run")
        one.opens(f"/circuits/{number}")
        expect(one.page.locator("main")).not_to_contain_text("Two runs claim this circuit")
        one.reads("On patient")
        one.looks("circuit-ruled")
        # The take itself is set right in time, and then voided: back on the shelf.
        entry_of(one, re.compile("Taken"))
        one.unfolds()
        one.looks("entry-of-take")
        one.page.get_by_label("When it really was").fill("2031-01-01 03:40")
        one.page.get_by_role("button", name="Set the time right").click()
        one.reads("That has not come yet")
        one.page.go_back()
        one.unfolds()
        one.page.get_by_role("button", name=re.compile("Void entry")).click()
        one.page.wait_for_url(re.compile(rf"/circuits/{number}$"))
        one.reads("Ready")
        assert [each for each in one.troubles if "422" not in each] == []
