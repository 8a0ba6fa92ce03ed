"""What goes wrong at three in the morning ends in a clear sentence; nothing is lost or doubled."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from sqlalchemy import func, select

from tests.browser.kept import all_that_is_kept
from tests.browser.person import Person, person
from tests.browser.unit import BAG, EXPIRED, GS, PACK, SITE, STRONG, TAP, Unit, gs1
from traceability.domain.tags import circuit_symbol
from traceability.reads.runs import runs
from traceability.storage.ledger import LedgerEvent

TOP = Path(__file__).parents[2]
WRISTBAND = "801895212345000000" + "1234"
"""A person's code of the demonstration prefix (GS1 AI 8018, GSRN)."""


@pytest.fixture
def helper(unit: Unit, base: str, chromium: Browser, seen: Path) -> Iterator[Person]:
    """J. Ruiz, signed in at the trolley's tablet."""
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz")
        yield one


@pytest.fixture
def phone(unit: Unit, base: str, chromium: Browser, seen: Path) -> Iterator[Person]:
    """Somebody at the unit's telephone, not signed in."""
    with person(chromium, base, seen, size=(390, 844)) as one:
        one.enrols(unit.enrol_code())
        yield one


def test_a_scan_of_nothing_changes_nothing(helper: Person, unit: Unit) -> None:
    number = helper.begins_a_prime()
    helper.page.keyboard.press("Enter")
    helper.page.keyboard.press("Enter")
    helper.page.wait_for_timeout(400)
    helper.sees("Begin", "Scan the circuit pack")
    helper.scans(gs1(PACK, "PK1"))
    helper.sees("Accepted")
    assert unit.lots_in(number)[:1] == ["PK1"]
    assert helper.troubles == []


def test_ten_thousand_characters_are_told_and_not_taken(helper: Person, unit: Unit) -> None:
    number = helper.begins_a_prime()
    helper.scans_fast("X" * 10_240)
    helper.sees("Look again", "Far too long for a product code")
    assert unit.lots_in(number) == []
    assert helper.troubles == []


@pytest.mark.parametrize("text", [f"AB{GS}\x1eCD\x04EF", "X\x1e\x04\x1e\x04Y", f"]d2{GS}{GS}{GS}"])
def test_control_characters_are_told_and_not_taken(helper: Person, unit: Unit, text: str) -> None:
    number = helper.begins_a_prime()
    helper.scans(text)
    # Asked back on the strip, or asked once what it is: in both cases nothing is in the circuit.
    asked = helper.page.locator("[data-strip].look-again, [data-strip].stop").or_(
        helper.page.get_by_role("heading", name="New here")
    )
    expect(asked.first).to_be_visible()
    assert unit.lots_in(number) == []
    assert helper.troubles == []


def test_a_wristband_at_the_trolley_is_never_written_down(
    helper: Person, unit: Unit, tmp_path: Path
) -> None:
    helper.begins_a_prime()
    helper.scans(f"]d2{WRISTBAND}")
    helper.sees("Look again", "That was a person's code, not a part")
    assert WRISTBAND[4:] not in helper.page.content()
    assert WRISTBAND[4:] not in all_that_is_kept(helper)
    for file in tmp_path.glob("*.db*"):
        assert WRISTBAND[4:].encode() not in file.read_bytes(), file.name


def test_an_expired_part_and_a_wrong_fluid_stop_and_are_told_apart(
    helper: Person, unit: Unit
) -> None:
    number = helper.begins_a_prime()
    helper.scans(gs1(BAG, "OLD1", expiry=EXPIRED))
    helper.sees("Stop", re.compile("^Expired "))
    helper.scans(gs1(STRONG, "3PC"))
    helper.sees("Stop", "Not sodium chloride 0.9 %")
    assert unit.lots_in(number) == []


def test_one_scan_that_the_scanner_sends_twice_is_counted_once(helper: Person, unit: Unit) -> None:
    number = helper.begins_a_prime()
    helper.scans(gs1(TAP, "T1"))
    helper.counts(1)
    helper.scans(gs1(TAP, "T1"))
    helper.sees("Accepted", "One scan, read twice")
    helper.counts(1)
    assert unit.lots_in(number) == ["T1"]


def test_a_tag_that_nobody_knows_can_be_taken_all_the_same(phone: Person, unit: Unit) -> None:
    """Another site's tag in the emergency: never blocked, contents not recorded."""
    phone.opens("/take")
    phone.scans(circuit_symbol("ZZZZ", "C-0007"))
    phone.reads("Nobody here knows this tag.")
    phone.looks("take-unknown")
    phone.presses_the_main_button()
    phone.page.wait_for_url(re.compile(r"/taken/"))
    phone.reads(re.compile("ontents not recorded"))
    phone.looks("taken-unknown")


def test_half_a_tag_is_told(phone: Person, unit: Unit) -> None:
    _, tag = unit.ready_circuit()
    phone.opens("/take")
    phone.scans(tag[:-2])
    phone.reads("Only half a tag was read.")
    phone.scans(tag)
    phone.page.wait_for_url(re.compile(r"/taken/"))


