"""The camera at the trolley: packs held up one after the other, and one photo of all of them.

The camera is the browser's own stand-in that plays a film; the film is drawn with our own symbols.
"""

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Final

import pytest
from PIL import Image
from playwright.sync_api import Browser, Locator, expect
from sqlalchemy import select

from tests.browser.laid_out import Pack, clip, jpeg, matrix, photo
from tests.browser.person import Person, person
from tests.browser.unit import (
    BAG,
    BAG_HIBC,
    EXPIRED,
    PACK,
    SITE,
    STRONG,
    SYRINGE,
    TAP,
    UNKNOWN,
    Unit,
    badge,
    by,
    card,
    gs1,
    hibc,
)
from traceability.actions.lists.products import SetProduct, set_product
from traceability.actions.lists.site import SetPolicy, set_policy
from traceability.domain.act_cards import Act
from traceability.reads.circuits import circuit_facts
from traceability.storage.ledger import LedgerEvent

TAP_LOT: Final = "T77-0B1"
NOBODY: Final = 90
"""Frames, 30 a second: long enough out of view for the same code to be another piece."""
HELD: Final = 45
LONGEST_MS: Final = 5000
"""From a frame to its verdict, on a machine that does much else; the figure itself is printed."""

WATCH_BOTH: Final = """() => {
  // When a frame with a pack in it was shown after one without, and when the strip changed.
  const video = document.querySelector("[data-view]");
  const small = Object.assign(document.createElement("canvas"), { width: 8, height: 8 });
  const context = small.getContext("2d", { willReadFrequently: true });
  window.ctShown = [];
  window.ctSaid = [];
  window.ctCounts = []; // how many were recorded each time a pack came into view
  let held = null;
  const shown = (now) => {
    const { videoWidth: wide, videoHeight: tall } = video;
    context.drawImage(video, wide * 0.2, tall * 0.4, wide * 0.1, tall * 0.2, 0, 0, 8, 8);
    const greens = context.getImageData(0, 0, 8, 8).data.filter((_, i) => i % 4 === 1);
    const pack = Math.max(...greens) - Math.min(...greens) > 60;
    if (pack && held === false) {
      window.ctShown.push(now);
      window.ctCounts.push(Number(document.querySelector("[data-strip] .left b").textContent));
    }
    held = pack;
    video.requestVideoFrameCallback(shown);
  };
  video.requestVideoFrameCallback(shown);
  const look = () => window.ctSaid.push(performance.now());
  const strip = document.querySelector("[data-strip]");
  new MutationObserver(look).observe(strip, { childList: true, subtree: true });
}"""


@pytest.fixture
def with_camera(chromium: Browser, tmp_path: Path) -> Iterator[Browser]:
    """A Chromium with a camera: nobody, then a tap held up, again and again."""
    film = tmp_path / "film.mjpeg"
    film.write_bytes(clip([([], NOBODY), ([matrix(gs1(TAP, TAP_LOT), "tap")], HELD)]))
    args = [
        "--disable-gpu",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
        "--host-resolver-rules=MAP trolley.test 127.0.0.1",
    ]
    if os.geteuid() == 0:
        args.append("--no-sandbox")
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    with closing(chromium.browser_type.launch(executable_path=program, args=args)) as browser:
        yield browser


def opens_the_camera(one: Person) -> None:
    one.page.get_by_role("button", name="Camera", exact=True).click()


def camera_says(one: Person, words: str) -> None:
    expect(one.page.locator("[data-camera-says]")).to_contain_text(words)


def test_a_pack_held_up_is_read_as_a_scan_and_once(
    unit: Unit, base: str, with_camera: Browser, seen: Path
) -> None:
    with person(with_camera, base, seen) as one:
        one.context.grant_permissions(["camera"])
        one.signs_in("J. Ruiz", then="/prime")
        number = one.begins_a_prime()
        # The browser's own reader, where there is one, is not asked.
        one.page.evaluate("() => { delete window.BarcodeDetector; }")
        one.scans(card(Act.PHOTO))
        camera_says(one, "Hold a pack up")
        one.page.evaluate(WATCH_BOTH)
        expect(one.strip.locator(".word")).to_have_text("Accepted", timeout=20_000)
        one.sees("Accepted", "Three-way tap. Tap by the pump")
        camera_says(one, "Counted.")
        # It stays before the camera for more than a second, and is one piece. Gone for 2 s and
        # there again, it is the next one.
        expect(one.strip.locator(".left b")).to_have_text("2", timeout=20_000)
        shown, said, counts = one.page.evaluate("[window.ctShown, window.ctSaid, window.ctCounts]")
        assert counts in ([0, 1], [1]), "once each time it came into view"
        waits = [round(min(at for at in said if at > frame) - frame) for frame in shown[:2]]
        print(f"\nfrom the frame shown to the verdict on screen: {waits} ms")
        assert max(waits) < LONGEST_MS
        assert '"channel":"camera"' in last_body(unit)
        assert unit.lots_in(number) == [TAP_LOT] * 2
        one.looks("camera")
        # It stops in the middle: unplugged, or taken by another program.
        one.page.evaluate(
            "document.querySelector('[data-view]').srcObject.getVideoTracks()[0]"
            ".dispatchEvent(new Event('ended'))"
        )
        camera_says(one, "The camera stopped. What was accepted is recorded.")
        one.page.get_by_role("button", name="Try the camera again").click()
        camera_says(one, "Hold a pack up")
        one.page.get_by_role("button", name="Close the camera").click()
        assert one.page.evaluate("document.querySelector('[data-view]').srcObject") is None
        assert one.troubles == []


