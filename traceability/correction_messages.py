"""Wording of corrections, rulings and joined patient references."""

from collections.abc import Mapping
from typing import Final

REASON_WORDS: Final[Mapping[str, str]] = {
    "mistyped": "Mistyped or misread",
    "other-piece": "Another piece was meant",
    "wrong-circuit": "Wrong circuit",
    "wrong-time": "Wrong time",
    "wrong-run": "Wrong run",
    "wrong-patient": "Wrong patient",
    "practice": "Practice entry in the real record",
    "never-happened": "It never happened",
    "other": "Other",
}
"""Reasons for a correction, as the form offers them."""

STATE_WORDS: Final[Mapping[str, str]] = {
    "recorded": "recorded",
    "lot-not-recorded": "lot not recorded",
    "lot-not-readable": "lot not readable",
    "not-fitted": "not fitted",
    "inside-pack": "inside the pack",
    "ticked": "ticked",
}

ENTRY_WORDS: Final[Mapping[str, str]] = {
    "circuit-taken": "the take",
    "flow-on": "flow on",
    "flow-off": "flow off",
    "part-swapped": "the swap",
    "part-placed": "the part",
    "part-dropped": "the discarded part",
    "prime-begun": "the beginning of the prime",
    "prime-ended": "the end of the prime",
    "prime-signed": "the signature",
    "circuit-moved": "the move",
    "circuit-discarded": "the discard",
    "came-back-unused": "the return",
    "take-withdrawn": "the take",
    "foreign-arrived": "the arrival",
    "circuit-without-record": "the circuit without a record",
    "run-ended": "the end of the run",
    "patient-set": "the patient of the run",
    "patients-merged": "the joining of two patient references",
    "corrected": "an earlier correction",
    "claim-ruled": "a ruling",
}

NOT_YOURS: Final = (
    "A charge consultant sets this right. Ask one to sign in here. What you entered yourself of a "
    "part you can set right."
)

_CANNOT: Final[Mapping[str, str]] = {
    "backwards": "Then {what} would be at {at}, before {other_at}, which it follows. Check both "
    "times; correct the other one first.",
    "two-places": "Then {number} would be in two places at once. Correct or void the other entry "
    "first.",
    "part-after-prime": "Then the prime would end at {at}, before a part went in at {other_at}. "
    "Check both times.",
    "signed-before": "It was signed at {other_at}: the prime had ended by then. Set an earlier "
    "time.",
    "other-kind": "{what} is another kind of part. Choose a product that fits the place.",
    "serial-elsewhere": "The piece of that serial is in {number}. Compare with the print; correct "
    "that one first.",
    "one-serial": "A serial belongs to one piece. Correct the pieces one by one.",
    "is-void": "This entry is void already. To have it back, void the correction that voided it.",
    "not-void": "This entry cannot be void. Correct what it says, or discard the circuit.",
    "not-that": "This entry does not say that. Correct the entry that does.",
    "as-it-is": "That is what the record says already. Nothing was changed.",
    "was-taken": "{number} was taken for {run}. If that never happened, void the take first.",
    "part-after-end": "The prime of {number} has ended, and an empty place would say that nothing "
    "was in it. Correct the part: another lot, lot not recorded, or not fitted.",
    "no-dispute": "These two do not claim the same. Look at the list of disputes again.",
}


def cannot_correct(facts: Mapping[str, object]) -> str:
    """Return why the record cannot be read like that, and what to do."""
    what = ENTRY_WORDS.get(str(facts.get("what")), str(facts.get("what") or "this entry"))
    known = {"number": "", "run": "", "at": "", "other_at": "", **facts, "what": what}
    sentence = _CANNOT.get(str(facts.get("why")), "Nothing was changed. Look at the entry again.")
    return sentence.format_map(known)


def merge_loop(facts: Mapping[str, object]) -> str:
    """Return why two references cannot be joined."""
    return (
        f"The patients of {facts.get('run')} and {facts.get('other')} are one already. "
        "Nothing was changed."
    )


def say_correction(body: Mapping[str, object]) -> str:
    """Return what a correction or a ruling changed, from what to what, and why; without times."""
    if "stands" in body:
        return f"entry {body['stands']} stands, entry {body.get('of')} falls"
    reason = REASON_WORDS.get(str(body.get("reason")), "")
    of = body.get("of")
    what = ENTRY_WORDS.get(str(body.get("was")), "an entry")
    if body.get("void") is True:
        return f"{what} (entry {of}) is void. {reason}"
    changes, old = _mapping(body.get("changes")), _mapping(body.get("old"))
    said = [
        f"{word} {_value(name, old.get(name))} is now {word} {_value(name, changes[name])}"
        for name, word in _FIELDS.items()
        if name in changes
    ]
    if "at" in changes:
        said.append("another time")
    if "run" in changes:
        said.append("for another run")
    if "patient" in changes:
        said.append("another reference")
    if changes.get("product"):
        said.append("another product")
    return f"{what} (entry {of}): {', '.join(said) or 'other facts'}. {reason}"


_FIELDS: Final[Mapping[str, str]] = {
    "lot": "lot",
    "serial": "serial",
    "expiry": "expiry",
    "state": "state",
}


def _value(name: str, value: object) -> str:
    if name == "state":
        return STATE_WORDS.get(str(value), str(value))
    return str(value) if value else "none"


def _mapping(value: object) -> Mapping[str, object]:
    return value if isinstance(value, Mapping) else {}