def test_the_tag_of_a_circuit_in_use_is_told_and_can_be_recorded_anyway(
    phone: Person, unit: Unit
) -> None:
    number, tag = unit.ready_circuit()
    for _ in ("taken", "flow on"):
        phone.opens("/take")
        phone.scans(tag)
        phone.page.wait_for_url(re.compile(rf"/taken/{number}$"))
        phone.page.wait_for_timeout(1_600)  # within 1.5 s it would be one scan read twice
    phone.opens("/take")
    phone.scans(tag)
    phone.reads("Also claimed by run R-0002.")
    phone.reads("Both are recorded; a person rules later.")
    phone.looks("take-in-use")
    with unit.services.reads() as reads:
        claims = runs(reads, SITE)
    assert len(claims) == 2


def test_a_second_tab_with_a_stale_form_is_told_what_happened_meanwhile(
    helper: Person, unit: Unit
) -> None:
    number = helper.begins_a_prime()
    helper.scans(gs1(PACK, "PK1"))
    helper.sees("Accepted")
    second = helper.context.new_page()
    for tab in (helper.page, second):
        tab.goto(f"{helper.base}/prime/{number}/end")
        tab.locator("[name=lots_not_recorded]").check()
    helper.presses_the_main_button()
    helper.page.wait_for_url(re.compile(r"/sign$"))
    second.locator("main form button.main").first.click()
    expect(second.locator("body")).to_contain_text(
        f"{number} is primed. It was ended before, perhaps in another window."
    )
    with unit.services.reads() as reads:
        ended = (
            select(func.count()).select_from(LedgerEvent).where(LedgerEvent.kind == "prime-ended")
        )
        assert reads.scalar(ended) == 1


def test_another_device_that_opens_a_prime_is_told_how_far_it_is(
    helper: Person, base: str, chromium: Browser, seen: Path
) -> None:
    number = helper.begins_a_prime()
    helper.scans(gs1(PACK, "PK1"))
    helper.counts(3)
    with person(chromium, base, seen) as other:
        other.signs_in("E. Lind")
        other.opens(f"/prime/{number}")
        other.sees("Go on", "Next: Tap by the pump")
        other.counts(3)
        other.looks("prime-opened-by-another")


def test_scans_without_a_network_are_kept_and_sent_in_order_when_it_returns(
    helper: Person, unit: Unit
) -> None:
    number = helper.begins_a_prime()
    helper.scans(gs1(PACK, "PK1"))
    helper.counts(3)
    helper.context.set_offline(True)
    for _ in range(3):
        # Pieces of one lot: told from one scan read twice by this device's own clock, also later.
        helper.reaches_for_the_next()
        helper.scans(gs1(TAP, "T1"))
    helper.scans(gs1(TAP, "T1"))
    expect(helper.page.locator("[data-network]")).to_have_text("No network. 4 kept")
    helper.sees("Kept", "No network. Kept, not checked")
    helper.looks("offline")
    assert "T1" not in unit.lots_in(number)
    helper.context.set_offline(False)
    expect(helper.page.locator("[data-network]")).to_have_text("Network on", timeout=15_000)
    helper.counts(6)
    assert [lot for lot in unit.lots_in(number) if lot == "T1"] == ["T1"] * 3


@contextmanager
def mortal(folder: Path, port: int) -> Iterator[subprocess.Popen[bytes]]:
    """Serve the folder's store in a process of its own until it dies or the block ends."""
    command = [sys.executable, "-m", "tests.browser.mortal_server", str(folder), str(port)]
    with subprocess.Popen(command, cwd=TOP, stderr=subprocess.DEVNULL) as server:
        give_up = time.monotonic() + 20
        while time.monotonic() < give_up:
            with suppress(OSError), urllib.request.urlopen(f"http://127.0.0.1:{port}/take"):
                break
            time.sleep(0.1)
        try:
            yield server
        finally:
            with suppress(ProcessLookupError):
                os.kill(server.pid, signal.SIGKILL)


@pytest.mark.parametrize("moment", ["die-before", "die-after"])
def test_a_server_killed_around_a_scan_leaves_exactly_one_part(
    unit: Unit, chromium: Browser, seen: Path, tmp_path: Path, moment: str
) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    base = f"http://127.0.0.1:{port}"
    with person(chromium, base, seen) as one:
        with mortal(tmp_path, port) as server:
            one.signs_in("J. Ruiz")
            number = one.begins_a_prime()
            (tmp_path / moment).touch()
            one.scans(gs1(TAP, "T1"))
            assert server.wait(10) == -signal.SIGKILL
            one.sees("Kept")
            one.scans(gs1(BAG, "B1"))
            expect(one.page.locator("[data-network]")).to_have_text("No network. 2 kept")
        written = unit.lots_in(number)
        assert written == ([] if moment == "die-before" else ["T1"])
        (tmp_path / moment).unlink()
        with mortal(tmp_path, port):
            expect(one.page.locator("[data-network]")).to_have_text("Network on", timeout=20_000)
            one.counts(2)
            assert unit.lots_in(number) == ["T1", "B1"]
