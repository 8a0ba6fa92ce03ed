"""Words of the shelves: what came in, what limits, what is to be counted."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final, TypeAlias
from zoneinfo import ZoneInfo

from traceability.domain.stock import Fitness
from traceability.domain.stock_ahead import Rate, WeekAhead
from traceability.reads.can_prime import CanPrime
from traceability.reads.stock import BookWord, LevelFacts
from traceability.reads.stock_lines import ChangeFacts

Facts: TypeAlias = Mapping[str, object]
Words: TypeAlias = tuple[str, Sequence[str]]

OUT_REASONS: Final = {
    "broken": "Broken",
    "expired": "Expired",
    "lent": "Lent",
    "returned": "Returned to the maker",
    "practice": "Used for practice",
    "other": "Other",
}
"""Reasons for taking pieces out unused."""

DOUBTS: Final = {
    "stock-on-hold": "On hold. Put it in the quarantine bin",
    "stock-expired": "Expired. Set it aside",
    "stock-lot-alike": "Another lot looks alike: 0 or O, 1 or I? Compare with the print",
    "stock-other-expiry": "This lot was recorded with another date. Compare with the print",
    "stock-no-expiry": "No date was read. Look at the print",
    "stock-no-lot": "Booked in without a lot",
}
"""What is said when pieces are booked in."""

SCANS: Final[Mapping[str, Callable[[Facts], Words]]] = {
    "stock-lot-missing": lambda f: (
        "Lot is not in this code",
        [f"{f.get('name')}. Scan the other code on it, or write the lot as printed."],
    ),
    "stock-other-lot": lambda f: (
        f"The code says lot {f.get('lot')}",
        [f"Written was {f.get('written')}. Nothing was booked in. Compare with the print."],
    ),
    "stock-unit-again": lambda f: (
        "This very piece was booked in before",
        [f"On {f.get('since')}. Nothing was added."],
    ),
    "stock-serial-once": lambda f: (
        "Each serial is one piece",
        [f"{f.get('name')}. Set the number of packs to 1 and scan each one."],
    ),
    "stock-same-scan": lambda f: (
        "One scan, read twice",
        [f"{f.get('name')}. Counted once. Another pack? Scan it again now."],
    ),
}
"""Why a scan at the shelves was asked back."""

FITNESS: Final = {
    Fitness.USABLE: "Usable",
    Fitness.TOO_SHORT: "Too short for a stored circuit",
    Fitness.EXPIRED: "Expired",
    Fitness.ON_HOLD: "On hold",
}

MINUS: Final = "\u2212"
"""A sign as wide as the plus; a hyphen is overlooked."""

WHY: Final = {
    "stock-received": "Received",
    "stock-moved": "Moved",
    "stock-counted": "Counted",
    "stock-out": "Taken out",
    "used": "Used by a prime or swap",
    "given-back": "Scan taken back",
}
"""Why a level changed."""


def doubt_words(codes: Sequence[str]) -> list[str]:
    """Return what speaks against pieces that were booked in."""
    return [DOUBTS[code] for code in codes if code in DOUBTS]


def pieces(number: int) -> str:
    """Return "1 piece", "25 pieces"."""
    return f"{number} piece" if abs(number) == 1 else f"{number} pieces"


def booked_in_words(facts: Facts) -> str:
    """Return what a scan booked in."""
    packs, a_pack = facts.get("packs"), facts.get("a_pack")
    cartons = f" ({packs} × {a_pack})" if a_pack != 1 else ""
    lot = f", lot {facts['lot']}" if facts.get("lot") else ""
    place = f", {facts['place']}" if facts.get("place") else ""
    number = pieces(int(str(facts.get("quantity"))))
    ward = "" if facts.get("counted") else ". Ward stock: its number is not counted here"
    return f"{facts.get('name')}{lot}: {number}{cartons}{place}{ward}"


def done_words(code: str, facts: Facts) -> str:
    """Return what an act on a product's page did."""
    lot = f", lot {facts['lot']}" if facts.get("lot") else ""
    place = f" {facts['place']}" if facts.get("place") else ""
    if code == "stock-book-complete":
        return "The book is complete, by your word. Recall answers may count with it."
    if code == "stock-book-open":
        return "The book is open again. Recall answers no longer count with it."
    if code == "stock-counted":
        off = int(str(facts.get("difference")))
        told = "as the book had it" if off == 0 else f"{signed(off)} against the book"
        return f"Counted: {told}."
    number = pieces(int(str(facts.get("quantity"))))
    if code == "stock-moved":
        return f"Moved {number}{lot} to{place}."
    if code == "stock-out":
        return f"Taken out {number}{lot}: {OUT_REASONS[str(facts.get('reason'))].lower()}."
    return f"Booked in: {booked_in_words(facts)}."


