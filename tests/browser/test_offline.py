"""The prime goes on without a network: nothing is lost, nothing of a patient is kept."""

import os
import re
import shutil
import signal
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import select

from tests.browser.kept import addresses_kept, all_that_is_kept
from tests.browser.person import WATCH, Person, person
from tests.browser.unit import BAG, LATER, PACK, SITE, TAP, Unit, card, gs1, key
from traceability.domain.act_cards import Act
from traceability.reads.happenings import happenings
from traceability.storage.kept_apart import KeptApart
from traceability.web import offline

WRISTBAND = "801895212345000000" + "1234"
"""A person's code of the demonstration prefix (GS1 AI 8018, GSRN)."""
CANARY = "KANARIE-480731"
"""What the unit's own wristbands might say: no standard's mark tells that it is a person's."""
NO_NETWORK = re.compile("ERR_INTERNET_DISCONNECTED|ERR_CONNECTION|ERR_FAILED")


@pytest.fixture
def helper(unit: Unit, base: str, chromium: Browser, seen: Path) -> Iterator[Person]:
    """J. Ruiz, signed in at the trolley's tablet."""
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        yield one


def is_ready_for_no_network(page: Page) -> None:
    """Wait until the device keeps the empty page of a prime."""
    until(
        page,
        """navigator.serviceWorker.controller !== null
      && (await Promise.all((await caches.keys()).map(async (name) =>
        (await (await caches.open(name)).match("/trolley-shell")) !== undefined))).some(Boolean)""",
    )


def until(page: Page, holds: str) -> None:
    """Wait until a script that may wait itself comes to true."""
    give_up = time.monotonic() + 15
    while not page.evaluate(f"async () => {holds}"):
        assert time.monotonic() < give_up, holds
        page.wait_for_timeout(50)


def network_says(page: Page, words: str | re.Pattern[str]) -> None:
    expect(page.locator("[data-network]")).to_have_text(words, timeout=20_000)


def test_the_prime_goes_on_through_a_reload_without_a_network(helper: Person, unit: Unit) -> None:
    number = helper.begins_a_prime()
    is_ready_for_no_network(helper.page)
    helper.scans(gs1(PACK, "PK1"))
    helper.counts(3)
    helper.context.set_offline(True)
    helper.scans(gs1(TAP, "T1"))
    helper.sees("Kept", "No network. Kept, not checked")
    helper.page.reload()
    helper.sees("Kept")
    network_says(helper.page, "No network. 1 kept")
    expect(helper.page.locator("[data-number]")).to_have_text(number)
    helper.counts(3)
    expect(helper.page.locator("#slot-tap-1")).to_be_attached()
    helper.looks("offline-reloaded")
    helper.scans(gs1(BAG, "B1"))
    network_says(helper.page, "No network. 2 kept")
    helper.scans(card(Act.TICK))
    network_says(helper.page, "No network. 3 kept")
    helper.scans(card(Act.SIGN))
    helper.sees("Wait", "This needs the network")
    helper.looks("offline-sign")
    network_says(helper.page, "No network. 3 kept")
    helper.context.set_offline(False)
    network_says(helper.page, "Network on")
    helper.counts(5)
    helper.sees("Accepted")
    assert unit.lots_in(number)[-2:] == ["T1", "B1"]
    helper.page.reload()
    helper.counts(5)
    assert [each for each in helper.troubles if not NO_NETWORK.search(each)] == []


