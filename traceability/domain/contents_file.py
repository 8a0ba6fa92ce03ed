"""The contents of a circuit as a file that another hospital can read.

A form of our own, described in `docs/contents-file.md`: JSON in UTF-8, an object with these keys
and no others needed. No patient, no run and no person stands in it. The digest covers everything
but itself, so that a file cut short or changed on its way is told from a whole one; it says
nothing about who wrote it.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Final

from traceability.domain.events import Plain
from traceability.domain.file_fields import Fault, Fields, NotReadable
from traceability.domain.parts import PartState

FORM: Final = "circuit-traceability contents"
VERSION: Final = 1
MOST_BYTES: Final = 256 * 1024
"""About 600 parts; a circuit has some thirty. Own choice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FileProduct:
    """A product as the sending hospital knows it."""

    standard: str
    """gs1, hibc, isbt128, ifa, or none for a code of no agency."""
    identifier: str
    name: str
    maker: str
    item_number: str = ""
    substance: str = ""
    volume_ml: int | None = None
    circuit_type: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FilePart:
    """One part of the circuit."""

    place: str
    kind: str
    state: str
    """One of `PartState`."""
    known: str
    """How the sending hospital knows it: one of `Known`."""
    product: FileProduct | None = None
    lot: str | None = None
    serial: str | None = None
    expires: str | None = None
    """As printed: `YYYY-MM-DD`, or `YYYY-MM`."""
    volume_ml: int | None = None
    priming_only: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ContentsFile:
    """What the file says."""

    practice: bool
    site: str
    unit: str
    ring: str
    """The number to ring, day and night."""
    site_code: str
    number: str
    """The circuit's number at the sending hospital."""
    circuit_type: str
    way: str
    primed_at: datetime | None
    """End of the prime; aware."""
    use_by: datetime | None
    complete: bool
    """Whether every part is in the list, those with an unknown lot too."""
    parts: tuple[FilePart, ...]


def digest_of(contents: ContentsFile) -> str:
    """Return SHA-256 over what the file says, 64 hex digits, whatever blanks it is written with."""
    return _digest(_plain(contents))


def write_file(contents: ContentsFile) -> bytes:
    """Return the file; the same contents give the same bytes."""
    said = _plain(contents)
    whole = {**said, "sha256": _digest(said)}
    return (json.dumps(whole, indent=1, ensure_ascii=True, sort_keys=True) + "\n").encode("ascii")


def read_file(data: bytes) -> tuple[ContentsFile, str]:
    """Return what a file says, and its digest.

    Raises:
        NotReadable: it is too large, no JSON, of another form, changed, or a field cannot be.
    """
    if len(data) > MOST_BYTES:
        raise NotReadable(Fault.TOO_LARGE)
    try:
        whole = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        raise NotReadable(Fault.NOT_JSON) from None
    if not isinstance(whole, dict) or whole.get("form") != FORM:
        raise NotReadable(Fault.OTHER_FORM)
    if whole.get("version") != VERSION:
        raise NotReadable(Fault.NEWER)
    given = whole.pop("sha256", None)
    try:
        digest = _digest(whole)
    except (ValueError, RecursionError):
        raise NotReadable(Fault.NOT_JSON) from None
    if given != digest:
        raise NotReadable(Fault.CHANGED)
    return _read(Fields(whole, "")), digest


def _digest(said: Mapping[str, Plain]) -> str:
    text = json.dumps(
        said, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False
    )
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _plain(contents: ContentsFile) -> dict[str, Plain]:
    return {
        "form": FORM,
        "version": VERSION,
        "practice": contents.practice,
        "from": {
            "site": contents.site,
            "unit": contents.unit,
            "ring": contents.ring,
            "code": contents.site_code,
        },
        "circuit": {
            "number": contents.number,
            "type": contents.circuit_type,
            "way": contents.way,
            "primed_at": _moment(contents.primed_at),
            "use_by": _moment(contents.use_by),
        },
        "complete": contents.complete,
        "parts": [asdict(part) for part in contents.parts],
    }


def _moment(at: datetime | None) -> str | None:
    return at.isoformat(timespec="seconds") if at else None


def _read(fields: Fields) -> ContentsFile:
    sender, circuit = fields.inner("from"), fields.inner("circuit")
    return ContentsFile(
        practice=fields.flag("practice"),
        site=sender.text("site", needed=True),
        unit=sender.text("unit"),
        ring=sender.text("ring"),
        site_code=sender.text("code"),
        number=circuit.text("number", needed=True),
        circuit_type=circuit.text("type"),
        way=circuit.text("way"),
        primed_at=circuit.moment("primed_at"),
        use_by=circuit.moment("use_by"),
        complete=fields.flag("complete"),
        parts=tuple(_part(row) for row in fields.rows("parts")),
    )


def _part(row: Fields) -> FilePart:
    state = row.text("state", needed=True)
    if state not in set(PartState):
        raise row.wrong("state")
    part = FilePart(
        place=row.text("place"),
        kind=row.text("kind", needed=True),
        state=state,
        known=row.text("known"),
        product=None if row.data.get("product") is None else _product(row.inner("product")),
        lot=row.text_or_none("lot"),
        serial=row.text_or_none("serial"),
        expires=row.expiry("expires"),
        volume_ml=row.volume("volume_ml"),
        priming_only=row.flag("priming_only"),
    )
    if part.product is None and (part.lot or part.serial):
        # A lot means nothing without the product it belongs to.
        raise row.wrong("product")
    return part


STANDARDS: Final[Sequence[str]] = ("gs1", "hibc", "isbt128", "ifa", "none")


def _product(row: Fields) -> FileProduct:
    standard = row.text("standard", needed=True)
    if standard not in STANDARDS:
        raise row.wrong("standard")
    return FileProduct(
        standard=standard,
        identifier=row.text("identifier", needed=True),
        name=row.text("name", needed=True),
        maker=row.text("maker"),
        item_number=row.text("item_number"),
        substance=row.text("substance"),
        volume_ml=row.volume("volume_ml"),
        circuit_type=row.text("circuit_type"),
    )
