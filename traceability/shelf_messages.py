"""Words of the shelf: why a circuit does not count, what a look found, what a model assumes."""

from collections.abc import Iterable, Mapping
from typing import Final

from traceability.domain.events import Kind
from traceability.domain.readiness import Why
from traceability.domain.shelf_checks import Finding
from traceability.domain.standby import ASSUMPTIONS, Team

WHY: Final = {
    Why.NOT_PRIMED: "not primed",
    Why.TAKEN: "taken",
    Why.DISCARDED: "discarded",
    Why.ON_HOLD: "on hold",
    Why.NOT_RIGHT: "the last look found something",
    Why.PAST_USE_BY: "past its use-by",
    Why.USE_BY_NOT_KNOWN: "use-by not known",
    Why.UNSIGNED: "signature missing",
    Why.PART_NOT_FITTED: "a needed part is not fitted",
    Why.WRONG_TYPE: "wrong type for this place",
    Why.TOO_SHORT: "use-by too soon for this place",
    Why.NO_REQUIRED_PLACE: "stands where no ready circuit is looked for",
}
"""Why a circuit that is there does not count."""

FINDINGS: Final = {
    Finding.SEAL: "Seal",
    Finding.CLAMPS: "Clamps",
    Finding.LEVEL: "Level",
    Finding.CONNECTIONS: "Connections",
    Finding.OTHER: "Other",
}
"""What is looked at."""

TOLD_OF: Final = {
    "missing": "no ready circuit here",
    "on-hold": "a circuit on hold",
    "not-right": "a look that found something",
    "past-use-by": "a circuit past its use-by",
    "away": "a circuit that is away",
    "other": "something else",
}
"""What somebody was told of."""

LIMIT_NAMES: Final = {
    "wet_closed_days": "Wet, closed",
    "dry_days": "Dry",
    "wet_open_days": "Wet, opened",
    "blood_hours": "With blood",
    "opened_fluid_hours": "With an opened fluid",
    "parts_expiry_counts": "The earliest expiry of a part limits the circuit too",
    "plasticiser_days": "Plasticiser note when wet for more than",
    "check_hours": "Look at a ready circuit at least every",
    "keep_pictures": "Keep the photo of a laid-out trolley as evidence. No patient may be in it",
}
"""Names of the policy's limits."""

CHECK_NAMES: Final = {
    "wrong-fluid": "Another fluid or strength",
    "wrong-type": "A pack or part for another circuit type or size",
    "suction-side": "A port on the suction side",
    "same-serial-here": "The same serial twice in one prime",
    "on-hold": "On hold",
    "in-notice": "Named by an open notice, not on hold yet",
    "like-notice": "Perhaps meant by an open notice",
    "expired": "Expired",
    "same-serial-elsewhere": "A serial that sits in another circuit",
    "opened-earlier": "A piece that was opened earlier",
    "short-dated": "Expires before the planned use-by",
    "never-received": "A lot that was never received, of a product counted here",
    "all-recorded": "One more than the sheet needs",
}
"""Names of the checks of a scan."""

CHECK_WORDS: Final = {
    "accepted": "Say it, and go on",
    "look-again": "Look again",
    "stop": "Stop",
}
"""What a policy makes of a check."""

NOT_ADVICE: Final = (
    "Published figures, not a recommendation; your policy and the maker\u2019s instructions win."
)

WAYS: Final = {
    "dry": "dry, not filled",
    "wet-closed": "wet, closed",
    "wet-open": "wet, opened",
}
"""How a circuit stands ready."""

STILL: Final = "As known on {at}. It does not update itself."
"""On a copy of the shelf that stays where it is."""

TEAMS: Final = {
    Team.SIDE_BY_SIDE: "every used circuit is primed again at once, side by side",
    Team.ONE_AFTER_ANOTHER: "one team primes one after another",
}

MODELS: Final = {
    Team.SIDE_BY_SIDE: "Erlang\u2019s loss formula: true for any spread of re-prime times with "
    "this mean.",
    Team.ONE_AFTER_ANOTHER: "Queue of one team, room for n (M/M/1/n): re-prime times spread as an "
    "exponential, most short and a few long.",
}

_ASSUMED: Final = {
    "calls-independent": "Calls do not depend on each other (Poisson).",
    "even-rate": "Day and night, week and season call alike.",
    "floor-because-calls-cluster": "In real life calls come in clusters, so each number is a "
    "floor: the true chance is higher.",
}


def say_why(why: Why | str) -> str:
    """Return one reason why a circuit does not count."""
    return WHY.get(Why(why), str(why))


def say_reasons(reasons: Iterable[Why | str]) -> str:
    """Return all reasons in one line; that it stands elsewhere goes without saying."""
    return ", ".join(say_why(why) for why in reasons if why != Why.NO_REQUIRED_PLACE)


def say_findings(codes: Iterable[object]) -> str:
    """Return what a look found, as in "seal, clamps not right"; "all right" for nothing."""
    known = {each.value for each in Finding}
    said = [FINDINGS[Finding(str(code))].lower() for code in codes if str(code) in known]
    return f"{', '.join(said)} not right" if said else "all right"


def say_at_shelf(kind: str, body: Mapping[str, object]) -> str:
    """Return what an event at the shelf was about; empty for events of other kinds."""
    if kind == Kind.SHELF_CHECKED:
        findings = body.get("findings")
        return say_findings(findings if isinstance(findings, list) else [])
    if kind == Kind.TOLD_BY_HAND:
        return TOLD_OF.get(str(body.get("reason")), str(body.get("reason")))
    return ""


def say_assumptions() -> tuple[str, ...]:
    """Return what stands beside every number of the stand-by models."""
    return tuple(_ASSUMED[code] for code in ASSUMPTIONS)


def say_chance(chance: float) -> str:
    """Return a chance in percent, to three figures: "0.885 %", "12.5 %", "under 0.001 %"."""
    if chance <= 0:
        return "none"
    percent = chance * 100
    digits = f"{percent:.3g}" if percent >= LEAST_PERCENT else f"under {LEAST_PERCENT:g}"
    return f"{digits} %"


LEAST_PERCENT: Final = 0.001
"""Below this a model says nothing about a real unit."""
