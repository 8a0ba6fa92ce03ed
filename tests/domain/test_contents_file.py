"""The file that goes with a circuit: whole or not at all, and never more than it says."""

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.contents_file import (
    MOST_BYTES,
    ContentsFile,
    FilePart,
    FileProduct,
    digest_of,
    read_file,
    write_file,
)
from traceability.domain.file_fields import MOST_PARTS, Fault, NotReadable
from traceability.domain.parts import Known, PartState

TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), max_size=20)
NAMED = TEXT.filter(bool)
PRODUCTS = st.builds(
    FileProduct,
    standard=st.sampled_from(["gs1", "hibc", "none"]),
    identifier=NAMED,
    name=NAMED,
    maker=TEXT,
    item_number=TEXT,
    substance=TEXT,
    volume_ml=st.none() | st.integers(1, 5000),
    circuit_type=TEXT,
)
PARTS = st.builds(
    FilePart,
    place=TEXT,
    kind=NAMED,
    state=st.sampled_from(sorted(PartState)),
    known=st.sampled_from(sorted(Known)),
    product=PRODUCTS,
    lot=st.none() | NAMED,
    serial=st.none() | NAMED,
    expires=st.sampled_from([None, "2027-03", "2028-02-29"]),
    volume_ml=st.none() | st.integers(1, 5000),
    priming_only=st.booleans(),
)
FILES = st.builds(
    ContentsFile,
    practice=st.booleans(),
    site=NAMED,
    unit=TEXT,
    ring=TEXT,
    site_code=TEXT,
    number=NAMED,
    circuit_type=TEXT,
    way=TEXT,
    primed_at=st.just(datetime(2031, 5, 6, 12, 0, 7, tzinfo=UTC)) | st.none(),
    use_by=st.none(),
    complete=st.booleans(),
    parts=st.lists(PARTS, max_size=4).map(tuple),
)


@given(FILES)
def test_what_is_written_is_read_back_whole(contents: ContentsFile) -> None:
    read, digest = read_file(write_file(contents))
    assert (read, digest) == (contents, digest_of(contents))


@given(FILES, st.data())
def test_no_changed_character_of_a_value_is_read_as_the_same_list(
    contents: ContentsFile, data: st.DataObject
) -> None:
    """What SHA-256 is for (FIPS 180-4): another text has another digest."""
    written = write_file(contents)
    at = data.draw(st.integers(0, len(written) - 1))
    changed = written[:at] + b"7" + written[at + 1 :]
    try:
        read, digest = read_file(changed)
    except NotReadable:
        return
    assert (read, digest) == (contents, digest_of(contents))  # the very blank, or the same digit


EMPTY = ContentsFile(
    practice=False,
    site="Inventium North ICU",
    unit="",
    ring="",
    site_code="",
    number="C-0001",
    circuit_type="",
    way="",
    primed_at=None,
    use_by=None,
    complete=True,
    parts=(),
)


def told(data: bytes) -> tuple[Fault, str]:
    with pytest.raises(NotReadable) as caught:
        read_file(data)
    return caught.value.fault, caught.value.field


def resealed(**changes: object) -> bytes:
    """Return a file that says something else, its digest made anew: a hand with a program."""
    import hashlib  # noqa: PLC0415 - only to write what nobody's record writes

    whole = json.loads(write_file(EMPTY)) | changes
    del whole["sha256"]
    text = json.dumps(whole, sort_keys=True, separators=(",", ":"))
    return json.dumps(whole | {"sha256": hashlib.sha256(text.encode()).hexdigest()}).encode()


def test_each_bad_file_is_told_by_what_is_wrong_with_it() -> None:
    whole = write_file(EMPTY)
    assert told(b" " * (MOST_BYTES + 1))[0] is Fault.TOO_LARGE
    assert told(whole[: len(whole) // 2])[0] is Fault.NOT_JSON
    assert told(b"\xff\xfe{}")[0] is Fault.NOT_JSON
    assert told(b"[" * 100_000)[0] is Fault.NOT_JSON
    assert told(b'{"form": "something else"}')[0] is Fault.OTHER_FORM
    assert told(b"[1, 2]")[0] is Fault.OTHER_FORM
    assert told(whole.replace(b'"complete": true', b'"complete": false'))[0] is Fault.CHANGED
    assert told(resealed(version=2)) == (Fault.NEWER, "")


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"parts": [7]}, "parts 1"),
        ({"parts": [{}] * (MOST_PARTS + 1)}, "parts"),
        ({"parts": [{"kind": "tap", "state": "fine"}]}, "parts 1: state"),
        ({"parts": [{"kind": "tap", "state": "recorded", "lot": "T1"}]}, "parts 1: product"),
        (
            {"parts": [{"kind": "tap", "state": "recorded", "expires": "2027-13"}]},
            "parts 1: expires",
        ),
        ({"parts": [{"kind": "tap\x00", "state": "recorded"}]}, "parts 1: kind"),
        ({"parts": [{"kind": "x" * 201, "state": "recorded"}]}, "parts 1: kind"),
        ({"circuit": {"number": "C-1", "use_by": "2031-05-06 12:00"}}, "circuit.use_by"),
        ({"from": {}}, "from.site"),
        ({"complete": "yes"}, "complete"),
    ],
)
def test_a_field_that_cannot_be_is_named(changes: dict[str, object], where: str) -> None:
    assert told(resealed(**changes)) == (Fault.FIELD, where)
