"""The second symbol of a tag: plain text that any phone shows, with no service and no network.

The text begins like every symbol of ours (`CT2.`, site code, number) and goes on with fields behind
" * ". There is no line end in it: a scanner that types would press Enter at each. Our own words are
in capitals, which a QR Code holds in fewer modules; what was read or entered is never changed, for
"µg" in capitals is another dose. Never a patient, never a name of staff.

The last field is a checksum: eight characters of base 32 (RFC 4648, section 6) of the SHA-256 of
all before it, a dot and their check character (ISO/IEC 7064 MOD 37-2). Before it stands the
signature, if there is one; `security.tag_keys` makes and verifies it.
"""

import re
import unicodedata
from base64 import b32decode, b32encode
from binascii import Error as NotBase32
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Final
from urllib.parse import quote, unquote
from zoneinfo import ZoneInfo

from traceability.domain.parts import PartState
from traceability.domain.tags import LONGEST, SymbolKind, without_aim
from traceability.identifiers.checks import iso_7064_mod_37_2

BETWEEN: Final = " * "
SIGNED: Final = "SIGNED "
CHECK: Final = "CHECK "
NOT_RECORDED: Final = "not recorded"
PRACTICE: Final = "PRACTICE, NOT FOR A PATIENT"
_KEPT: Final = "!\"&'(),-._;<=>?#@"
"""Characters of a lot that stay as they are; own signs are written as %XX (RFC 3986)."""
_HEAD: Final = re.compile(rf"CT{SymbolKind.CONTENTS}\.([A-Z0-9]{{4}})\.([A-Z]-[0-9]+)")
_LISTS: Final = re.compile(r"LISTS (\d+) OF (\d+)(?:, \d+ DO NOT FIT HERE)?, ITEM:LOT/SERIAL")
_ITEM: Final = re.compile(
    r"(?:(\d+)\*)?([^ :/*+]+)(?::([^ :/*+]+))?(?:/([^ :/*+]+))?(?::\+([A-Z-]+))?"
)
_CHECK: Final = re.compile(r"CHECK ([A-Z2-7]{8})\.([A-Z0-9*])")


GAPS: Final = {
    PartState.INSIDE_PACK: "INSIDE THE PACK",
    PartState.LOT_NOT_READABLE: "LOT NOT READABLE",
    PartState.LOT_NOT_RECORDED: "LOT NOT RECORDED",
    PartState.TICKED: "TICK ONLY",
}
"""What the list for phones says where a piece has no lot of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ContentsItem:
    """Pieces in a circuit that are alike."""

    count: int
    item: str
    """GTIN as 14 digits; "hibc.A999..." with any other issuing agency; a name where none is."""
    lot: str = ""
    """As read; empty where `gap` says why."""
    serial: str = ""
    gap: str = ""
    """"LOT NOT READABLE", "LOT NOT RECORDED", "INSIDE THE PACK", "TICK ONLY"; else empty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TagContents:
    """What the text says of one circuit."""

    site_code: str
    number: str
    circuit_type: str
    way: str
    prime: str
    """Fluid, volume, blood and additives, in the tag's own words."""
    coating: str
    """Empty where it was not recorded."""
    primed_at: datetime | None
    use_by: datetime | None
    use_by_reason: str
    unsigned: str
    """"SECOND SIGNATURE MISSING" or the like; empty when both signed."""
    site_name: str
    unit: str
    ring: str
    items: tuple[ContentsItem, ...]
    recorded: bool
    """Whether the contents are recorded at all."""
    practice: bool
    zone: ZoneInfo

    @property
    def without_lot(self) -> int:
        """How many items of the list have no lot of their own."""
        return sum(not item.lot for item in self.items)


@dataclass(frozen=True, slots=True, kw_only=True)
class ContentsRead:
    """A whole text, as it was printed."""

    site_code: str
    number: str
    said: tuple[str, ...]
    """All fields but number, list, signature and check, in order."""
    items: tuple[ContentsItem, ...]
    of: int
    """How many items the circuit had; more than `items` where they did not fit."""
    practice: bool
    signed_text: str
    """What the signature stands under."""
    signature: bytes | None


def contents_text(
    facts: TagContents, *, listed: int, sign: Callable[[str], bytes] | None = None
) -> str:
    """Return the text with the first `listed` items; what is left out is said in it.

    `sign` returns the signature of a text; without it the text says nothing of one.
    """
    text = BETWEEN.join(_fields(facts, listed))
    if sign is not None:
        text += BETWEEN + SIGNED + b32encode(sign(text)).decode("ascii").rstrip("=")
    return text + BETWEEN + CHECK + _checksum(text)


