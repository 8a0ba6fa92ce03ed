"""Our own symbols: circuit tag, act card, place, badge, part, down-time form, and a tag's facts.

A symbol's text is `CT`, a letter for its kind, a dot, a body, a dot and a check character. Nothing
else begins so, and no scanner can take it for a product; a unit with numbers of its own from GS1
prints it inside a GS1 key (`own_keys`). Upper case only: what Caps Lock turned to
lower case is read all the same, and said.

The check character is that of ISO/IEC 7064 MOD 37-2 over all before it but the dots. The hyphen
counts as the standard's 37th character, which there is never data; so one wrong character, hyphens
included, and two changed places are always found. Each kind has one shape, so that dots cannot
wander and no beginning of a symbol is a symbol: half a tag is never taken for a whole one.
"""

import re
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from hashlib import sha256
from typing import TYPE_CHECKING, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from traceability.domain.own_keys import PRIVATE, carried
from traceability.identifiers.checks import ISO_7064_ALPHABET

if TYPE_CHECKING:
    from traceability.domain.tag_contents import TagContents

LONGEST: Final = 3_000
"""Characters; a symbol with contents for phones is the longest of ours (identifier rule R-1)."""

_NAME: Final = "[A-Z0-9](?:[A-Z0-9-]*[A-Z0-9])?"
_BARE: Final = re.compile(_NAME)
_WITH_SITE: Final = re.compile(f"[A-Z0-9]{{4}}\\.{_NAME}")
_BEGINS: Final = re.compile(r"CT.\.")
_AIM: Final = re.compile(r"\][A-Za-z][0-9A-Za-z]")
_VALUES: Final = {char: value for value, char in enumerate(ISO_7064_ALPHABET[:-1] + "-")}


class SymbolKind(StrEnum):
    """What a symbol of ours stands for: the letter after `CT`."""

    CIRCUIT = "1"
    CONTENTS = "2"
    ACT = "A"
    PLACE = "P"
    BADGE = "B"
    PART = "U"
    FORM = "D"


OF_ANY_SITE: Final = frozenset({SymbolKind.ACT, SymbolKind.BADGE})
"""Kinds whose body is a name alone; the body of all others is a site code, a dot and a name."""


@dataclass(frozen=True, slots=True)
class OwnSymbol:
    """A whole symbol of ours."""

    kind: SymbolKind
    body: str
    caps_lock: bool = False
    """It came in lower case: Caps Lock is on at that keyboard, and lots will come wrong too."""


@dataclass(frozen=True, slots=True)
class BrokenSymbol:
    """It begins like ours and is not whole: half of it was read, or a character is wrong."""

    reason: str
    """ "cut": half a tag was read. "check": a character is wrong. "kind": a kind not known here."""


def write_symbol(kind: SymbolKind, body: str) -> str:
    """Return the text of a symbol.

    Raises:
        ValueError: the body has not the shape of its kind: names of A-Z, 0-9 and hyphens within,
            behind a site code of four characters and a dot where the kind needs one.
    """
    if not _shape(kind).fullmatch(body):
        raise ValueError(f"{body!r} is no body of a symbol of kind {kind.name}")
    head = f"CT{kind}.{body}"
    return f"{head}.{_check(head)}"


def read_symbol(text: str) -> OwnSymbol | BrokenSymbol | None:
    """Return the symbol of ours that was read, what is wrong with it, or None: it is not ours.

    Takes off blanks and line ends around it and an AIM symbology identifier, and takes it out of
    the GS1 key that may carry it (`own_keys`); never raises.
    """
    given = without_aim(text)
    upper = given.upper() if given.isascii() else given
    if _BEGINS.match(upper):
        return _read(upper, caps_lock=given != upper)
    inner = carried(upper) if given[:1].isdigit() and len(given) <= LONGEST else None
    if inner is None:
        return None
    if inner.startswith(f"CT{SymbolKind.BADGE}."):  # a key with a check digit of its own
        return OwnSymbol(SymbolKind.BADGE, inner[4:])
    return _read(inner, caps_lock=given != upper)


