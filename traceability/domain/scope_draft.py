"""What was understood of a notice's scope before anything is saved: every row with its fate.

A row that leaves any doubt waits for a person. It is taken as it was read, as it may have been, as
both, or left out, by that person's word and never by itself.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from traceability.domain.notice_scope import ProductRef, ScopeClause, ScopeTest

__all__ = [
    "Answers",
    "Choice",
    "Doubt",
    "Doubtful",
    "Entry",
    "Fate",
    "Judged",
    "Meaning",
    "NotRead",
    "Note",
    "SourceRead",
]


class Fate(StrEnum):
    """What became of a row."""

    TAKEN = "taken"
    WAITS = "waits"
    """Doubtful, and no person has decided yet."""
    DOUBLE = "double"
    """Says what an earlier row said."""
    LEFT_OUT = "left-out"
    """By a person's word."""
    NOT_READ = "not-read"
    HEADING = "heading"


class Doubtful(StrEnum):
    """Why a row waits for a person."""

    NUMBER = "number"
    """A number where a text belongs: leading zeros may be lost."""
    PRECISION = "precision"
    """More than 15 digits in a number: the last ones are not those that were typed."""
    SHORTER = "shorter"
    """All digits, and shorter than all its neighbours: leading zeros may be lost."""
    SCIENTIFIC = "scientific"
    DATE = "date"
    """A date where a lot or serial belongs."""
    DECIMAL = "decimal"
    FORMULA = "formula"
    TRUTH = "truth"
    """TRUE or FALSE where a text belongs."""
    HIDDEN = "hidden"
    MERGED = "merged"
    FILLED_DOWN = "filled-down"
    """The product stands in a row above only."""
    CHARACTERS = "characters"
    """Not a plain letter, digit or sign: no GS1 lot or serial holds it."""
    WILDCARD = "wildcard"
    """Stands for many lots by a sign such as * or xx."""
    MARKS = "marks"
    """Marks around it that may be no part of it: quotation marks, a line's number, a remark."""
    BLANK = "blank"
    """A blank inside: one text, or several."""
    LONG = "long"
    NO_DIGIT = "no-digit"
    """Letters alone: a word, or a lot."""
    RANGE_OR_LOT = "range-or-lot"
    LIST_OR_LOT = "list-or-lot"
    SHORT_END = "short-end"
    ENDS_UNLIKE = "ends-unlike"
    EVERY = "every"
    """Every lot of the product."""
    PRODUCT_CODE = "product-code"
    """Where a lot belongs stands what may be a product's code."""
    CHECK_DIGIT = "check-digit"
    CODE_SHORT = "code-short"
    SCAN = "scan"
    """The symbol could be read in more than one way."""
    COLUMN = "column"
    """Which column means what was guessed: the table has no heading."""
    NOT_RECALLED = "not-recalled"
    TAKEN_BACK = "taken-back"
    """The document itself declares the event a mistake."""
    UNKNOWN_PART = "unknown-part"
    """A field that this form does not have."""


class NotRead(StrEnum):
    """Why a row is no part of the scope."""

    EMPTY = "empty"
    WORDS = "words"
    NOTHING = "nothing"
    """Says itself that there is no lot."""
    NO_LOT = "no-lot"
    NO_PRODUCT = "no-product"
    NO_MAKER = "no-maker"
    """An item number means nothing without its maker."""
    LONG = "long"
    EMPTY_RANGE = "empty-range"
    BROKEN_CELL = "broken-cell"
    NO_VALUE = "no-value"
    """A formula whose value is not in the file."""
    PRIVATE = "private"
    """May name a person; not shown again."""
    CODE = "code"
    BAD_IDENTIFIER = "bad-identifier"
    NOTHING_NAMED = "nothing-named"
    """An event or a scan that names no product of ours to look for."""
    BEFORE_HEADING = "before-heading"
    NOT_A_LIST = "not-a-list"
    """A sheet or table in which nothing says what its columns are."""
    NOT_A_DAY = "not-a-day"
    NOT_A_MOMENT = "not-a-moment"
    FORM = "form"
    """The JSON breaks the form; the detail says where."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One reason to look twice."""

    code: Doubtful
    detail: str = ""
    """What was read or how it is written there, for people."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """One way to take a row."""

    test: ScopeTest | None = None
    """None with a product: every unit of it."""
    product: ProductRef | None = None
    """None: the product that the whole list is of."""
    clause: ScopeClause | None = None
    """A whole clause, where the source says one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One thing that a source says, and where."""

    place: str
    """Unlike that of any other: "line 3", "Lots!B7", "any_of[0]"."""
    given: str
    meanings: tuple[Meaning, ...] = ()
    """As read; then as it may have been."""
    doubts: tuple[Doubt, ...] = ()
    why: NotRead | None = None
    detail: str = ""
    beside: str = ""
    """What else the row says; it is no part of the scope."""
    heading: bool = False

    @property
    def group(self) -> str:
        """Rows of one group raise the same doubts and can be decided together."""
        codes = sorted({str(doubt.code) for doubt in self.doubts})
        return ".".join([*codes, "1" if len(self.meanings) == 1 else "more"])


@dataclass(frozen=True, slots=True)
class Note:
    """Something that holds for a source as a whole, by code and facts."""

    code: str
    facts: Mapping[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceRead:
    """What one source (a paste, a file, scans, the form) says."""

    kind: str
    """lots, table, spreadsheet, form, epcis, scans or clauses."""
    entries: tuple[Entry, ...]
    notes: tuple[Note, ...] = ()
    tables: tuple["TableRead", ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRead:
    """How the columns of one table were understood; a person may say otherwise."""

    name: str
    headings: tuple[str, ...]
    columns: tuple[str, ...]
    """What each column means, "" for nothing."""
    guessed: bool
    first: tuple[str, ...]
    """The first row, to know the columns by."""


class Choice(StrEnum):
    """A person's word on a doubtful row."""

    READ = "read"
    OTHER = "other"
    BOTH = "both"
    LEAVE = "leave"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What a person decided: for single rows by place, for the rest by group."""

    rows: Mapping[str, Choice]
    groups: Mapping[str, Choice]
    written: Mapping[str, str]
    """By place: what the notice really prints."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A row, its fate, and what of it goes into the scope."""

    entry: Entry
    fate: Fate
    taken: tuple[Meaning, ...] = ()
    like: str = ""
    """For a double: the place of the first."""
