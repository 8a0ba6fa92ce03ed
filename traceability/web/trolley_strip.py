"""What the trolley page shows: the strip, the plan, what is missing, what can be answered."""

import re
from collections.abc import Mapping
from typing import Final

from traceability.domain.act_cards import CARDS, Act
from traceability.domain.parts import PartState
from traceability.domain.people import Right
from traceability.domain.scan_checks import right_past
from traceability.domain.sheets import Need
from traceability.domain.trolley import WAY_ON, Finding
from traceability.messages import Said
from traceability.reads.trolley import TrolleyFacts
from traceability.web.filters import local, new_request_id
from traceability.web.pictures.plan import Plan, PlanSlot, plan
from traceability.web.step_words import next_step_button, top_line

NEW_PRODUCT: Final = "NEW-PRODUCT"
"""Act of the button that asks what an unknown code stands for."""

NAMED: Final = 3
"""How many missing parts the button names before it counts the rest."""

CARD: Final = re.compile(r"(?i)\bcard ([0-9]+)")

MARKS: Final = {
    PartState.RECORDED: "whole",
    PartState.INSIDE_PACK: "half",
    PartState.LOT_NOT_READABLE: "cup",
    PartState.LOT_NOT_RECORDED: "gap",
    PartState.NOT_FITTED: "off",
    PartState.TICKED: "tick",
}


def strip_answer(
    found: TrolleyFacts,
    verdict: str,
    said: Said,
    choices: list[dict[str, object]],
    *,
    tone: str,
) -> dict[str, object]:
    """Return what the page's script puts on the strip, the plan and the buttons."""
    drawn = draw_plan(found)
    return {
        "verdict": verdict,
        "word": said.word,
        "sentence": said.sentence,
        "lines": [*said.lines, *asked_back_lines(found)],
        "speech": said.speech,
        "choices": choices,
        "named": named_cards(said),
        "recorded": found.recorded,
        "of": found.of,
        "missing": missing_words(found),
        "next": next_step(found),
        "eighth": eighth(found),
        "plan": drawn.groups,
        "list": [
            {"slot": slot, "name": name, "states": states} for slot, name, states in drawn.words
        ],
        "tone": tone,
        "ask": None,
        "steps": top_line(found.steps),
        "asking": None,
        "redirect": None,
        "refused": False,
        "request_id": str(new_request_id()),
    }


def named_cards(said: Said) -> list[dict[str, object]]:
    """Return the buttons of the cards that the words name: each of them is on the screen."""
    words = " ".join((said.sentence, *said.lines))
    numbers = {int(found) for found in CARD.findall(words)}
    return [button(act) for act, (number, _) in CARDS.items() if number in numbers]


def shown_verdict(verdict: str, facts: Mapping[str, object]) -> str:
    """Return the verdict as it is shown: what is in and claimed twice wants a look."""
    return "look-again" if facts.get("clash") else verdict


def asked_back_lines(found: TrolleyFacts) -> list[str]:
    """Return which scans that came late were asked back and are still not recorded."""
    named = [
        f"{act.facts.get('name') or 'a code'}"
        + (f", lot {act.facts['lot']}" if act.facts.get("lot") else "")
        for act in found.asked_back
    ]
    if not named:
        return []
    return [f"Kept while there was no network, and not recorded: {'; '.join(named)}. Scan again."]


def welcome(found: TrolleyFacts) -> Said:
    """Return the strip of a prime at which nothing was done yet."""
    next_slot = found.sheet.slot(found.next_slot)
    if found.paused_at is not None:
        by = f" by {found.paused_by}" if found.paused_by else ""
        return Said(
            word="Paused",
            sentence=f"Paused since {local(found.paused_at):%H:%M}{by}"[:44],
            lines=(
                "Another pair goes on? Card 13, take over. The same pair: go on scanning.",
                missing_words(found) + ".",
            ),
        )
    if found.filled:
        named = next_slot.name if next_slot else ""
        return Said(
            word="Go on",
            sentence=f"Next: {named}" if named else _after_parts(found),
            lines=(missing_words(found) + ".",),
        )
    return Said(
        word="Begin",
        sentence="Scan the circuit pack",
        lines=(
            f"{found.circuit_type}, circuit {found.number}. Read the type aloud before opening.",
        ),
    )


def _after_parts(found: TrolleyFacts) -> str:
    asked = found.steps.next
    return f"Next: {asked.step.name}" if asked else "Nothing is missing. End the prime"


