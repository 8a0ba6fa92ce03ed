"""Our own symbols: circuit tag, act card, place, badge, part, down-time form, and a tag's facts.

A symbol's text is `CT`, a letter for its kind, a dot, a body, a dot and a check character
(ISO/IEC 7064 MOD 37-2 over the letters and digits before it). Nothing else begins so, and no
scanner can take it for a product. Upper case only, so that Caps Lock does no harm.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from traceability.identifiers.checks import iso_7064_mod_37_2

LONGEST: Final = 3_000
"""Characters; a symbol with contents for phones is the longest of ours (identifier rule R-1)."""

PLAIN: Final = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ")


class SymbolKind(StrEnum):
    """What a symbol of ours stands for: the letter after `CT`."""

    CIRCUIT = "1"
    CONTENTS = "2"
    ACT = "A"
    PLACE = "P"
    BADGE = "B"
    PART = "U"
    FORM = "D"


@dataclass(frozen=True, slots=True)
class OwnSymbol:
    """A whole symbol of ours."""

    kind: SymbolKind
    body: str


@dataclass(frozen=True, slots=True)
class BrokenSymbol:
    """It begins like ours and is not whole: half of it was read, or a character is wrong."""

    reason: str
    """ "cut", "check" or "kind"."""


def write_symbol(kind: SymbolKind, body: str) -> str:
    """Return the text of a symbol.

    Raises:
        ValueError: a body that is empty or holds other than A-Z, 0-9, dot and hyphen.
    """
    if not body or not set(body) <= PLAIN | set(".-"):
        raise ValueError(f"{body!r}: only A-Z, 0-9, dot and hyphen")
    head = f"CT{kind}.{body}"
    return f"{head}.{_check(head)}"


def read_symbol(text: str) -> OwnSymbol | BrokenSymbol | None:
    """Return the symbol of ours that was read, what is wrong with it, or None: it is not ours.

    Takes off an AIM symbology identifier and a line end; lower case typed with Caps Lock counts.
    """
    bare = text.rstrip("\r\n")
    if bare.startswith("]") and len(bare) > 3:  # noqa: PLR2004 - "]d1": ISO/IEC 15424
        bare = bare[3:]
    bare = bare.upper() if bare.isascii() else bare
    if not bare.startswith("CT") or len(bare) < 4 or bare[3] != ".":  # noqa: PLR2004
        return None
    if len(bare) > LONGEST:
        return BrokenSymbol("cut")
    head, dot, check = bare.rpartition(".")
    if not dot or len(check) != 1 or head.count(".") < 1 or head.endswith("."):
        return BrokenSymbol("cut")
    if not set(head) <= PLAIN | set(".-") or _check(head) != check:
        return BrokenSymbol("check")
    if head[2] not in set(SymbolKind):
        return BrokenSymbol("kind")
    return OwnSymbol(SymbolKind(head[2]), head[4:])


def _check(head: str) -> str:
    return iso_7064_mod_37_2("".join(char for char in head if char in PLAIN))


def site_code(site_id: UUID) -> str:
    """Return the four characters under which a site's symbols are told from another's."""
    alphabet = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
    number, code = int.from_bytes(site_id.bytes[-8:]) ^ int.from_bytes(site_id.bytes[:8]), ""
    for _ in range(4):
        number, digit = divmod(number, len(alphabet))
        code += alphabet[digit]
    return code


def circuit_symbol(code: str, number: str) -> str:
    """Return the text of a circuit tag's symbol."""
    return write_symbol(SymbolKind.CIRCUIT, f"{code}.{number}")


def place_symbol(code: str, place: str) -> str:
    """Return the text of a place's symbol."""
    return write_symbol(SymbolKind.PLACE, f"{code}.{place}")


def badge_symbol(badge_code: str) -> str:
    """Return the text of a badge's symbol. Names are print, never in a symbol."""
    return write_symbol(SymbolKind.BADGE, badge_code)


def site_and_name(body: str) -> tuple[str, str]:
    """Return the site code and what follows it, of a circuit's or place's body."""
    code, _, name = body.partition(".")
    return code, name


class Act(StrEnum):
    """Acts that have a printed card."""

    UNDO = "UNDO"
    SAME = "SAME"
    COUNT = "COUNT"
    PHOTO = "PHOTO"
    NOT_READABLE = "NOTREADABLE"
    NOT_FITTED = "NOTFITTED"
    NEXT = "NEXT"
    KEEP = "KEEP"
    NEEDED = "NEEDED"
    DROPPED = "DROPPED"
    PAUSE = "PAUSE"
    DISCARD = "DISCARD"
    TAKE_OVER = "TAKEOVER"
    SIGN = "SIGN"
    HELP = "HELP"
    AS_READ = "ASREAD"
    TICK = "TICK"


CARDS: Final[Mapping[Act, tuple[int, str]]] = {
    Act.UNDO: (1, "Undo last"),
    Act.SAME: (2, "Same again"),
    Act.COUNT: (3, "Count"),
    Act.PHOTO: (4, "Photo"),
    Act.NOT_READABLE: (5, "Lot not readable"),
    Act.NOT_FITTED: (6, "Not fitted"),
    Act.NEXT: (7, "Next step"),
    Act.KEEP: (8, "Keep, with reason"),
    Act.NEEDED: (9, "Needed now"),
    Act.DROPPED: (10, "Dropped: new one"),
    Act.PAUSE: (11, "Pause"),
    Act.DISCARD: (12, "Discard this prime"),
    Act.TAKE_OVER: (13, "Take over"),
    Act.SIGN: (14, "Sign"),
    Act.HELP: (15, "Help"),
    Act.AS_READ: (16, "As read"),
    Act.TICK: (17, "Tick"),
}
"""Number and verb of each card, as printed and as shown on the button."""

REASON_CARDS: Final[Mapping[str, str]] = {
    "WHY-NOOTHER": "no-other",
    "WHY-WAITS": "patient-waits",
    "WHY-PHARMACIST": "pharmacist",
    "WHY-BYHAND": "by-hand",
}
"""Bodies of the reason cards, and the reason each one gives."""

COUNT_CARDS: Final[Mapping[str, int]] = {f"COUNT-{number}": number for number in range(2, 13)}
"""Bodies of the number cards."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TagFacts:
    """What a circuit tag says. Never a patient."""

    site_name: str
    unit: str
    ring: str
    """The number to ring, day and night."""
    number: str
    """ "C-0419"."""
    circuit_type: str
    place: str
    way: str
    """ "wet, closed"; empty where contents are not recorded."""
    use_by: datetime | None
    """Aware; None where nothing is known."""
    use_by_reason: str
    prime_lines: tuple[str, ...]
    """ "Prime: sodium chloride 0.9 %, 1.5 L", "No blood. No heparin."."""
    primed_at: datetime | None
    primer: str
    helper: str
    primer_signed_at: datetime | None
    helper_signed_at: datetime | None
    parts_line: str
    oxygenator_lot: str
    oxygenator_serial: str
    copy: int
    """0: the first print."""
    zone: ZoneInfo
    practice: bool
    symbol: str
    """Text of the symbol to scan."""

    @property
    def unsigned_words(self) -> str:
        """Return what an unsigned tag says in capitals; empty when both signed."""
        missing = [self.primer_signed_at, self.helper_signed_at].count(None)
        if self.primed_at is None:
            return ""
        return ("", "SECOND SIGNATURE MISSING", "NOT SIGNED")[missing]
