"""What a tag says, and who says so: here, at a site that was compared, and at one nobody knows."""

from base64 import b32encode
from dataclasses import replace
from hashlib import sha256
from uuid import uuid4

import pytest

from tests.make import KEYS, OXYGENATOR, TAP, TYPE, Ward
from traceability.actions.lists.sheets import SetSheet, set_sheet
from traceability.actions.lists.tag_keys import (
    BelieveTagKey,
    WithdrawTagKey,
    believe_tag_key,
    withdraw_tag_key,
)
from traceability.domain.tag_contents import ContentsItem, contents_text, read_contents
from traceability.errors import BadValue, NotAllowed, UnknownCode
from traceability.identifiers.checks import iso_7064_mod_37_2
from traceability.messages import say_limit
from traceability.reads.tag_texts import Says, TagTextFacts, tag_text_facts
from traceability.reads.tags import tag_facts
from traceability.security.keys import Keys
from traceability.security.tag_keys import fingerprint, tag_public, tag_signer
from traceability.storage.lookup import newest_sheet
from traceability.storage.rebuild import rebuild
from traceability.tag_messages import say_listed, say_tag_text

OTHERS = Keys(digest=b"o" * 32, signing=b"o" * 32)
ASKED = BelieveTagKey(
    sent=None,  # type: ignore[arg-type]
    public_key=tag_public(OTHERS).hex(),
    name="Inventium North",
    unit="ICU",
    code="7QXM",
    fingerprint=fingerprint(tag_public(OTHERS)).lower(),
)


def text_of(ward: Ward, keys: Keys | None, *, listed: int | None = None, lot: str = "T1") -> str:
    """Return the text on the tag of a freshly primed circuit."""
    facts = ward.facts(ward.prime(lot=lot))
    with ward.reads() as session:
        tag = tag_facts(
            session, facts, zone=ward.site.zone, copy=0, reason=say_limit(facts.decides)
        )
    assert tag.contents is not None
    many = len(tag.contents.items) if listed is None else listed
    return contents_text(tag.contents, listed=many, sign=tag_signer(keys) if keys else None)


def checked(text: str) -> str:
    """Return a text with its checksum, as anybody can make it who reads how it is made."""
    digest = b32encode(sha256(text.encode()).digest()).decode()[:8]
    return f"{text} * CHECK {digest}.{iso_7064_mod_37_2(digest)}"


def stated(ward: Ward, text: str) -> TagTextFacts | None:
    with ward.reads() as session:
        return tag_text_facts(session, ward.site.id, text, own_key=tag_public(KEYS))


def believe(ward: Ward, **changes: object) -> None:
    asked = replace(ASKED, sent=ward.sent(), **changes)  # type: ignore[arg-type]
    believe_tag_key(asked, site=ward.site)


def test_our_own_tag_says_all_and_nobody_by_name(ward: Ward) -> None:
    text = text_of(ward, KEYS)
    found = stated(ward, text)
    assert found is not None
    assert found.says is Says.OURS
    assert "made here, by Norrvik Sound Hospital, Intensive care 2" in say_tag_text(found)
    assert ContentsItem(count=3, item=TAP, lot="T1") in found.read.items
    assert any(item.item == OXYGENATOR and item.serial for item in found.read.items)
    assert any(item.gap == "INSIDE THE PACK" for item in found.read.items)
    assert "lists all" in say_listed(found)
    said = " ".join(found.read.said)
    assert "PRIME Sodium chloride 0.9 %, 1.5 L. No blood." in said
    assert "RING ext. 5512" in said
    assert "Primer A." not in text
    assert "Helper A." not in text


def test_a_list_that_did_not_fit_excludes_no_lot(ward: Ward) -> None:
    found = stated(ward, text_of(ward, KEYS, listed=2))
    assert found is not None
    assert len(found.read.items) == 2
    assert "no lot can be excluded" in say_listed(found)


