"""Words for what came late from a device, what clashed with it, and primes that changed hands."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final, TypeAlias

Facts: TypeAlias = Mapping[str, object]
Words: TypeAlias = tuple[str, Sequence[str]]


def clash_line(facts: Facts) -> str:
    """Return what to do about two claims of which one came late from a device."""
    if facts.get("clash") == "piece":
        return (
            f"It is recorded in {facts.get('circuit')} too. Both claims are kept; a consultant "
            "rules: Runs, two claims."
        )
    return (
        "One more than the sheet says: it was recorded while there was no network here. The same "
        "piece twice? Take this one back: card 1."
    )


def say_hand_over(kind: str, body: Facts) -> str:
    """Return the detail of such an entry for a list of what happened."""
    given = body.get("facts")
    facts: Facts = given if isinstance(given, Mapping) else {}
    match kind:
        case "prime-taken-over":
            hands = facts.get("handed_by")
            by = f", handed over by {hands}" if hands else ", handed over by nobody named"
            return f"{names(facts.get('from')) or 'nobody named'} to {names(facts.get('to'))}{by}"
        case "act-waits":
            return f"{facts.get('what')}: {reasons(facts)}"
        case "act-settled":
            return SETTLED.get(str(facts.get("settled_as")), str(facts.get("settled_as")))
        case _:
            return ""


def reasons(facts: Facts) -> str:
    """Return why an act was not done by itself."""
    given = facts.get("why")
    codes = [str(each) for each in given] if isinstance(given, (list, tuple)) else []
    return "; ".join(why_words(code) for code in codes)


def why_words(code: str) -> str:
    """Return one reason in words."""
    return WHY_WAITS.get(code, f"it was not done: {code.replace('-', ' ')}")


def names(given: object) -> str:
    """Return "E. Lind and N. Aalto"."""
    return " and ".join(str(each) for each in given) if isinstance(given, (list, tuple)) else ""


WHY_WAITS: Final[Mapping[str, str]] = {
    "kept-too-long": "it was kept for more than 30 days",
    "clock-ahead": "the device's clock was ahead, so its time cannot be right",
    "clock-unreadable": "its time cannot be read",
    "device-revoked": "the device was taken out of use",
    "device-not-enrolled": "the device was taken out of use",
    "after-sign-out": "its person had been signed out by then",
    "unproven": "whose act it is cannot be proved",
    "prime-has-ended": "the prime had ended when it came",
    "unknown-circuit": "this store knows no such circuit",
    "not-allowed": "its person may no longer do that",
    "nothing-to-undo": "there was nothing left to take back",
    "nothing-to-keep": "there was no scan left that it answers",
    "bad-value": "it no longer fitted what is in",
    "wrong-state": "the circuit was not where this begins",
}
"""Why an act that a device kept is not done by itself."""

SETTLED: Final = {"recorded": "recorded", "left-out": "left out"}


def _paused(_facts: Facts) -> Words:
    return "Paused", ["What is in stays in. The next pair: card 13, take over."]


def _taken_over(facts: Facts) -> Words:
    new, old = names(facts.get("to")), names(facts.get("from"))
    before = f"Before: {old}." if old else "Nobody was named before."
    hands = facts.get("handed_by")
    by = f"Handed over by {hands}." if hands else "Nobody handed over."
    return "Taken over. Go on scanning", [f"Now: {new}. {before} {by}"]


def _waits(facts: Facts) -> Words:
    line = reasons(facts)
    return (
        "Kept: a person has to confirm it",
        [
            f"{line[:1].upper()}{line[1:]}.",
            "Nothing was added and nothing is lost: Shelf, to confirm.",
        ],
    )


VERDICTS: Final[Mapping[str, Callable[[Facts], Words]]] = {
    "prime-paused": _paused,
    "prime-taken-over": _taken_over,
    "act-waits": _waits,
}