def signed(number: int) -> str:
    """Return a number with its sign, "+25" or the same with a minus."""
    return f"+{number}" if number > 0 else f"{MINUS}{-number}" if number < 0 else "0"


def plain_number(number: int) -> str:
    """Return a number; one below zero has a minus sign and no hyphen."""
    return str(number) if number >= 0 else f"{MINUS}{-number}"


def primes_words(answer: CanPrime) -> str:
    """Return how many more primes the shelves allow."""
    if answer.primes is None:
        return "no number yet"
    return f"{answer.primes.count} more prime{'' if answer.primes.count == 1 else 's'}"


def limits_words(answer: CanPrime) -> str:
    """Return what limits the primes, by the name of the part."""
    names = [need.name for need in answer.needs if need.limits]
    if not names:
        return ""
    many = len(names) > 1
    return f"{', '.join(names[:-1])} and {names[-1]} limit" if many else f"{names[0]} limits"


def shelf_line(answer: CanPrime) -> str:
    """Return the one line for the ready shelf."""
    return f"{answer.circuit_type}: {primes_words(answer)}. {limits_words(answer)}."


def usable_words(usable: int, total: int) -> str:
    """Return what of a product may be taken now."""
    if usable < 0:
        return f"None usable by the book: {pieces(-usable)} more went out than came in"
    return f"{usable} usable" + (f" of {plain_number(total)}" if total != usable else "")


def rate_words(rate: Rate) -> str:
    """Return the unit's own use and how it was reckoned."""
    if not rate.primes:
        return f"Our use: no prime was begun in the last {rate.days} days."
    begun = "prime was" if rate.primes == 1 else "primes were"
    return (
        f"Our use: {rate.primes} {begun} begun in the last {rate.days} days, "
        f"{rate.a_week:.1f} a week."
    )


def week_words(week: WeekAhead, names: Mapping[str, str]) -> dict[str, str]:
    """Return one coming week in words."""
    limiting = ", ".join(names[key] for key in week.possible.limiting)
    expiring = ", ".join(f"{units} × {names[key]}" for key, units in week.expiring.items())
    use = "–" if not week.wanted else f"{week.made} of {week.wanted}"
    return {
        "possible": str(week.possible.count),
        "limits": limiting,
        "use": use,
        "expires": expiring or "–",
    }


def level_words(level: LevelFacts) -> str:
    """Return what a lot in a place is good for."""
    if level.quantity < 0:
        return "More went out than was booked in. Count it"
    if level.fitness is Fitness.ON_HOLD:
        return f"On hold: {level.hold}"
    return FITNESS[level.fitness]


def change_words(change: ChangeFacts) -> str:
    """Return why a level changed."""
    reason = OUT_REASONS.get(change.reason, change.reason)
    return WHY.get(change.why, change.why) + (f": {reason.lower()}" if reason else "")


def book_words(said: BookWord | None, zone: ZoneInfo) -> str:
    """Return whether recall answers count with a product's book, who said so and when."""
    if said is None:
        return "Recall answers do not count with this book: nobody has said that it is complete."
    at = f"{said.at.astimezone(zone):%Y-%m-%d %H:%M %Z}"
    if said.complete:
        who = said.person or "the service"
        return f"Recall answers count with this book: {who} said on {at} that it is complete."
    if said.person:
        return (
            f"Recall answers do not count with this book: {said.person} took the word back on {at}."
        )
    return f"Recall answers do not count with this book: the count of {at} did not agree with it."