def test_no_patient_is_ever_kept_on_the_device(helper: Person, unit: Unit) -> None:
    """Pages that show a patient were seen, a wristband was scanned with and without a network."""
    _, tag = unit.ready_circuit()
    helper.opens("/take")
    helper.scans(tag)
    helper.page.wait_for_url(re.compile(r"/taken/"))
    helper.opens("/runs/R-0001")
    helper.unfolds()
    helper.fills(reference=CANARY)
    with helper.page.expect_navigation():
        helper.page.locator("[name=reference]").first.evaluate("each => each.form.requestSubmit()")
    with unit.services.reads() as reads:
        assert CANARY in reads.scalars(select(KeptApart.text)).all(), "the patient is on record"
    helper.opens(f"/recall?patient={CANARY}")
    helper.begins_a_prime()
    is_ready_for_no_network(helper.page)
    helper.scans(f"]d2{WRISTBAND}")
    helper.sees("Look again", "That was a person's code, not a part")
    helper.context.set_offline(True)
    helper.scans(f"]d2{WRISTBAND}")
    helper.sees("Not kept", "That was a person's code: not kept")
    expect(helper.strip).to_contain_text(re.compile("temporary name on paper: Patient of C-0002"))
    helper.looks("offline-wristband")
    helper.scans(CANARY)
    helper.sees("Kept")
    expect(helper.strip).to_contain_text("leave it open until it is sent")
    helper.looks("offline-unknown-code")
    kept = all_that_is_kept(helper)
    for of_patient in (CANARY, WRISTBAND, WRISTBAND[4:]):
        assert of_patient not in kept
    allowed = re.compile(r"/static/[\w.]+|/trolley-shell")
    assert [path for path in addresses_kept(helper) if not allowed.fullmatch(path)] == []


def test_pages_are_never_stored_by_the_browser_itself(helper: Person, unit: Unit) -> None:
    number = helper.begins_a_prime()
    for path in ("/", f"/prime/{number}", "/runs", "/recall", f"/prime/{number}/after?number=0"):
        answer = helper.context.request.get(f"{helper.base}{path}")
        assert answer.headers["cache-control"] == "no-store", path


def test_signing_out_says_what_waits_and_clears_all_else(
    helper: Person, unit: Unit, base: str
) -> None:
    number = helper.begins_a_prime()
    is_ready_for_no_network(helper.page)
    helper.page.route("**/scan", lambda route: route.abort())
    helper.scans(gs1(TAP, "T1"))
    helper.sees("Kept")
    helper.page.unroute("**/scan")
    helper.opens("/")
    helper.reads("1 scan of C-0001")
    out = helper.page.get_by_role("button", name="Sign out")
    out.click()
    helper.reads("1 scan of yours or of others is kept on this device and not sent yet.")
    helper.looks("sign-out-told")
    with helper.page.expect_navigation():
        out.click()
    assert addresses_kept(helper) == set()
    assert "Adult 3/8" not in all_that_is_kept(helper)
    helper.signs_in("E. Lind", then=f"/prime/{number}")
    helper.counts(1)
    assert unit.lots_in(number) == ["T1"]
    with unit.services.reads() as reads:
        newest = max(happenings(reads, SITE, of(unit, number)), key=lambda each: each.number)
    assert (newest.who, newest.body["claimed"]["sent_by"]) == ("J. Ruiz", str(key("E. Lind")))  # type: ignore[index, call-overload]


def of(unit: Unit, number: str) -> Any:
    from traceability.reads.trolley import circuit_id  # noqa: PLC0415

    with unit.services.reads() as reads:
        return circuit_id(reads, SITE, number)


def test_a_killed_browser_loses_nothing_that_it_had_kept(
    unit: Unit, base: str, chromium: Browser, tmp_path: Path
) -> None:
    """As when the battery dies: the browser's process is killed, and started on its profile."""
    profile = tmp_path / "profile"
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    quiet = ["--disable-gpu", *(["--no-sandbox"] if os.geteuid() == 0 else [])]
    launch = chromium.browser_type.launch_persistent_context
    context = launch(str(profile), executable_path=program, args=quiet)
    context.add_init_script(WATCH.replace("window.ctViolated", "(() => {})"))
    one = Person(context=context, page=context.new_page(), base=base, seen=tmp_path)
    one.signs_in("J. Ruiz")
    number = one.begins_a_prime()
    is_ready_for_no_network(one.page)
    context.set_offline(True)
    for lot in ("T1", "B1"):
        one.scans(gs1(TAP if lot == "T1" else BAG, lot))
    network_says(one.page, "No network. 2 kept")
    kill_the_browser_of(profile)
    with suppress(Exception):
        context.close()
    context = launch(str(profile), executable_path=program, args=quiet)
    try:
        one = Person(context=context, page=context.new_page(), base=base, seen=tmp_path)
        one.signs_in("E. Lind", then=f"/prime/{number}")
        network_says(one.page, "Network on")
        one.counts(2)
        assert unit.lots_in(number) == ["T1", "B1"]
    finally:
        context.close()


