"""Reading the objects of a file that somebody else wrote: field by field, each named if wrong."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Final

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


@dataclass(frozen=True, slots=True)
class Fields:
    """One object of the file, read field by field; what is wrong names its field."""

    data: Mapping[str, object]
    path: str

    def wrong(self, name: str) -> NotReadable:
        """Return the refusal that names this field."""
        return NotReadable(Fault.FIELD, f"{self.path}{name}")

    def text(self, name: str, *, needed: bool = False) -> str:
        """Return a text; empty where it is missing and not needed."""
        value = self.data.get(name)
        value = "" if value is None else value
        if not isinstance(value, str) or len(value) > LONGEST or not (value or not needed):
            raise self.wrong(name)
        if value and not value.isprintable():
            raise self.wrong(name)
        return value

    def text_or_none(self, name: str) -> str | None:
        """Return a text, or None for an empty one."""
        return self.text(name) or None

    def flag(self, name: str) -> bool:
        """Return a yes or no; missing means no."""
        value = self.data.get(name, False)
        if not isinstance(value, bool):
            raise self.wrong(name)
        return value

    def volume(self, name: str) -> int | None:
        """Return millilitres, or None."""
        value = self.data.get(name)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not 0 < value < 100_000:  # noqa: PLR2004
            raise self.wrong(name)
        return value

    def moment(self, name: str) -> datetime | None:
        """Return an aware moment, or None."""
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
        """Return an expiry as printed, a day or a month, or None."""
        text = self.text(name)
        if not text:
            return None
        try:
            date.fromisoformat(text if len(text) > len("2027-03") else f"{text}-01")
        except ValueError:
            raise self.wrong(name) from None
        return text

    def inner(self, name: str) -> "Fields":
        """Return an object inside this one."""
        value = self.data.get(name)
        if not isinstance(value, dict):
            raise self.wrong(name)
        return Fields(value, f"{self.path}{name}.")

    def rows(self, name: str) -> Iterator["Fields"]:
        """Yield the objects of a list."""
        value = self.data.get(name)
        if not isinstance(value, list) or len(value) > MOST_PARTS:
            raise self.wrong(name)
        for number, row in enumerate(value, start=1):
            if not isinstance(row, dict):
                raise self.wrong(f"{name} {number}")
            yield Fields(row, f"{self.path}{name} {number}: ")