def last_body(unit: Unit) -> str:
    with unit.services.reads() as reads:
        last = select(LedgerEvent.body).order_by(LedgerEvent.number.desc()).limit(1)
        return str(reads.scalar(last))


def test_without_a_camera_the_page_says_why_and_what_else_there_is(
    unit: Unit, base: str, with_camera: Browser, seen: Path
) -> None:
    with person(with_camera, base, seen) as one:
        one.signs_in("J. Ruiz", then="/prime")
        number = one.begins_a_prime()
        opens_the_camera(one)  # nobody allowed it
        camera_says(one, "This browser may not use the camera. Allow it")
        camera_says(one, "Other ways on: the scanner, a photo, or type the code.")
        one.looks("camera-refused")
        one.scans(gs1(TAP, TAP_LOT))  # the scanner works beside it
        one.counts(1)
        # Plain http, as from another machine.
        elsewhere = base.replace("127.0.0.1", "trolley.test")
        with person(with_camera, elsewhere, seen) as other:
            other.signs_in("J. Ruiz", then="/prime")
            other.opens(f"/prime/{number}")
            opens_the_camera(other)
            camera_says(other, "The camera needs https, and this page came over plain http")
            taps = [matrix(gs1(TAP, TAP_LOT))] * 2 + [matrix(gs1(TAP, "T78-9"))]
            gives(other, "taps.jpg", jpeg(photo(taps, size=(1500, 600))))
            # One is in already, by the scanner; a second lot has to be told where it goes.
            photo_says(other, "3 packs read. 1 goes in; 2 wait for your tick.")
            other.looks("photo-asks")
            expect(other.page.locator("[data-fill]")).to_contain_text("Fill in 1 pack")
            other_lot = row(other, "T78-9")
            other_lot.get_by_role("combobox").select_option("Tap by the patient")
            other_lot.get_by_role("checkbox").check()
            other.page.locator("[data-fill]").click()
            photo_says(other, "2 packs are in.")
            assert other.troubles == []
        assert tap_lots(unit, number) == {"tap-1": TAP_LOT, "tap-2": TAP_LOT, "tap-5": "T78-9"}
        assert one.troubles == []


def tap_lots(unit: Unit, number: str) -> dict[str, str | None]:
    with unit.services.reads() as reads:
        circuit = circuit_facts(reads, SITE, number, unit.services.now())
    assert circuit is not None
    return {part.slot: part.lot for part in circuit.now_in}


def photo_says(one: Person, words: str | re.Pattern[str]) -> None:
    expect(one.page.locator("[data-photo-says]")).to_contain_text(words, timeout=15_000)


def gives(one: Person, name: str, data: bytes) -> None:
    one.page.locator("[data-photo-file]").last.set_input_files(
        {"name": name, "mimeType": "image/jpeg", "buffer": data}
    )


def row(one: Person, words: str) -> Locator:
    return one.page.locator("[data-packs] li").filter(has_text=words)


def laid_out() -> Image.Image:
    """Return the trolley: what the sheet needs but one bag, and what does not belong there."""
    bag = hibc(BAG_HIBC, "H0I1").removeprefix("]C0")
    return photo(
        [
            Pack(  # the same in squares and in bars, on one pack
                symbols=(
                    ("gs1-datamatrix", gs1(PACK, "PK26-104").removeprefix("]d2")),
                    ("ean13", PACK[1:]),
                ),
                words="Circuit pack adult",
            ),
            *[matrix(gs1(TAP, TAP_LOT), "Three-way tap")] * 4,
            matrix(gs1(TAP, "T78-9"), "Three-way tap"),
            Pack(symbols=(("code128", bag),), words="Sodium chloride 0.9 %"),
            matrix(gs1(STRONG, "3PC-1"), "Sodium chloride 3 %"),
            matrix(gs1(SYRINGE, "SY5"), "Syringe 50 mL"),
            matrix(gs1(TAP, "OLD-1", expiry=EXPIRED), "Three-way tap"),
            matrix(gs1(UNKNOWN, "U1"), "?"),
            Pack(symbols=(("datamatrix", badge("J. Ruiz")),), words="badge"),
        ],
        size=(3000, 2000),
        columns=4,
        module=5,
    )