def _read(bare: str, *, caps_lock: bool) -> OwnSymbol | BrokenSymbol:
    head, _, check = bare.rpartition(".")
    if len(bare) > LONGEST or len(check) != 1 or len(head) <= len("CT1."):
        return BrokenSymbol("cut")
    if head[2] not in set(SymbolKind):
        return BrokenSymbol("kind")
    kind, body = SymbolKind(head[2]), head[4:]
    if not set(body) <= _VALUES.keys() | {"."}:
        return BrokenSymbol("check")
    if not _shape(kind).fullmatch(body):
        return BrokenSymbol("cut")
    if _check(head) != check:
        return BrokenSymbol("check")
    return OwnSymbol(kind, body, caps_lock=caps_lock)


def private_form(text: str) -> str | None:
    """Return the private text in a GS1 key of ours; None: it is no such key."""
    own = read_symbol(text) if text[:1].isdigit() else None
    return write_symbol(own.kind, own.body) if isinstance(own, OwnSymbol) else None


def without_aim(text: str) -> str:
    """Return a text as printed: no blanks around it, no AIM symbology identifier before it."""
    given = text.strip()
    found = _AIM.match(given)
    return given[found.end() :] if found else given


def _shape(kind: SymbolKind) -> re.Pattern[str]:
    return _BARE if kind in OF_ANY_SITE else _WITH_SITE


def _check(head: str) -> str:
    remainder = 0
    for char in head.replace(".", ""):
        remainder = (remainder + _VALUES[char]) * 2 % 37
    return ISO_7064_ALPHABET[(38 - remainder) % 37]


NO_LOOK_ALIKES: Final = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Characters that people read to each other: digits and capitals without 0, 1, I, L, O and U."""

PRACTICE_MARK: Final = "0"
"""First character of a practice store's code; no other code has it, so that no real store can take
a practice tag for one of its own."""


def site_code(site_id: UUID, *, practice: bool = False) -> str:
    """Return the four characters under which a site's symbols are told from another's.

    There are 810,000 codes, so two sites may share one by chance, and whoever brings sites
    together asks for that. A practice store's begins with 0.
    """
    # Hashed, since ids made on one morning are alike in most of their characters.
    number, code = int.from_bytes(sha256(site_id.bytes).digest()), ""
    for _ in range(4):
        number, digit = divmod(number, len(NO_LOOK_ALIKES))
        code += NO_LOOK_ALIKES[digit]
    return PRACTICE_MARK + code[1:] if practice else code


def is_practice(code: str) -> bool:
    """Tell whether symbols with this site code belong to a practice store."""
    return code.startswith(PRACTICE_MARK)


def circuit_symbol(code: str, number: str) -> str:
    """Return the text of a circuit tag's symbol."""
    return write_symbol(SymbolKind.CIRCUIT, f"{code}.{number}")


def place_symbol(code: str, place: str) -> str:
    """Return the text of a place's symbol."""
    return write_symbol(SymbolKind.PLACE, f"{code}.{place}")


def form_symbol(code: str, number: str) -> str:
    """Return the text of the symbol on the down-time sheet of a circuit's number."""
    return write_symbol(SymbolKind.FORM, f"{code}.{number}")


def machine_symbol(code: str, asset_number: str) -> str:
    """Return the text of a machine's symbol."""
    return write_symbol(SymbolKind.PART, f"{code}.{asset_number}")


def badge_symbol(badge_code: str) -> str:
    """Return the text of a badge's symbol. Names are print, never in a symbol.

    A code that is a GS1 service relation number is written as that key.
    """
    return PRIVATE.carrying(write_symbol(SymbolKind.BADGE, badge_code))


def site_and_name(body: str) -> tuple[str, str]:
    """Return the site code and what follows it, of a circuit's or place's body."""
    code, _, name = body.partition(".")
    return code, name


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
    contents: "TagContents | None" = None
    """What the second symbol says, for any phone."""

    @property
    def unsigned_words(self) -> str:
        """Return what an unsigned tag says in capitals; empty when both signed."""
        missing = [self.primer_signed_at, self.helper_signed_at].count(None)
        if self.primed_at is None:
            return ""
        return ("", "SECOND SIGNATURE MISSING", "NOT SIGNED")[missing]