def test_an_unknown_site_is_said_to_be_unknown_until_its_key_was_compared(ward: Ward) -> None:
    text = text_of(ward, OTHERS)
    before = stated(ward, text)
    assert before is not None
    assert "Stated by a site we do not know" in say_tag_text(before)
    believe(ward.at("administrator"))
    after = stated(ward, text)
    assert after is not None
    assert say_tag_text(after).startswith("This tag was made by Inventium North, ICU.")


def test_one_changed_character_fails_with_the_right_check_too(ward: Ward) -> None:
    """Somebody who changes a lot can make the checksum anew, and not the signature."""
    believe(ward.at("administrator"))
    signed = text_of(ward, OTHERS)
    head, _, rest = signed.partition(" * SIGNED ")
    signature = rest.partition(" * ")[0]
    found = stated(ward, signed)
    assert found is not None
    assert found.read.signature is not None
    changed = head.replace(":T1", ":T2")
    assert changed != head
    forged = f"{changed} * SIGNED {signature}"
    again = stated(ward, checked(forged))
    assert again is not None
    assert again.says is Says.UNKNOWN
    assert stated(ward, signed.replace(":T1", ":T2")) is None


def test_an_unsigned_text_and_a_withdrawn_key_are_said(ward: Ward) -> None:
    unsigned = stated(ward, text_of(ward, None))
    assert unsigned is not None
    assert unsigned.says is Says.UNSIGNED
    admin = ward.at("administrator")
    believe(admin)
    asked = WithdrawTagKey(sent=admin.sent(), public_key=tag_public(OTHERS).hex())
    withdraw_tag_key(asked, site=admin.site)
    found = stated(ward, text_of(ward, OTHERS, lot="T5"))
    assert found is not None
    assert found.says is Says.WITHDRAWN


def test_a_fingerprint_of_another_key_records_nothing(ward: Ward) -> None:
    with pytest.raises(BadValue):
        believe(ward.at("administrator"), fingerprint=fingerprint(b"x" * 32))
    with pytest.raises(NotAllowed):
        believe(ward.at("primer"))
    admin = ward.at("administrator")
    with pytest.raises(UnknownCode):
        withdraw_tag_key(WithdrawTagKey(sent=admin.sent(), public_key="00" * 32), site=admin.site)


def test_the_same_request_is_one_act_and_a_rebuild_makes_the_same_rows(ward: Ward) -> None:
    admin = ward.at("administrator")
    sent = admin.sent(uuid4())
    first, again = (believe_tag_key(replace(ASKED, sent=sent), site=admin.site) for _ in range(2))
    assert first == again
    with ward.services.writes.begin() as session:
        assert rebuild(session, ward.site.id).changed == ()


def coated(ward: Ward, coating: str) -> None:
    """Set the next version of the sheet, the same but for its coating."""
    with ward.reads() as session:
        sheet = newest_sheet(session, ward.site.id, TYPE)
    assert sheet is not None
    asked = SetSheet(
        sent=ward.at("administrator").sent(),
        circuit_type=sheet.circuit_type,
        way=sheet.way,
        fill_ml=sheet.fill_ml,
        slots=sheet.slots,
        coating=coating,
        read_version=sheet.version,
    )
    set_sheet(asked, site=ward.site)


def test_a_tag_says_the_coating_of_the_sheet_it_was_primed_by(ward: Ward) -> None:
    assert "COATING not recorded" in said_by(text_of(ward, KEYS)), "the sheet does not say"
    coated(ward, " phosphorylcholine ")
    assert "COATING phosphorylcholine (by its sheet)" in said_by(text_of(ward, KEYS, lot="T2"))
    before = ward.prime(lot="T3")
    coated(ward, "uncoated")
    with ward.reads() as session:
        tag = tag_facts(session, ward.facts(before), zone=ward.site.zone, copy=0, reason="")
    assert tag.contents is not None
    assert tag.contents.coating == "phosphorylcholine (by its sheet)", "it keeps its version"
    with pytest.raises(BadValue) as caught:
        coated(ward, "w" * 41)
    assert "at most 40 characters" in str(caught.value.facts["said"])


def said_by(text: str) -> tuple[str, ...]:
    read = read_contents(text)
    assert read is not None
    return read.said
