"""Help in plain words, the pad for print that no scanner reads, and a discard, all by card."""

from collections.abc import Mapping
from typing import Final

from flask import jsonify, url_for
from flask.typing import ResponseReturnValue

from traceability.actions.circuit.keep import DiscardCircuit, discard_circuit
from traceability.domain.act_cards import CARDS, Act
from traceability.domain.sheets import Need
from traceability.domain.trolley import Finding
from traceability.messages import DISCARDS, WORDS, Said, say_verdict
from traceability.reads.trolley import TrolleyFacts
from traceability.web import session
from traceability.web.forms import device_moment
from traceability.web.trolley_strip import choices_of, strip_answer, welcome

CHOOSE: Final = "choose"
"""Act of an answer that points at a place: the page remembers it for the next scan or act."""
DISCARD: Final = "discard"

MOST_ANSWERS: Final = 12
"""There are so many number cards."""

LACKS: Final[Mapping[str, list[str]]] = {
    Finding.LOT_NOT_IN_CODE: ["lot", "expiry"],
    Finding.SERIAL_NOT_IN_CODE: ["serial"],
}
"""Fields of the pad, by what the last code does not carry."""

OF_A_PRIME: Final = ("seal-broken", "opened", "leak", "part-not-fitted", "prime-stopped", "other")
"""Reasons for which a prime is stopped."""


def asks_to_type(found: TrolleyFacts) -> ResponseReturnValue:
    """Open the pad: for the lot or serial that the last code lacks, else for a whole code."""
    last = found.last
    fields = LACKS.get(last.code if last else "", ["text"])
    said = say_verdict(last.verdict, last.code, last.facts) if last else welcome(found)
    verdict = last.verdict if last else "none"
    answer = strip_answer(found, verdict, said, choices_of(found), tone="")
    name = str(last.facts.get("name") or "") if last and fields != ["text"] else ""
    return jsonify(answer | {"pad": {"fields": fields, "name": name}})


def help_of(found: TrolleyFacts) -> ResponseReturnValue:
    """Say what can be done next; the answers point at the places that are still open."""
    open_slots = [slot for slot, _ in found.missing]
    following = next((slot.name for slot in open_slots if slot.id == found.next_slot), "")
    lines = []
    if found.last is not None and found.last.verdict != "accepted":
        last = say_verdict(found.last.verdict, found.last.code, found.last.facts)
        lines.append(f"Last: {last.sentence}. {last.lines[-1] if last.lines else ''}".strip())
    if open_slots:
        lines.append(
            "Scan any part that is left, in any order. For a place of your choice, touch it or "
            "scan its number card first."
        )
        if any(slot.need is Need.TICK for slot in open_slots):
            lines.append(f"Ties and caps are ticked: card {CARDS[Act.TICK][0]}.")
        lines.append(
            f"Wrong scan? Card {CARDS[Act.UNDO][0]}. A part is not in? Choose its place, then "
            f"card {CARDS[Act.NOT_FITTED][0]}."
        )
    else:
        lines.append(f"Nothing is missing. Next step: card {CARDS[Act.NEXT][0]}.")
    said = Said(
        word="Help",
        sentence=f"Next: {following}" if following else "End the prime",
        lines=tuple(lines),
        speech="",
    )
    choices: list[dict[str, object]] = [
        {"value": slot.id, "label": slot.name, "act": CHOOSE} for slot in open_slots[:MOST_ANSWERS]
    ]
    return jsonify(strip_answer(found, "none", said, choices, tone=""))


def discards(body: Mapping[str, object], found: TrolleyFacts) -> ResponseReturnValue:
    """Ask why, and then discard the prime; what is in it stays on record."""
    reason = str(body.get("choice") or "")
    if reason not in OF_A_PRIME:
        said = Said(
            word=WORDS["look-again"],
            sentence="Discard this prime? Why?",
            lines=(
                "Touch the reason, or scan its number card. Nothing was discarded yet.",
                "It ends here. What is in it stays on record and in every answer. "
                "Not discarding? Scan the next part.",
            ),
            speech="Discard this prime? Why?",
        )
        choices: list[dict[str, object]] = [
            {"value": each, "label": DISCARDS[each], "act": DISCARD} for each in OF_A_PRIME
        ]
        return jsonify(strip_answer(found, "look-again", said, choices, tone="turn"))
    asked = DiscardCircuit(
        sent=session.sent(str(body.get("request_id"))),
        circuit_id=found.circuit_id,
        reason=reason,
        at=device_moment(body.get("at")),
    )
    discard_circuit(asked, site=session.site())
    onward = url_for("circuits.page", number=found.number)
    return jsonify({"redirect": onward, "verdict": "none", "refused": False})
