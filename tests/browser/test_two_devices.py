"""Two devices at one prime: each sees the other's scans, and a prime changes hands."""

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.person import Person, person
from tests.browser.test_offline import is_ready_for_no_network, network_says
from tests.browser.unit import BAG, PACK, SITE, TAP, Unit, badge, card, gs1
from traceability.domain.act_cards import Act
from traceability.reads.disputes import disputes


@pytest.fixture
def pair(unit: Unit, base: str, chromium: Browser, seen: Path) -> Iterator[tuple[Person, Person]]:
    """J. Ruiz at one trolley, E. Lind at another."""
    with person(chromium, base, seen) as one, person(chromium, base, seen) as other:
        one.signs_in("J. Ruiz")
        other.signs_in("E. Lind")
        yield one, other


def test_each_sees_the_others_scans_within_two_seconds(
    pair: tuple[Person, Person], unit: Unit
) -> None:
    one, other = pair
    number = one.begins_a_prime()
    other.opens(f"/prime/{number}")
    waited = []
    for count, text in ((3, gs1(PACK, "PK1")), (4, gs1(TAP, "T1")), (5, gs1(BAG, "B1"))):
        one.scans(text)
        begun = time.monotonic()
        one.counts(count)
        other.counts(count)
        waited.append(time.monotonic() - begun)
    print("seen by the other device after", [f"{each:.2f} s" for each in waited])
    assert max(waited) < 2
    # The strip is the device's own; a quiet line says what the other did.
    other.sees("Begin", "Scan the circuit pack")
    quiet = other.page.locator("[data-quiet]")
    expect(quiet).to_contain_text("J. Ruiz: Recorded: ")
    expect(quiet).to_contain_text("lot B1")
    expect(other.page.locator("#slot-tap-1")).to_contain_text("Tap by the pump")
    other.looks("seen-from-another")
    other.scans(gs1(TAP, "T1"))
    other.sees("Accepted")
    one.counts(6)
    one.sees("Accepted", re.compile("Sodium chloride"))
    assert sorted(unit.lots_in(number)) == ["B1", "PK1", "T1", "T1"]
    assert one.troubles == other.troubles == []


def test_a_clash_with_what_was_done_meanwhile_is_shown_and_both_claims_are_kept(
    pair: tuple[Person, Person], unit: Unit
) -> None:
    one, other = pair
    first, second = one.begins_a_prime(), one.begins_a_prime("box 1, boxed")
    is_ready_for_no_network(one.page)
    pack = gs1(PACK, "PK1", serial="S0017")
    one.opens(f"/prime/{first}")
    other.opens(f"/prime/{second}")
    one.context.set_offline(True)
    one.scans(pack)
    one.sees("Kept")
    other.scans(pack)
    other.sees("Accepted")
    one.context.set_offline(False)
    network_says(one.page, "Network on")
    one.sees("Look again", "In, and claimed twice: Circuit pack adult")
    expect(one.strip).to_contain_text(f"It is recorded in {second} too. Both claims are kept")
    one.looks("clash-shown")
    one.opens("/disputes")
    one.reads("Two circuits hold one piece")
    assert (unit.lots_in(first), unit.lots_in(second)) == (["PK1"], ["PK1"])
    with unit.services.reads() as reads:
        assert len(disputes(reads, SITE)) == 1


def test_an_unfinished_prime_is_paused_and_taken_over_by_scans_alone(
    pair: tuple[Person, Person], unit: Unit
) -> None:
    one, other = pair
    number = one.begins_a_prime()
    one.scans(gs1(PACK, "PK1"))
    one.counts(3)
    one.scans(card(Act.PAUSE))
    one.page.wait_for_url(re.compile(r"/$"))
    one.reads(re.compile(r"Paused since \d{4}-\d\d-\d\d \d\d:\d\d [A-Z]+ by J. Ruiz"))
    one.looks("shelf-paused")
    other.opens(f"/prime/{number}")
    other.sees("Paused", re.compile(r"Paused since \d\d:\d\d by J. Ruiz"))
    other.looks("trolley-paused")
    other.scans(card(Act.TAKE_OVER))
    other.page.wait_for_url(re.compile("/take-over$"))
    other.reads("So far: E. Lind, J. Ruiz")
    other.looks("take-over")
    other.scans(badge("E. Lind"))
    other.scans(badge("N. Aalto"))
    other.page.wait_for_url(re.compile(rf"/prime/{number}$"))
    other.sees("Accepted", "Taken over. Go on scanning")
    expect(other.strip).to_contain_text("Now: E. Lind and N. Aalto.")
    expect(other.strip).to_contain_text("Handed over by J. Ruiz.")
    other.scans(gs1(TAP, "T1"))
    other.counts(4)
    other.opens(f"/circuits/{number}")
    other.reads(
        re.compile("Prime taken over: E. Lind and J. Ruiz to E. Lind and N. Aalto, handed over")
    )
    other.opens("/")
    expect(other.page.locator("body")).not_to_contain_text("Paused since")
    assert one.troubles == other.troubles == []
