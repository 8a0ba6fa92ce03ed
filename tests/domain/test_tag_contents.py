"""The text for phones: it says all, reads back, and one changed character is always found."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import assume, given
from hypothesis import strategies as st

from traceability.domain.tag_contents import (
    ContentsItem,
    TagContents,
    alike,
    contents_text,
    read_contents,
)
from traceability.domain.tags import LONGEST

PRIMED = datetime(2026, 11, 25, 3, 10, tzinfo=UTC)
words = st.text(max_size=30)
items = st.builds(
    ContentsItem,
    count=st.integers(1, 40),
    item=st.text(min_size=1, max_size=20),
    lot=st.text(max_size=20),
    serial=st.text(max_size=20),
    gap=st.sampled_from(["", "LOT NOT READABLE", "LOT NOT RECORDED", "TICK ONLY"]),
)
contents = st.builds(
    TagContents,
    site_code=st.just("7QXM"),
    number=st.just("C-0419"),
    circuit_type=words,
    way=st.just("wet, closed"),
    prime=words,
    coating=words,
    primed_at=st.just(PRIMED),
    use_by=st.just(PRIMED + timedelta(days=30)),
    use_by_reason=words,
    unsigned=st.sampled_from(["", "NOT SIGNED"]),
    site_name=words,
    unit=words,
    ring=words,
    items=st.lists(items, max_size=8).map(tuple),
    recorded=st.just(True),
    practice=st.booleans(),
    zone=st.just(ZoneInfo("Europe/Stockholm")),
)


def signed(_text: str) -> bytes:
    return b"s" * 64


@given(contents, st.data())
def test_what_is_written_is_read_whatever_lots_and_names_hold(
    facts: TagContents, data: st.DataObject
) -> None:
    assume(not any("\ud800" <= char <= "\udfff" for i in facts.items for char in repr(i)))
    listed = data.draw(st.integers(0, len(facts.items)))
    text = contents_text(facts, listed=listed, sign=signed)
    assume(len(text) <= LONGEST)
    read = read_contents(f"]Q1{text}\r\n")
    assert read is not None
    assert read.items == facts.items[:listed]
    assert (read.site_code, read.number, read.of) == ("7QXM", "C-0419", len(facts.items))
    assert (read.practice, read.signature) == (facts.practice, b"s" * 64)
    assert "\n" not in text, "a scanner that types would press Enter there"


@given(contents, st.data())
def test_one_changed_character_is_found_without_any_key(
    facts: TagContents, data: st.DataObject
) -> None:
    text = contents_text(facts, listed=len(facts.items))
    at = data.draw(st.integers(0, len(text) - 1))
    other = data.draw(st.characters(min_codepoint=33, max_codepoint=126))
    assume(other != text[at])
    assert read_contents(text[:at] + other + text[at + 1 :]) is None


@given(contents, st.data())
def test_no_part_of_a_text_is_a_text(facts: TagContents, data: st.DataObject) -> None:
    text = contents_text(facts, listed=len(facts.items), sign=signed)
    end = data.draw(st.integers(0, len(text) - 1))
    assert read_contents(text[:end]) is None


def test_the_text_says_in_plain_words_what_it_is() -> None:
    text = contents_text(_facts(), listed=2, sign=signed)
    assert text.startswith(
        "CT2.7QXM.C-0419 * TYPE Adult 3/8, wet, closed * PRIME sodium chloride 0.9 %, 1.5 L. "
        "No blood. Heparin 5000 units, 20 µg. * COATING not recorded * "
        "PRIMED 2026-11-25 04:10+01:00 * USE BY 2026-12-25 04:10+01:00, storage policy, 30 days * "
        "RING 5512, Norrvik Sound Hospital, ICU 2 * LISTS 2 OF 3, 1 DO NOT FIT HERE, "
        "ITEM:LOT/SERIAL * 3*09521234000013:T77-0B1 09521234000051:3F0117/000452 * SIGNED "
    )


def test_alike_pieces_are_counted_and_those_with_a_lot_come_first() -> None:
    tap = ContentsItem(count=1, item="09521234000013", lot="T77-0B1")
    cap = ContentsItem(count=1, item="Cap", gap="TICK ONLY")
    assert alike([cap, tap, cap, tap, tap]) == (
        ContentsItem(count=3, item="09521234000013", lot="T77-0B1"),
        ContentsItem(count=2, item="Cap", gap="TICK ONLY"),
    )


def _facts() -> TagContents:
    return TagContents(
        site_code="7QXM",
        number="C-0419",
        circuit_type="Adult 3/8",
        way="wet, closed",
        prime="sodium chloride 0.9 %, 1.5 L. No blood. Heparin 5000 units, 20 µg.",
        coating="",
        primed_at=PRIMED,
        use_by=PRIMED + timedelta(days=30),
        use_by_reason="storage policy, 30 days",
        unsigned="",
        site_name="Norrvik Sound Hospital",
        unit="ICU 2",
        ring="5512",
        items=(
            ContentsItem(count=3, item="09521234000013", lot="T77-0B1"),
            ContentsItem(count=1, item="09521234000051", lot="3F0117", serial="000452"),
            ContentsItem(count=2, item="Cap", gap="TICK ONLY"),
        ),
        recorded=True,
        practice=False,
        zone=ZoneInfo("Europe/Stockholm"),
    )
