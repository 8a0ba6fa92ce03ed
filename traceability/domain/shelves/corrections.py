"""What counts at one moment: corrections applied, then only what had happened and was entered."""

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any, TypeVar

from traceability.domain.shelves.facts import (
    Correction,
    EquipOn,
    Fact,
    ForeignList,
    PartIn,
    Prime,
    Swap,
)

__all__ = ["visible"]

_T = TypeVar("_T", bound="Fact | PartIn")


def visible(facts: Iterable[Fact], as_of: datetime) -> tuple[Fact, ...]:
    """Return the facts that count at `as_of` (aware), as corrected by then, in order of time.

    Corrections entered by then are applied in the order of their entry; one that is itself voided
    or changed by another acts as voided or changed. A corrected time decides order and whether
    the fact has happened yet. Ties keep the order in which the facts were given.

    Raises:
        ValueError: a correction names a field that its fact does not have.
    """
    told = list(facts)
    entered = [f for f in told if isinstance(f, Correction) and f.recorded_at <= as_of]
    entered.sort(key=lambda c: c.recorded_at)
    words = _Words(by_target=_by_target(entered), as_of=as_of)
    standing = [
        now
        for fact in told
        if not isinstance(fact, Correction)
        and (now := words.corrected(fact)) is not None
        and now.at <= as_of
        and now.recorded_at <= as_of
    ]
    return tuple(sorted(standing, key=lambda f: f.at))


def _by_target(entered: Iterable[Correction]) -> dict[str, list[Correction]]:
    found: dict[str, list[Correction]] = {}
    for one in entered:
        found.setdefault(one.of, []).append(one)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Words:
    by_target: dict[str, list[Correction]]
    as_of: datetime

    def corrected(self, fact: Fact, below: frozenset[str] = frozenset()) -> Fact | None:
        """Return the fact as it stands now; None where it was voided.

        `below` holds the corrections whose own standing is being asked for, so that two that name
        each other end the question instead of turning it in circles.
        """
        for said in self.by_target.get(fact.id, ()):
            if said.id in below or said.id == fact.id:
                continue
            word = self.corrected(said, below | {fact.id})
            if not isinstance(word, Correction) or word.at > self.as_of or word.of != fact.id:
                continue
            if word.void:
                return None
            fact = _applied(fact, word)
        return fact


def _applied(fact: Fact, word: Correction) -> Fact:
    """Return the fact with one correction in it."""
    changes = dict(word.changes or {})
    if word.part is None or (isinstance(fact, EquipOn) and fact.p == word.part):
        return _changed(fact, changes)
    if isinstance(fact, Prime | ForeignList):
        parts = tuple(_changed(p, changes) if p.p == word.part else p for p in fact.parts)
        return replace(fact, parts=parts)
    if isinstance(fact, Swap) and fact.part_in is not None and fact.part_in.p == word.part:
        return replace(fact, part_in=_changed(fact.part_in, changes))
    return fact


def _changed(thing: _T, changes: dict[str, Any]) -> _T:
    unknown = set(changes) - {field.name for field in fields(thing)}
    if unknown:
        msg = f"no such field to correct: {', '.join(sorted(unknown))}"
        raise ValueError(msg)
    return replace(thing, **changes)