def read_contents(text: str) -> ContentsRead | None:
    """Return what a text of this kind says; None: it is none, or not exactly as it was printed."""
    given = without_aim(text)
    body, _, check = given.rpartition(BETWEEN)
    if len(given) > LONGEST or _CHECK.fullmatch(check) is None or check != CHECK + _checksum(body):
        return None
    signature: bytes | None = None
    signed_text, _, last = body.rpartition(BETWEEN)
    if last.startswith(SIGNED):
        signature = _decoded(last.removeprefix(SIGNED))
        if signature is None:
            return None
    else:
        signed_text = body
    head, *fields = signed_text.split(BETWEEN)
    found = _HEAD.fullmatch(head)
    at = next((n for n, field in enumerate(fields) if _LISTS.fullmatch(field)), len(fields))
    items = [_read_item(each) for field in fields[at + 1 :] for each in field.split(" ")]
    counted = _LISTS.fullmatch(fields[at]) if at < len(fields) else None
    if found is None or None in items or (counted and int(counted[1]) != len(items)):
        return None
    return ContentsRead(
        site_code=found[1],
        number=found[2],
        said=tuple(fields[:at]),
        items=tuple(item for item in items if item is not None),
        of=int(counted[2]) if counted else 0,
        practice=PRACTICE in fields[:at],
        signed_text=signed_text,
        signature=signature,
    )


def alike(items: Iterable[ContentsItem]) -> tuple[ContentsItem, ...]:
    """Return items with equal ones counted together; with lots first, in their given order.

    Where not all fit, those with a lot of their own are worth most to who asks about a lot.
    """
    counts: dict[tuple[str, str, str, str], int] = {}
    for each in items:
        key = (each.item, each.lot, each.serial, each.gap)
        counts[key] = counts.get(key, 0) + each.count
    joined = [
        ContentsItem(count=count, item=item, lot=lot, serial=serial, gap=gap)
        for (item, lot, serial, gap), count in counts.items()
    ]
    return tuple(sorted(joined, key=lambda item: not item.lot))


def _fields(facts: TagContents, listed: int) -> Iterable[str]:
    yield f"CT{SymbolKind.CONTENTS}.{facts.site_code}.{facts.number}"
    if facts.practice:
        yield PRACTICE
    yield "TYPE " + ", ".join(_said(part) for part in (facts.circuit_type, facts.way) if part)
    if facts.unsigned:
        yield _said(facts.unsigned)
    yield f"PRIME {_said(facts.prime)}"
    yield f"COATING {_said(facts.coating) or NOT_RECORDED}"
    yield f"PRIMED {_moment(facts.primed_at, facts.zone)}"
    reason = f", {_said(facts.use_by_reason)}" if facts.use_by and facts.use_by_reason else ""
    yield f"USE BY {_moment(facts.use_by, facts.zone)}{reason}"
    yield f"RING {_said(facts.ring)}, {_said(facts.site_name)}, {_said(facts.unit)}"
    if not facts.recorded:
        yield "CONTENTS NOT RECORDED"
        return
    left = len(facts.items) - listed
    more = f", {left} DO NOT FIT HERE" if left else ""
    yield f"LISTS {listed} OF {len(facts.items)}{more}, ITEM:LOT/SERIAL"
    if listed:
        yield " ".join(_item(item) for item in facts.items[:listed])


def _item(item: ContentsItem) -> str:
    """Return "3*09521234000013:T77-0B1": how many, of what, lot and serial."""
    count = f"{item.count}*" if item.count > 1 else ""
    lot = f":{_value(item.lot)}" if item.lot else ""
    serial = f"/{_value(item.serial)}" if item.serial else ""
    gap = f":+{item.gap.replace(' ', '-')}" if item.gap else ""
    return f"{count}{_value(item.item)}{lot}{serial}{gap}"


def _read_item(text: str) -> ContentsItem | None:
    found = _ITEM.fullmatch(text)
    if found is None:
        return None
    return ContentsItem(
        count=int(found[1] or 1),
        item=unquote(found[2]),
        lot=unquote(found[3] or ""),
        serial=unquote(found[4] or ""),
        gap=(found[5] or "").replace("-", " "),
    )


def _moment(at: datetime | None, zone: ZoneInfo) -> str:
    """Return a moment with its offset: zone names mean different things in different places."""
    return at.astimezone(zone).isoformat(" ", "minutes") if at else NOT_RECORDED


def _value(text: str) -> str:
    return quote(text, safe=_KEPT, errors="replace")


def _said(text: str) -> str:
    """Return words as they are, without what would end a field or leave no mark on a screen."""
    shown = "".join(" " if unicodedata.category(char)[0] in "CZ" else char for char in text)
    return " ".join(shown.replace("*", "+").split())


def _checksum(text: str) -> str:
    digest = b32encode(sha256(text.encode("utf-8", "replace")).digest()).decode("ascii")[:8]
    return f"{digest}.{iso_7064_mod_37_2(digest)}"


def _decoded(text: str) -> bytes | None:
    try:
        return b32decode(text + "=" * (-len(text) % 8))
    except (NotBase32, ValueError):
        return None
