"""Signatures under tags: verified with the maker's key, and with nothing else."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.security.keys import Keys
from traceability.security.tag_keys import (
    PublicKey,
    WrongKeyFile,
    read_key_file,
    signed_by,
    tag_public,
    tag_signer,
    write_key_file,
)

OURS = Keys(digest=b"k" * 32, signing=b"s" * 32)
THEIRS = Keys(digest=b"k" * 32, signing=b"t" * 32)
KEY = PublicKey(public=tag_public(OURS), site_name="Norrvik", unit="ICU 2", site_code="7QXM")


@given(st.text(min_size=1), st.data())
def test_a_text_verifies_with_its_makers_key_and_one_changed_character_does_not(
    text: str, data: st.DataObject
) -> None:
    signature, known = tag_signer(OURS)(text), [tag_public(THEIRS), tag_public(OURS)]
    assert signed_by(text, signature, known) == tag_public(OURS)
    assert signed_by(text, signature, [tag_public(THEIRS)]) is None
    at = data.draw(st.integers(0, len(text) - 1))
    changed = text[:at] + ("x" if text[at] != "x" else "y") + text[at + 1 :]
    assert signed_by(changed, signature, known) is None


def test_the_key_is_of_a_purpose_of_its_own() -> None:
    assert tag_public(OURS) != OURS.public
    text = "CT2.7QXM.C-0419"
    assert signed_by(text, OURS.sign(text.encode()), [OURS.public, tag_public(OURS)]) is None


def test_a_key_comes_to_another_site_whole_and_holds_no_secret() -> None:
    written = write_key_file(KEY)
    assert read_key_file(written.encode()) == KEY
    assert OURS.signing.hex() not in written
    assert OURS.digest.hex() not in written
    assert KEY.fingerprint in written


@pytest.mark.parametrize(
    "changed",
    [{"public_key": "00" * 32}, {"public_key": "zz"}, {"site": 7}, {"fingerprint": "1A2B"}],
)
def test_a_file_that_was_changed_on_its_way_is_refused(changed: dict[str, object]) -> None:
    facts = {**json.loads(write_key_file(KEY)), **changed}
    with pytest.raises(WrongKeyFile):
        read_key_file(json.dumps(facts).encode())


@pytest.mark.parametrize("content", [b"", b"[]", b"{}", b"\xff", b'{"a":' * 4000])
def test_what_is_no_key_file_is_refused_in_a_sentence(content: bytes) -> None:
    with pytest.raises(WrongKeyFile):
        read_key_file(content)