def choices_of(found: TrolleyFacts) -> list[dict[str, object]]:
    """Return what a person can answer to the last scan by touch."""
    if found.paused_at is not None:
        return [{"value": "", "label": "Take over, card 13", "act": str(Act.TAKE_OVER)}]
    last = found.last
    if last is None or last.verdict == "accepted":
        return []
    if last.code == Finding.WHICH_PLACE:
        given = last.facts.get("choices")
        names = {slot.id: slot.name for slot in found.sheet.slots}
        ids = (
            [each[0] for each in given if isinstance(each, list)] if isinstance(given, list) else []
        )
        return [
            {"value": slot_id, "label": names.get(str(slot_id), str(slot_id)), "act": "place"}
            for slot_id in dict.fromkeys(ids)
        ]
    if last.code == "compare":
        choices: list[dict[str, object]] = [
            {"value": "as-read", "label": "As read", "act": "reading"}
        ]
        if last.facts.get("has_other"):
            other = last.facts.get("other_lot") or last.facts.get("other_serial")
            choices.append({"value": "alternative", "label": f"It is {other}", "act": "reading"})
        return choices
    if last.code == "unknown-product":
        return [{"value": "", "label": "Say once what it is", "act": NEW_PRODUCT}]
    if last.code == "carton":
        return [{"value": number, "label": str(number), "act": "count"} for number in range(1, 8)]
    return []


def missing_words(found: TrolleyFacts) -> str:
    """Return what is missing, the first few by name."""
    if not found.missing:
        return "Nothing is missing"
    named = [f"{count} × {slot.name}" if count > 1 else slot.name for slot, count in found.missing]
    shown, more = ", ".join(named[:NAMED]), len(named) - NAMED
    return f"Missing: {shown}" + (f" and {more} more" if more > 0 else "")


def next_step(found: TrolleyFacts) -> dict[str, object]:
    """Return the button that goes on; solid only when nothing is missing and all steps are said."""
    return next_step_button(found, missing_words(found))


def button(act: Act) -> dict[str, object]:
    """Return an act's button with the number of its card."""
    number, label = CARDS[act]
    return {"act": str(act), "label": label, "card": number}


def eighth(found: TrolleyFacts) -> dict[str, object]:
    """Return the eighth button: what the last verdict asks for, else pause."""
    last = found.last
    if last is not None and last.verdict != "accepted" and last.code in set(WAY_ON):
        gentle = right_past(Finding(last.code), last.verdict) is Right.ACT
        return button(Act.KEEP if gentle else Act.NEEDED)
    return button(Act.PAUSE)


def draw_plan(found: TrolleyFacts) -> Plan:
    """Return the plan with what each place holds."""
    held = {(each.slot, each.ordinal): MARKS[each.state] for each in found.filled}
    extra: dict[str, int] = {}
    for each in found.filled:
        extra[each.slot] = max(extra.get(each.slot, 0), each.ordinal)
    slots = []
    for slot in found.sheet.slots:
        if slot.where == "pack":
            continue
        empty = "untick" if slot.need is Need.TICK else "open"
        count = max(slot.count, extra.get(slot.id, 0))
        states = [held.get((slot.id, number), empty) for number in range(1, count + 1)]
        if found.waits == slot.id and empty in states:
            states[states.index(empty)] = "wait"
        slots.append(
            PlanSlot(
                id=slot.id,
                name=slot.name,
                where=str(slot.where),
                count=slot.count,
                tick_only=slot.need is Need.TICK,
                states=tuple(states),
                next=slot.id == found.next_slot,
            )
        )
    pack = next((slot.id for slot in found.sheet.slots if slot.where == "pack"), "")
    return plan(found.circuit_type, slots, pack=pack, pack_line=pack_line(found))


def pack_line(found: TrolleyFacts) -> str:
    """Return the line that says what the circuit pack filled."""
    pack = next((slot for slot in found.sheet.slots if slot.where == "pack"), None)
    if pack is None:
        return ""
    scanned = next((each for each in found.filled if each.slot == pack.id), None)
    inside = sum(slot.count for slot in found.sheet.slots if slot.inside_pack)
    if scanned is None:
        return f"{pack.name}: not scanned yet. It fills {inside} places"
    return f"{pack.name} {scanned.lot or ''} fills {inside} places. Half: inner lot not known"