def kill_the_browser_of(profile: Path) -> None:
    """End the one browser process that this test started, by its id."""
    for entry in Path("/proc").iterdir():
        with suppress(OSError):
            words = (entry / "cmdline").read_bytes().split(b"\0") if entry.name.isdigit() else []
            mine = f"--user-data-dir={profile}".encode() in words
            if mine and not any(word.startswith(b"--type=") for word in words):
                os.kill(int(entry.name), signal.SIGKILL)
                give_up = time.monotonic() + 10
                while entry.exists() and time.monotonic() < give_up:
                    time.sleep(0.05)
                return
    pytest.fail("the browser of the profile was not found")


def test_a_new_version_waits_until_no_prime_is_open(
    helper: Person, unit: Unit, monkeypatch: pytest.MonkeyPatch
) -> None:
    def versions() -> list[str]:
        found: list[str] = helper.page.evaluate("caches.keys()")
        return sorted(found)

    number = helper.begins_a_prime()
    is_ready_for_no_network(helper.page)
    (old,) = versions()
    monkeypatch.setattr(offline, "_code", lambda: "another version")
    helper.page.evaluate("navigator.serviceWorker.controller.postMessage('fill')")
    helper.page.reload()
    helper.page.wait_for_timeout(1000)
    assert versions() == [old], "a prime is open"
    helper.scans(gs1(TAP, "T1"))
    helper.sees("Accepted")
    helper.opens("/")
    until(helper.page, f"!(await caches.keys()).includes({old!r})")
    assert "/trolley-shell" in addresses_kept(helper)
    helper.opens(f"/prime/{number}")
    helper.counts(1)


def test_over_plain_http_the_page_says_what_needs_https_and_goes_on(
    helper: Person, unit: Unit, base: str
) -> None:
    """From another machine, that is: this one's own address counts as secure."""
    number = helper.begins_a_prime()
    far, gone = "http://trolley.test", set[str]()

    def pass_on(route: Any) -> None:
        if gone:
            route.abort()
            return
        headers = {**route.request.headers, "origin": base}
        url = route.request.url.replace(far, base)
        route.fulfill(response=route.fetch(url=url, headers=headers, max_redirects=0))

    helper.context.route(f"{far}/**", pass_on)
    cookies = helper.context.cookies()
    helper.context.add_cookies(
        [{"name": c["name"], "value": c["value"], "url": far, "httpOnly": True} for c in cookies]
    )
    helper.page.goto(f"{far}/prime/{number}")
    assert helper.page.evaluate("isSecureContext") is False
    expect(helper.page.locator("[data-quiet]")).to_contain_text("off-line work need https")
    helper.looks("plain-http")
    helper.scans(gs1(TAP, "T1"))
    helper.counts(1)
    gone.add("network")
    helper.scans(gs1(BAG, "B1"))
    network_says(helper.page, "No network. 1 kept")
    gone.clear()
    network_says(helper.page, "Network on")
    helper.counts(2)


def test_fifty_kept_scans_are_sent_in_order_and_quickly(helper: Person, unit: Unit) -> None:
    number = helper.begins_a_prime()
    helper.context.set_offline(True)
    for index in range(50):
        helper.scans_fast(f"]d201{TAP}17{LATER}10L{index:02}")
    network_says(helper.page, "No network. 50 kept")
    begun = time.monotonic()
    helper.context.set_offline(False)
    network_says(helper.page, "Network on")
    took = time.monotonic() - begun
    print(f"a queue of 50 was sent in {took:.1f} s")
    expected = [f"L{index:02}" for index in range(50)]
    lots: list[object] = []
    while lots != expected and time.monotonic() - begun < 20:
        helper.page.wait_for_timeout(50)  # "Network on" is said while the last two are on their way
        with unit.services.reads() as reads:
            told = happenings(reads, SITE, of(unit, number))
        # The first lot goes in; a second lot of one kind asks where it goes: each is in the ledger.
        lots = [each.body["facts"]["lot"] for each in reversed(told) if each.body.get("scan")]  # type: ignore[index, call-overload]
    assert lots == expected
