"""The contents of a circuit as a file that another hospital can read.

A form of our own, described in `docs/contents-file.md`: JSON in UTF-8, an object with these keys
and no others needed. No patient, no run and no person stands in it. The digest covers everything
but itself, so that a file cut short or changed on its way is told from a whole one; it says
nothing about who wrote it.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Final

from traceability.domain.events import Plain
from traceability.domain.parts import PartState

FORM: Final = "circuit-traceability contents"
VERSION: Final = 1
MOST_BYTES: Final = 256 * 1024
"""About 600 parts; a circuit has some thirty. Own choice, no source."""
MOST_PARTS: Final = 200
LONGEST: Final = 200
"""Characters of any text. A GS1 lot or serial has 20 at most (GS1 General Specifications,
sections on AI (10) and AI (21))."""


class Fault(StrEnum):
    """Why a file is not taken; each has its sentence."""

    TOO_LARGE = "too-large"
    NOT_JSON = "not-json"
    OTHER_FORM = "other-form"
    NEWER = "newer"
    CHANGED = "changed"
    FIELD = "field"


class NotReadable(ValueError):
    """The file is not a list of contents that can be taken."""

    def __init__(self, fault: Fault, field: str = "") -> None:
        """Keep what is wrong, and in which field."""
        super().__init__(f"{fault} {field}".strip())
        self.fault = fault
        self.field = field


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
    return _read(_Fields(whole, "")), digest


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


@dataclass(frozen=True, slots=True)
class _Fields:
    """One object of the file, read field by field; what is wrong names its field."""

    data: Mapping[str, object]
    path: str

    def wrong(self, name: str) -> NotReadable:
        return NotReadable(Fault.FIELD, f"{self.path}{name}")

    def text(self, name: str, *, needed: bool = False) -> str:
        value = self.data.get(name)
        value = "" if value is None else value
        if not isinstance(value, str) or len(value) > LONGEST or not (value or not needed):
            raise self.wrong(name)
        if value and not value.isprintable():
            raise self.wrong(name)
        return value

    def text_or_none(self, name: str) -> str | None:
        return self.text(name) or None

    def flag(self, name: str) -> bool:
        value = self.data.get(name, False)
        if not isinstance(value, bool):
            raise self.wrong(name)
        return value

    def volume(self, name: str) -> int | None:
        value = self.data.get(name)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not 0 < value < 100_000:  # noqa: PLR2004
            raise self.wrong(name)
        return value

    def moment(self, name: str) -> datetime | None:
        text = self.text(name)
        if not text:
            return None
        try:
            at = datetime.fromisoformat(text)
        except ValueError:
            raise self.wrong(name) from None
        if at.tzinfo is None:
            raise self.wrong(name)
        return at

    def expiry(self, name: str) -> str | None:
        text = self.text(name)
        if not text:
            return None
        try:
            date.fromisoformat(text if len(text) > len("2027-03") else f"{text}-01")
        except ValueError:
            raise self.wrong(name) from None
        return text

    def inner(self, name: str) -> "_Fields":
        value = self.data.get(name)
        if not isinstance(value, dict):
            raise self.wrong(name)
        return _Fields(value, f"{self.path}{name}.")

    def rows(self, name: str) -> Iterator["_Fields"]:
        value = self.data.get(name)
        if not isinstance(value, list) or len(value) > MOST_PARTS:
            raise self.wrong(name)
        for number, row in enumerate(value, start=1):
            if not isinstance(row, dict):
                raise self.wrong(f"{name} {number}")
            yield _Fields(row, f"{self.path}{name} {number}: ")


def _read(fields: _Fields) -> ContentsFile:
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


def _part(row: _Fields) -> FilePart:
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


def _product(row: _Fields) -> FileProduct:
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
