"""A photo of a laid-out trolley: what each pack would do, filled in pack by pack, kept by policy.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

import hashlib
import io
from dataclasses import replace
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from PIL import Image
from sqlalchemy import func, select

from tests.make import (
    OXYGENATOR,
    PACK,
    SALINE,
    STRONG_SALINE,
    TAP,
    TAP_CARTON,
    TROLLEY_2,
    UNKNOWN,
    Ward,
    code,
)
from traceability.actions.lists.site import SetPolicy, set_policy
from traceability.actions.once import Done
from traceability.actions.prime.evidence import (
    ErasePicture,
    KeepPicture,
    erase_picture,
    keep_picture,
    kept_picture,
)
from traceability.actions.prime.look_over import (
    Fate,
    LookedOver,
    PackLine,
    look_over,
    packs_in,
)
from traceability.actions.prime.pictured import FillPictured, fill_pictured
from traceability.domain.symbols_seen import SymbolSeen
from traceability.errors import NotAllowed, PicturesNotKept, UnknownCode, WrongState
from traceability.imaging.bare import bare_picture
from traceability.reads.pictures import pictures_of
from traceability.storage.circuits import Circuit
from traceability.storage.ledger import LedgerEvent
from traceability.storage.lookup import in_place
from traceability.storage.rebuild import rebuild

PHOTO = "a" * 64
"""Stands for the SHA-256 of a photo."""


def symbols(*texts: str, suspect: frozenset[int] = frozenset()) -> list[SymbolSeen]:
    """Return symbols far from each other; text as a scanner sends it, with its identifier."""
    return [
        SymbolSeen(
            number=number,
            text=text[3:],
            symbology_identifier=text[:3],
            corners=((1000 * number, 0), (1000 * number + 80, 0), (1000 * number, 80)),
            suspect=number in suspect,
        )
        for number, text in enumerate(texts, 1)
    ]


def looked(
    ward: Ward,
    circuit: UUID,
    *texts: str,
    suspect: frozenset[int] = frozenset(),
    photo: str = PHOTO,
) -> LookedOver:
    with ward.services.reads() as reads:
        return look_over(
            reads,
            ward.site,
            circuit,
            packs_in(symbols(*texts, suspect=suspect), ward.now.date()),
            picture=photo,
            device_id=ward.device,
            at=ward.now,
        )


def fill(ward: Ward, circuit: UUID, line: PackLine, *, slot: str = "") -> Done:
    return fill_pictured(
        FillPictured(
            sent=ward.sent(line.request_id),
            circuit_id=circuit,
            texts=tuple((each.text, each.symbology_identifier) for each in line.pack.scans),
            at=ward.now,
            picture=PHOTO,
            boxes=tuple(each.number for each in line.pack.symbols),
            slot=slot,
            compared=line.compare,
        ),
        site=ward.site,
    )


def fates(found: LookedOver) -> list[Fate]:
    return [line.fate for line in found.lines]


def held(ward: Ward, circuit: UUID) -> list[tuple[str, str | None]]:
    with ward.services.reads() as reads:
        row = reads.get_one(Circuit, (ward.site.id, circuit))
        return sorted((each.slot, each.lot) for each in in_place(reads, row) if each.lot)


def events(ward: Ward) -> int:
    with ward.services.reads() as reads:
        return reads.scalar(select(func.count()).select_from(LedgerEvent)) or 0


def test_looking_writes_nothing_and_filling_does_what_was_shown(ward: Ward) -> None:
    circuit = ward.begin()
    texts = (
        code(PACK, "PK26-104"),
        code(TAP, "T77"),
        code(TAP, "T77"),
        code(OXYGENATOR, "3F0117", serial="000452"),
        code(SALINE, "4K"),
    )
    before = events(ward)
    found = looked(ward, circuit, *texts)
    assert events(ward) == before
    assert fates(found) == [Fate.FILLS] * 5
    for line in found.lines:
        done = fill(ward, circuit, line)
        assert (done.verdict, done.facts["place"]) == ("accepted", line.place)
    assert held(ward, circuit) == [
        ("oxygenator", "3F0117"),
        ("pack", "PK26-104"),
        ("saline", "4K"),
        ("tap-middle", "T77"),
        ("tap-pump", "T77"),
    ]
    assert {slot.id for slot, _ in found.missing} == {
        slot.id for slot, _ in looked(ward, circuit).missing
    }


def test_the_same_photo_again_adds_nothing_and_says_so(ward: Ward) -> None:
    circuit = ward.begin()
    first = looked(ward, circuit, code(TAP, "T77"), code(TAP, "T77"))
    once = [fill(ward, circuit, line) for line in first.lines]
    again = looked(ward, circuit, code(TAP, "T77"), code(TAP, "T77"))
    assert fates(again) == [Fate.SENT, Fate.SENT]
    assert [line.request_id for line in again.lines] == [line.request_id for line in first.lines]
    before = events(ward)
    assert [fill(ward, circuit, line) for line in first.lines] == once
    assert events(ward) == before


def test_another_photo_of_the_same_packs_counts_none_twice(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(TAP, "T77"))
    found = looked(ward, circuit, code(TAP, "T77"), code(TAP, "T77"), code(TAP, "T77"))
    assert fates(found) == [Fate.IN_ALREADY, Fate.FILLS, Fate.FILLS]
    # From another device too, whatever the picture's bytes.
    other = replace(ward, device=TROLLEY_2)
    for line in found.lines[1:]:
        fill(ward, circuit, line)
    assert (
        fates(looked(other, circuit, *[code(TAP, "T77")] * 3, photo="b" * 64))
        == [Fate.IN_ALREADY] * 3
    )


def test_what_was_taken_back_is_not_filled_by_the_same_photo_again(ward: Ward) -> None:
    circuit = ward.begin()
    found = looked(ward, circuit, code(TAP, "T77"))
    fill(ward, circuit, found.lines[0])
    ward.undo(circuit)
    assert fates(looked(ward, circuit, code(TAP, "T77"))) == [Fate.TAKEN_BACK]


def test_what_cannot_be_filled_says_why_and_takes_no_place(ward: Ward) -> None:
    circuit = ward.begin()
    found = looked(
        ward,
        circuit,
        code(STRONG_SALINE, "3PC-1"),
        code(TAP, "OLD", expires="310505"),
        code(UNKNOWN, "U1"),
        code(TAP_CARTON, "T77"),
        code(TAP),
        "]C11733033110T77",
        code(TAP, "T77"),
    )
    assert [(line.fate, line.code) for line in found.lines] == [
        (Fate.NOT_TIED, "wrong-fluid"),
        (Fate.NOT_TIED, "expired"),
        (Fate.NOT_TIED, "unknown-product"),
        (Fate.NOT_TIED, "carton"),
        (Fate.NOT_TIED, "lot-not-in-code"),
        (Fate.NOT_TIED, "half-label"),
        (Fate.FILLS, "placed"),
    ]


def test_a_second_lot_asks_where_it_goes(ward: Ward) -> None:
    circuit = ward.begin()
    found = looked(ward, circuit, code(TAP, "T77"), code(TAP, "T78"))
    first, second = found.lines
    assert (first.fate, second.fate) == (Fate.FILLS, Fate.WHICH_PLACE)
    assert [slot for slot, _ in second.places] == ["tap-middle", "tap-oxygenator"]
    fill(ward, circuit, first)
    fill(ward, circuit, second, slot="tap-oxygenator")
    assert held(ward, circuit) == [("tap-oxygenator", "T78"), ("tap-pump", "T77")]


def test_more_than_the_sheet_needs_is_not_tied(ward: Ward) -> None:
    circuit = ward.begin()
    found = looked(ward, circuit, *[code(TAP, "T77")] * 4)
    assert fates(found) == [Fate.FILLS] * 3 + [Fate.NOT_TIED]
    assert found.lines[3].code == "all-recorded"


def test_what_was_not_surely_read_waits_for_a_person(ward: Ward) -> None:
    circuit = ward.begin()
    found = looked(ward, circuit, code(TAP, "T77"), code(TAP, "T77"), suspect=frozenset({1}))
    assert fates(found) == [Fate.COMPARE, Fate.FILLS]
    assert [slot.id for slot, _ in found.missing].count("tap-middle") == 1
    fill(ward, circuit, found.lines[0])
    with ward.services.reads() as reads:
        body = reads.scalars(select(LedgerEvent.body).order_by(LedgerEvent.number.desc())).first()
    assert body is not None
    assert '"compared":true' in body
    assert '"channel":"photo"' in body
    assert f'"picture":"{PHOTO}"' in body


def test_two_halves_of_one_label_are_one_act(ward: Ward) -> None:
    circuit = ward.begin()
    near = [
        SymbolSeen(
            number=number,
            text=text,
            symbology_identifier="]C1",
            corners=((0, 100 * number), (200, 100 * number), (200, 100 * number + 60)),
        )
        for number, text in enumerate((f"01{TAP}", "1733033110T77"), 1)
    ]
    with ward.services.reads() as reads:
        found = look_over(
            reads,
            ward.site,
            circuit,
            packs_in(near, ward.now.date()),
            picture=PHOTO,
            device_id=ward.device,
            at=ward.now,
        )
    (line,) = found.lines
    assert line.fate is Fate.FILLS
    before = events(ward)
    assert fill(ward, circuit, line).verdict == "accepted"
    assert events(ward) == before + 1
    assert held(ward, circuit) == [("tap-pump", "T77")]


def test_a_prime_that_has_ended_takes_no_photo(ward: Ward) -> None:
    circuit = ward.prime()
    with pytest.raises(WrongState):
        looked(ward, circuit, code(TAP, "T77"))


def test_a_persons_code_goes_nowhere(ward: Ward) -> None:
    circuit = ward.begin()
    found = looked(ward, circuit, "]d28018952123400000000018", code(TAP, "T77"))
    assert {line.pack.symbols[0].number: line.fate for line in found.lines} == {
        1: Fate.NO_PART,
        2: Fate.FILLS,
    }


# ---- evidence ----------------------------------------------------------------------------------


def picture() -> bytes:
    out = io.BytesIO()
    made = Image.new("RGB", (60, 40), (90, 120, 90))
    exif = Image.Exif()
    exif[0x010F] = "Somebody's telephone"
    exif.get_ifd(0x8825)[2] = (59.0, 20.0, 0.0)
    made.save(out, "JPEG", exif=exif, comment=b"C-0001 of Somebody")
    return out.getvalue()


def keep(ward: Ward, circuit: UUID, request_id: UUID) -> Done:
    sent = picture()
    asked = KeepPicture(
        sent=ward.sent(request_id),
        circuit_id=circuit,
        sent_sha256=hashlib.sha256(sent).hexdigest(),
        at=ward.now,
    )
    var = ward.services.settings.var_dir
    return keep_picture(asked, bare_picture(sent), site=ward.site, var_dir=var)


def keeps_pictures(ward: Ward) -> None:
    asked = SetPolicy(
        sent=ward.sent(),
        wet_closed_days=30,
        dry_days=60,
        wet_open_days=5,
        blood_minutes=240,
        opened_fluid_minutes=None,
        parts_expiry_counts=True,
        keep_pictures=True,
        read_version=1,
    )
    set_policy(asked, site=ward.site)


def files(var: Path) -> list[Path]:
    return list((var / "pictures").glob("*")) if (var / "pictures").exists() else []


def test_a_photo_is_kept_only_where_the_policy_says_so(ward: Ward) -> None:
    circuit, var = ward.begin(), ward.services.settings.var_dir
    with pytest.raises(PicturesNotKept):
        keep(ward, circuit, uuid4())
    assert files(var) == []


def test_a_kept_photo_is_its_dots_alone_and_can_be_erased_with_the_chain_whole(ward: Ward) -> None:
    circuit, var = ward.begin(), ward.services.settings.var_dir
    keeps_pictures(ward.at("stock"))
    request_id = uuid4()
    first = keep(ward, circuit, request_id)
    assert keep(ward, circuit, request_id) == first
    (file,) = files(var)
    kept = file.read_bytes()
    assert b"Somebody" not in kept
    with Image.open(io.BytesIO(kept)) as shown:
        assert (shown.size, dict(shown.getexif()), shown.info.get("comment")) == (
            (60, 40),
            {},
            None,
        )
    with ward.services.reads() as reads:
        (facts,) = pictures_of(reads, ward.site.id, ward.number(circuit))
    assert facts.sha256 == hashlib.sha256(kept).hexdigest()

    asked = ErasePicture(sent=ward.sent(), picture_id=facts.id, reason="person-in-it")
    with pytest.raises(NotAllowed):
        erase_picture(asked, site=ward.site, var_dir=var)
    consultant = ward.at("consultant")
    asked = replace(asked, sent=consultant.sent())
    erase_picture(asked, site=ward.site, var_dir=var)
    assert files(var) == []
    assert kept_picture(facts.id, var_dir=var) is None
    with ward.services.reads() as reads:
        (facts,) = pictures_of(reads, ward.site.id, ward.number(circuit))
    assert facts.erased
    with pytest.raises(UnknownCode):
        erase_picture(replace(asked, sent=consultant.sent()), site=ward.site, var_dir=var)
    with ward.services.writes.begin() as session:
        assert rebuild(session, ward.site.id).changed == ()
