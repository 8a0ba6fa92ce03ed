"""Corrections of a story's facts, entered as corrections of the entries that told them."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from traceability.actions.corrections.as_told import CorrectAsTold, correct_as_told
from traceability.actions.corrections.correct import Correct, correct
from traceability.actions.once import Done
from traceability.cli.stories.changes import changes_of
from traceability.cli.stories.circuits import merge
from traceability.cli.stories.entering import Entering, enters, number_of
from traceability.cli.stories.form import Given
from traceability.domain.shelves import facts as told

FACTS: Final[Mapping[str, type[told.Fact]]] = {
    "receipt": told.Receipt,
    "stock_out": told.StockOut,
    "prime": told.Prime,
    "swap": told.Swap,
    "connect": told.Connect,
    "disconnect": told.Disconnect,
    "transfer_out": told.TransferOut,
    "discard": told.Discard,
    "foreign_in": told.ForeignIn,
    "foreign_list": told.ForeignList,
    "equip_register": told.Register,
    "equip_on": told.EquipOn,
    "equip_off": told.EquipOff,
    "carton_notice": told.CartonNotice,
    "ruling": told.Ruling,
    "merge": told.Merge,
    "correction": told.Correction,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What is corrected."""

    fact: Given
    """As the file has it."""
    entries: tuple[int, ...]
    """Numbers of the entries that told it, oldest first."""


@enters("correction")
def correction(story: Entering, fact: Given) -> Iterator[Done]:
    """A later word on an earlier fact; it waits where that has not been entered yet."""
    if fact["of"] not in story.entered:
        story.waiting.setdefault(fact["of"], []).append(fact)
        return
    target = _target(story, fact["of"])
    if fact["void"]:
        for number in target.entries:
            yield _said(story, fact, number, void=True)
        return
    given = dict(fact["set"])
    if target.fact["type"] == "merge" and given.keys() & {"from", "into"}:
        # References are no part of a body: the old word is taken back and the right one entered.
        for number in target.entries:
            yield _said(story, fact, number, void=True)
        yield from merge(story, {**target.fact, **given})
        return
    if target.fact["type"] == "connect" and "patient" in given:
        yield _other_patient(story, target, given.pop("patient"))
    if given or fact["part"] is not None or not fact["set"]:
        changes = changes_of(story, target.fact, given, part=fact["part"])
        for number in target.entries:
            yield _said(story, fact, number, changes=changes)


def _target(story: Entering, fact_id: str) -> Target:
    fact = story.facts[fact_id]
    kind = FACTS[fact["type"]]
    told_now = story.read_back()
    numbers = story.numbers(fact_id)
    entries = {number_of(each) for each in told_now if isinstance(each, kind)} & numbers
    if fact["type"] == "correction":
        # What it entered anew, such as a merge, stands or falls with it.
        entries |= {number_of(each) for each in told_now if isinstance(each, told.Merge)} & numbers
    return Target(fact=fact, entries=tuple(sorted(entries)))


def _said(
    story: Entering,
    fact: Given,
    number: int,
    *,
    void: bool = False,
    changes: Mapping[str, Any] | None = None,
) -> Done:
    asked = CorrectAsTold(
        sent=story.sent(),
        of=number,
        part=_part(story, fact),
        changes=changes or {},
        void=void,
        note="as told in the story",
        at=fact["at"],
    )
    return correct_as_told(asked, site=story.site)


def _part(story: Entering, fact: Given) -> str | None:
    """Return the record's name of the part that a correction speaks of."""
    part, target = fact["part"], story.facts[fact["of"]]
    if part is None or target["type"] == "correction":
        return part if part is None else str(part)
    if target["type"] == "equip_on":
        return str(story.use(part))
    return story.part_name(target.get("circuit", ""), part)


def _other_patient(story: Entering, target: Target, reference: str) -> Done:
    """Say who the patient of the connection's run really was."""
    numbers = story.numbers(target.fact["id"])
    named = next(
        number_of(each)
        for each in story.read_back()
        if isinstance(each, told.Merge) and number_of(each) in numbers
    )
    asked = Correct(sent=story.sent(), of=named, reason="wrong-patient", patient=reference)
    return correct(asked, site=story.site)
