"""What a later entry says of an earlier one: its changes, or that it never happened.

Nothing is overwritten. The words stand in the ledger beside what they speak of; whoever asks what
is believed now, or was believed at some number, applies the words entered by then, in the order of
their entry. A word may speak of another correction: one that was voided has not been said.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from traceability.domain.events import Kind, Plain, Recorded

PART_LISTS: Final = ("parts", "part_in")
"""Names of the lists in a body that hold parts; each row carries its piece's id as `part`."""


OF_PART: Final = frozenset(
    {Kind.PART_PLACED, Kind.PART_SWAPPED, Kind.PART_ADDED, Kind.PRIME_ENTERED_LATE}
)
"""Kinds of entries whose pieces can be set right one by one."""
WORDS: Final = frozenset({Kind.CORRECTED, Kind.CLAIM_RULED})
"""Kinds of entries that speak of others."""


def pieces_told(event: Recorded) -> list[Mapping[str, Plain]]:
    """Return the rows of the pieces that an entry put in; the entry itself may be one."""
    if "slot" in event.body and "part" in event.body:
        return [event.body]
    return [row for name in PART_LISTS for row in event.rows(name)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """One thing that an entry says of an earlier one."""

    number: int
    """Of the entry that says it."""
    of: int
    """Of the entry it speaks of; may be a correction itself."""
    part: str | None = None
    """Id of the one piece it speaks of, where the entry put in several."""
    changes: Mapping[str, Plain]
    """By name as in the body it speaks of; `at` is when it happened."""
    void: bool = False
    also: tuple[int, ...] = ()
    """Further entries that the same holds for: what could not stand without the first."""


def words_of(event: Recorded) -> list[Word]:
    """Return what an entry says of others; nothing for one that says nothing."""
    if event.kind is Kind.CORRECTED:
        return [_word(event.number, event)]
    if event.kind is Kind.CLAIM_RULED:
        return [_word(event.number, event.inner(row)) for row in event.rows("words")]
    return []


def _word(number: int, body: Recorded) -> Word:
    given, also = body.body.get("changes"), body.body.get("also")
    return Word(
        number=number,
        of=body.number_of("of"),
        part=body.text_or_none("part"),
        changes=given if isinstance(given, Mapping) else {},
        void=body.flag("void"),
        also=tuple(each for each in also if isinstance(each, int))
        if isinstance(also, (list, tuple))
        else (),
    )


def in_force(words: Iterable[Word]) -> list[Word]:
    """Return the words that count, in the order of entry.

    From the newest back: whatever speaks of a word is newer, so its own standing is known by then.
    """
    standing: list[Word] = []
    in_order = sorted(words, key=lambda each: each.number)
    for word in reversed(in_order):  # words of one entry keep their order
        now: Word | None = word
        for said in reversed(standing):
            if now is None or said.of != word.number:
                continue
            now = None if said.void else replace(now, changes={**now.changes, **said.changes})
        if now is not None:
            standing.append(now)
    return standing[::-1]


def spoken(word: Word) -> tuple[int, ...]:
    """Return the numbers of all entries that a word speaks of."""
    return (word.of, *word.also)


def as_corrected(event: Recorded, words: Sequence[Word]) -> Recorded | None:
    """Return the entry as the words in force leave it; None where it never happened."""
    for word in words:
        if event.number not in spoken(word):
            continue
        if word.void and word.part is None:
            return None
        event = _of_part(event, word) if word.part is not None else _changed(event, word.changes)
    return event


def _changed(event: Recorded, changes: Mapping[str, Plain]) -> Recorded:
    at = changes.get("at")
    return replace(
        event,
        happened_at=datetime.fromisoformat(at) if isinstance(at, str) else event.happened_at,
        body={**event.body, **{name: value for name, value in changes.items() if name != "at"}},
    )


def _of_part(event: Recorded, word: Word) -> Recorded:
    body: dict[str, Plain] = dict(event.body)
    if body.get("part") == word.part:
        return replace(event, body=body | dict(word.changes))
    for name in PART_LISTS:
        if name in body:
            body[name] = [
                {**row, **word.changes} if row.get("part") == word.part else row
                for row in event.rows(name)
                if not (word.void and row.get("part") == word.part)
            ]
    return replace(event, body=body)
