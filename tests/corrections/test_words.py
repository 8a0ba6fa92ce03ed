"""The rule alone: which words count, and what an entry says under them."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from traceability.domain.corrections import Word, as_corrected, in_force, words_of
from traceability.domain.events import Kind, Plain, Recorded

AT = datetime(2031, 5, 6, 12, tzinfo=UTC)
LOT_A, LOT_B, LOT_C = "T77-0B1", "T77-OB1", "0417"


def entry(number: int, kind: Kind = Kind.PART_PLACED, **body: Plain) -> Recorded:
    nobody = UUID(int=0)
    return Recorded(
        site_id=nobody,
        number=number,
        device_id=nobody,
        actor_id=None,
        request_id=nobody,
        happened_at=AT,
        recorded_at=AT,
        kind=kind,
        body=body,
    )


def lot(number: int, of: int, text: str) -> Word:
    return Word(number=number, of=of, changes={"lot": text})


def void(number: int, of: int) -> Word:
    return Word(number=number, of=of, changes={}, void=True)


def said(words: list[Word]) -> Plain:
    now = as_corrected(entry(1, lot=LOT_A), in_force(words))
    return None if now is None else now.body["lot"]


def test_the_newest_word_counts_in_the_order_of_entry() -> None:
    assert said([]) == LOT_A
    assert said([lot(3, 1, LOT_C), lot(2, 1, LOT_B)]) == LOT_C


def test_a_voided_correction_has_not_been_said_and_comes_back_when_that_is_voided() -> None:
    words = [lot(2, 1, LOT_B), void(3, 2)]
    assert said(words) == LOT_A
    assert said([*words, void(4, 3)]) == LOT_B


def test_a_correction_of_a_correction_changes_what_that_one_says() -> None:
    assert said([lot(2, 1, LOT_B), lot(3, 2, LOT_C)]) == LOT_C
    assert said([lot(2, 1, LOT_B), lot(3, 2, LOT_C), void(4, 3)]) == LOT_B


def test_void_means_never_and_takes_along_what_hangs_on_it() -> None:
    word = Word(number=5, of=1, changes={}, void=True, also=(3,))
    assert as_corrected(entry(1), [word]) is None
    assert as_corrected(entry(3), [word]) is None
    assert as_corrected(entry(2), [word]) is not None


def test_one_piece_of_several_is_changed_and_the_others_stay() -> None:
    parts: Plain = [{"part": "a", "lot": LOT_A}, {"part": "b", "lot": LOT_A}]
    word = Word(number=2, of=1, part="b", changes={"lot": LOT_B})
    now = as_corrected(entry(1, parts=parts), [word])
    assert now is not None
    assert [row["lot"] for row in now.rows("parts")] == [LOT_A, LOT_B]


def test_a_time_is_no_part_of_the_body() -> None:
    later = AT + timedelta(hours=1)
    word = Word(number=2, of=1, changes={"at": later.isoformat()})
    now = as_corrected(entry(1, circuit="c"), [word])
    assert now is not None
    assert (now.happened_at, dict(now.body)) == (later, {"circuit": "c"})


def test_a_ruling_is_several_words_of_one_entry_and_falls_as_a_whole() -> None:
    rows: Plain = [
        {"of": 1, "void": True, "also": [2]},
        {"of": 3, "changes": {"disputed": False}, "also": []},
    ]
    ruling = entry(4, Kind.CLAIM_RULED, words=rows)
    assert [word.of for word in in_force(words_of(ruling))] == [1, 3]
    assert in_force([*words_of(ruling), void(5, 4)])[0].number == 5


@st.composite
def histories(draw: st.DrawFn) -> list[Word]:
    count = draw(st.integers(0, 9))
    words = []
    for number in range(2, count + 2):
        of = draw(st.integers(1, number - 1))
        changes: dict[str, Plain] = {"lot": draw(st.sampled_from([LOT_A, LOT_B, LOT_C]))}
        word = (
            void(number, of) if draw(st.booleans()) else Word(number=number, of=of, changes=changes)
        )
        words.append(word)
    return words


def slow(words: list[Word], number: int, body: dict[str, Plain]) -> dict[str, Plain] | None:
    """The same rule the plain way: what is said of it, each asked first whether it stands."""
    for word in words:
        if word.of != number:
            continue
        changes = slow(words, word.number, dict(word.changes))
        if changes is None:
            continue
        if word.void:
            return None
        body = {**body, **changes}
    return body


@given(histories())
def test_any_chain_of_words_means_what_the_plain_way_says(words: list[Word]) -> None:
    plain = slow(words, 1, {"lot": LOT_A})
    assert said(words) == (None if plain is None else plain["lot"])


@given(histories())
def test_voiding_the_newest_word_is_as_if_it_had_not_been_said(words: list[Word]) -> None:
    if words:
        last = words[-1].number
        assert said([*words, void(last + 1, last)]) == said(words[:-1])
