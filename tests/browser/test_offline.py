"""The prime goes on without a network: nothing is lost, nothing of a patient is kept."""

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.person import Person, person
from tests.browser.unit import BAG, PACK, TAP, Unit, card, gs1
from traceability.domain.act_cards import Act


@pytest.fixture
def helper(unit: Unit, base: str, chromium: Browser, seen: Path) -> Iterator[Person]:
    """J. Ruiz, signed in at the trolley's tablet."""
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        yield one


def is_ready_for_no_network(one: Person) -> None:
    """Wait until the device keeps the empty page of a prime."""
    one.page.wait_for_function(
        """async () => (await Promise.all((await caches.keys()).map(async (name) =>
             (await (await caches.open(name)).match("/trolley-shell")) !== undefined))).some(Boolean)
             && navigator.serviceWorker.controller !== null"""
    )


def network_says(one: Person, words: str) -> None:
    expect(one.page.locator("[data-network]")).to_have_text(words, timeout=15_000)


def test_the_prime_goes_on_through_a_reload_without_a_network(helper: Person, unit: Unit) -> None:
    number = helper.begins_a_prime()
    is_ready_for_no_network(helper)
    helper.scans(gs1(PACK, "PK1"))
    helper.counts(3)
    helper.context.set_offline(True)
    helper.scans(gs1(TAP, "T1"))
    helper.sees("Kept", "No network. Kept, not checked")
    helper.page.reload()
    helper.sees("Kept")
    network_says(helper, "No network. 1 kept")
    expect(helper.page.locator("[data-number]")).to_have_text(number)
    helper.counts(3)
    expect(helper.page.locator("#slot-tap-1")).to_be_attached()
    helper.looks("offline-reloaded")
    helper.scans(gs1(BAG, "B1"))
    network_says(helper, "No network. 2 kept")
    helper.scans(card(Act.TICK))
    network_says(helper, "No network. 3 kept")
    helper.context.set_offline(False)
    network_says(helper, "Network on")
    helper.counts(5)
    helper.sees("Accepted")
    assert unit.lots_in(number)[-2:] == ["T1", "B1"]
    helper.page.reload()
    helper.counts(5)
    assert helper.troubles == [] or all("ERR_INTERNET" in each for each in helper.troubles)