def knows_the_syringe_and_keeps_photos(unit: Unit) -> None:
    syringe = SetProduct(
        sent=by("S. Berg"),
        standard="gs1",
        identifier=SYRINGE,
        name="Syringe 50 mL",
        maker="Mellowick Perfusion",
        part_kind="syringe",
    )
    set_product(syringe, site=unit.site)
    policy = SetPolicy(
        sent=by("S. Berg"),
        wet_closed_days=30,
        dry_days=60,
        wet_open_days=5,
        blood_minutes=240,
        opened_fluid_minutes=None,
        parts_expiry_counts=True,
        keep_pictures=True,
        read_version=1,
    )
    set_policy(policy, site=unit.site)


def test_the_prime_by_one_photo_and_the_missing_scans(
    unit: Unit, base: str, chromium: Browser, seen: Path
) -> None:
    knows_the_syringe_and_keeps_photos(unit)
    exif = Image.Exif()
    exif[0x010F] = "Somebody's telephone"
    trolley = jpeg(laid_out(), exif=exif)
    with person(chromium, base, seen) as one:
        one.signs_in("J. Ruiz", then="/prime")
        number = one.begins_a_prime()
        opens_the_camera(one)
        camera_says(one, "This device has no camera that can be used.")

        # The network goes while the photo is sent: it stays on the page, and is sent again.
        one.context.set_offline(True)
        gives(one, "trolley.jpg", trolley)
        photo_says(one, "No network. The photo is kept on this page and sent again by itself.")
        one.context.set_offline(False)
        photo_says(one, "11 packs read. 8 go in; 3 do not. Nothing is recorded yet.")
        one.counts(0)
        one.looks("photo")
        expect(row(one, "Boxes 1 and 5 stand on one pack.")).to_contain_text(
            "Goes in: Circuit pack"
        )
        expect(row(one, "Sodium chloride 3 %")).to_contain_text("Stop: not sodium chloride 0.9 %")
        expect(row(one, "OLD-1")).to_contain_text("Stop: expired")
        expect(row(one, "not known here")).to_contain_text("Scan it, and say once what it is.")
        expect(row(one, "card, badge or tag")).to_contain_text("Nothing to put in")
        missing = one.page.locator("[data-photo-missing]")
        expect(missing).to_have_text(
            "With these, still missing: Sodium chloride 0.9 %, 6 × Cable ties."
        )
        assert one.page.locator(".boxes text").count() == 13

        one.scans(card(Act.AS_READ))  # one card lets all be filled in that needs no question
        photo_says(one, "8 packs are in. The photo is kept as evidence.")
        one.counts(10)
        one.looks("photo-filled")

        # The very same photo again, as somebody does who is not sure that it was taken.
        one.page.get_by_role("button", name="Close the photo").click()
        opens_the_camera(one)
        gives(one, "trolley.jpg", trolley)
        photo_says(one, "11 packs read. 0 go in; 11 do not.")
        expect(row(one, "PK26-104")).to_contain_text("Filled in from this very photo before")
        expect(one.page.locator("[data-fill]")).to_be_hidden()
        # A bag is scanned while it is open: it is looked over again by itself.
        one.scans(gs1(BAG, "4K0O02B8"))
        one.sees("Accepted", re.compile("bag two of two"))
        expect(missing).to_have_text("With these, still missing: 6 × Cable ties.")
        one.page.get_by_role("button", name="Close the photo").click()
        one.scans(card(Act.TICK))
        one.sees("Accepted", re.compile("Cable ties"))
        one.counts(11)
        one.scans(card(Act.NEXT))
        one.page.wait_for_url(re.compile(r"/end$"))
        one.presses_the_main_button()
        one.page.wait_for_url(re.compile(r"/sign$"))
        lots = unit.lots_in(number)
        assert sorted(lots) == sorted(
            ["PK26-104", *[TAP_LOT] * 4, "T78-9", "H0I1", "4K0O02B8", "SY5"]
        )
        sees_and_erases(one, number)
        assert [each for each in one.troubles if "INTERNET_DISCONNECTED" not in each] == []


def sees_and_erases(one: Person, number: str) -> None:
    """Look at the photo that was kept; a charge consultant erases it."""
    one.opens(f"/circuits/{number}")
    one.page.get_by_role("link", name=re.compile("Photos of the trolley")).click()
    one.reads("No patient, wristband or screen with a name may be in the picture.")
    one.looks("photos-kept")
    address = str(one.page.locator(".kept-picture img").get_attribute("src"))
    status, kind, kept = one.fetches(address)
    assert (status, kind) == (200, "image/jpeg")
    assert b"telephone" not in kept
    one.signs_in("S. Berg")
    assert one.fetches(address)[0] == 403
    one.signs_in("N. Aalto", then=f"/circuits/{number}/pictures")
    one.unfolds()
    one.submits("erase")
    one.reads("Erased. Its SHA-256 stays on record")
    assert one.fetches(address)[0] == 404
