"""Words of a scope's preview: what was understood, what not, and what waits for a person."""

from collections.abc import Callable, Mapping
from typing import Final

from traceability.domain.notice_scope import ProductRef, Said, ScopeClause, ScopeTest
from traceability.domain.scope_check import Finding, Found
from traceability.domain.scope_draft import (
    Choice,
    Doubt,
    Doubtful,
    Entry,
    Fate,
    Meaning,
    Note,
    NotRead,
)
from traceability.exchange.headings import Column
from traceability.reads.scope_matches import ClauseMatches, RefMatch, TestMatches

FATES: Final = {
    Fate.TAKEN: "Taken",
    Fate.WAITS: "Doubtful",
    Fate.DOUBLE: "Said before",
    Fate.LEFT_OUT: "Left out by you",
    Fate.NOT_READ: "Not read",
    Fate.HEADING: "Heading",
}

NOT_READ: Final = {
    NotRead.EMPTY: "Empty",
    NotRead.WORDS: "Words, no lot or serial",
    NotRead.NOTHING: "Says itself that there is no lot",
    NotRead.NO_LOT: "No lot and no serial in this row",
    NotRead.NO_PRODUCT: "Of which product? Say it above the list",
    NotRead.NO_MAKER: "An item number without its maker. Say the maker above the list",
    NotRead.LONG: "Too long for a lot or serial",
    NotRead.EMPTY_RANGE: "The range ends before it begins",
    NotRead.BROKEN_CELL: "The cell shows a fault of the spreadsheet instead of a value",
    NotRead.NO_VALUE: "A formula without its value. Open the file in the spreadsheet and save it",
    NotRead.PRIVATE: "May name a person or a donor. Not kept and not shown",
    NotRead.CODE: "No product code that can be read",
    NotRead.BAD_IDENTIFIER: "The identifier is not built as its standard says",
    NotRead.NOTHING_NAMED: "Names no product",
    NotRead.BEFORE_HEADING: "Stands above the heading",
    NotRead.NOT_A_LIST: "Nothing here says what the columns are",
    NotRead.NOT_A_DAY: "Not a day. Write it as YYYY-MM-DD",
    NotRead.NOT_A_MOMENT: "Not a moment. Write it as YYYY-MM-DD HH:MM",
    NotRead.FORM: "Not as the form has it",
}

DOUBTS: Final = {
    Doubtful.NUMBER: "A number, not a text: leading zeros may be lost",
    Doubtful.PRECISION: "A number of more than 15 digits: the last ones are lost",
    Doubtful.SHORTER: "Shorter than the others: leading zeros may be lost",
    Doubtful.SCIENTIFIC: "Looks like a power of ten: a spreadsheet may have changed it",
    Doubtful.DATE: "A date: a spreadsheet may have made it from a lot",
    Doubtful.DECIMAL: "Ends like a decimal number: a program may have added that",
    Doubtful.FORMULA: "Comes from a formula",
    Doubtful.TRUTH: "TRUE or FALSE: a spreadsheet may have made it",
    Doubtful.HIDDEN: "Hidden in the file",
    Doubtful.MERGED: "Stands in a cell that covers several rows",
    Doubtful.FILLED_DOWN: "Product taken from the row above",
    Doubtful.CHARACTERS: "Holds a character that no GS1 lot or serial has",
    Doubtful.WILDCARD: "Stands for many lots. Leave it out, and write them as a range",
    Doubtful.MARKS: "Marks or a remark beside it may be no part of it",
    Doubtful.BLANK: "Holds a blank: one text, or several",
    Doubtful.LONG: "Longer than the 20 characters of a GS1 lot or serial",
    Doubtful.NO_DIGIT: "Letters alone: a lot, or a word",
    Doubtful.RANGE_OR_LOT: "One lot, or a range",
    Doubtful.LIST_OR_LOT: "One lot, or two",
    Doubtful.SHORT_END: "The end is shortened",
    Doubtful.ENDS_UNLIKE: "The two ends are not of one kind: only the ends are sure",
    Doubtful.EVERY: "Every lot of the product",
    Doubtful.PRODUCT_CODE: "May be a product code and no lot",
    Doubtful.CHECK_DIGIT: "The product code does not add up: a digit is wrong",
    Doubtful.CODE_SHORT: "The product code lost zeros at its start",
    Doubtful.SCAN: "The symbol can be read in more than one way",
    Doubtful.COLUMN: "No heading: which column is which was guessed",
    Doubtful.NOT_RECALLED: "The event does not say that it is recalled",
    Doubtful.TAKEN_BACK: "The document takes this event back",
    Doubtful.UNKNOWN_PART: "Holds fields that are not understood",
}

CHOICES: Final = {
    Choice.READ: "As read",
    Choice.OTHER: "As it may have been",
    Choice.BOTH: "Both, to be safe",
    Choice.LEAVE: "Leave it out",
}

COLUMNS: Final = {
    Column.LOT: "Lot",
    Column.LOT_FROM: "First lot",
    Column.LOT_TO: "Last lot",
    Column.SERIAL: "Serial",
    Column.SERIAL_FROM: "First serial",
    Column.SERIAL_TO: "Last serial",
    Column.CODE: "Product code",
    Column.ITEM: "Item number",
    Column.MAKER: "Maker",
    Column.NAME: "Product name",
    Column.EXPIRES: "Expires",
    Column.MADE: "Made",
    Column.QUANTITY: "Quantity",
    Column.BESIDE: "Something else",
}

REFUSED: Final = {
    "refused-pdf": "This is a PDF. Open it, copy its table, and paste it.",
    "refused-old-spreadsheet": "This is a spreadsheet of the old kind. Save it as XLSX or CSV.",
    "refused-picture": "This is a picture. Scan the symbols on it, or type what it says.",
    "refused-word": "This is a letter, not a table. Open it, copy its table, and paste it.",
    "refused-markup": "XML and web pages are not taken. Ask for CSV, XLSX, JSON or EPCIS in JSON.",
    "refused-no-text": "This file is neither a table, a spreadsheet nor JSON.",
    "refused-broken": "This spreadsheet cannot be opened. Save it anew, or as CSV.",
    "refused-locked": "This spreadsheet is locked with a PIN. Save it without one.",
    "refused-not-a-workbook": "This packed file holds no spreadsheet.",
    "refused-binary-workbook": "This is a binary spreadsheet. Save it as XLSX or CSV.",
    "refused-empty": "This file is empty, or did not come back whole. Load it again.",
    "refused-many-scans": "These are too many scans at once. Look at them in parts.",
    "refused-too-large": "This is larger than 4 MB. Save only the lots, as CSV.",
}

FINDINGS: Final = {
    Finding.NOTHING_LEFT: "Matches nothing: what it asks for is excepted again",
    Finding.NO_OVERLAP: "Matches nothing: two of its conditions cannot both hold",
    Finding.EMPTY_RANGE: "Matches nothing: the range ends before it begins",
    Finding.ENDS_UNLIKE: "The two ends are not of one kind, so only the ends themselves are sure",
    Finding.NO_ENDS: "A range without ends says nothing",
    Finding.EVERY_UNIT: "Asks for every unit of the product",
    Finding.EVERYTHING: "Asks for everything of this kind",
    Finding.SAME_CLAUSE: "Says the same as",
    Finding.EXCEPTED_ELSEWHERE: "Is asked for here and excepted in",
    Finding.ALIKE_WITHIN: "Two texts of the list look alike: digit 0 or letter O, 1 or I?",
}

KINDS: Final = {
    Said.LOTS: ("lot", "lots"),
    Said.LOT_RANGE: ("lots", "lots"),
    Said.SERIALS: ("serial", "serials"),
    Said.SERIAL_RANGE: ("serials", "serials"),
    Said.MADE: ("made", "made"),
    Said.EXPIRES: ("expiring", "expiring"),
    Said.RECEIVED: ("received here", "received here"),
    Said.SHIPPED: ("sent by the maker", "sent by the maker"),
    Said.SUPPLIER: ("from", "from"),
}
SHOWN: Final = 6
"""Texts of a list that a sentence names."""


def doubt_words(doubt: Doubt) -> str:
    """Return why a row waits, with what was found."""
    words, detail = DOUBTS[doubt.code], doubt.detail
    match doubt.code:
        case Doubtful.HIDDEN if detail:
            return f"Hidden {detail} of the file"
        case Doubtful.MERGED if detail:
            return f"Stands in a cell that begins in row {detail}"
        case Doubtful.NUMBER | Doubtful.DATE if detail:
            return f"{words}. Shown as {detail}"
        case Doubtful.SHORT_END:
            return f"{words}: taken as {detail}"
        case Doubtful.SHORTER:
            return f"{words}. Most have {detail} digits"
        case Doubtful.NOT_RECALLED if detail:
            return f"{words}: it says {detail}"
        case _:
            return f"{words}: {detail}" if detail else words


def group_words(group: str) -> str:
    """Return what the rows of a group have in common."""
    codes = [Doubtful(code) for code in group.split(".")[:-1]]
    return ". ".join(DOUBTS[code] for code in codes)


def group_choices(group: str) -> list[tuple[str, str]]:
    """Return what can be decided for rows of a group."""
    more = group.endswith(".more")
    only = {Choice.READ, Choice.LEAVE}
    return [(str(each), words) for each, words in CHOICES.items() if more or each in only]


def not_read_words(entry: Entry) -> str:
    """Return why a row was not read, and where in it."""
    words = NOT_READ[entry.why or NotRead.EMPTY]
    if entry.why is NotRead.NOT_A_LIST:
        return f"{words}. {entry.detail} rows were not read"
    return f"{words}: {entry.detail}" if entry.detail else words


def meaning_words(meaning: Meaning) -> str:
    """Return one way to take a row."""
    if meaning.clause is not None:
        return clause_words(meaning.clause)
    return test_words(meaning.test) if meaning.test else "every lot"


def whole_words(meaning: Meaning) -> str:
    """Return one way to take a row, with its product where the row names one."""
    words = meaning_words(meaning)
    return f"{words} of {ref_words(meaning.product)}" if meaning.product else words


def note_words(note: Note) -> str:
    """Return what holds for a source as a whole."""
    if note.code in REFUSED:
        return REFUSED[note.code]
    say = NOTES.get(note.code)
    return say(note.facts) if say else note.code


def _encoding(facts: Mapping[str, object]) -> str:
    words = f"Read as {facts['encoding']}."
    if not facts["sure"]:
        words += " That is a guess. Compare the letters that are not plain."
    if facts["replaced"]:
        words += f" {facts['replaced']} characters stand for nothing and show as \ufffd."
    return words


def _unknown(facts: Mapping[str, object]) -> str:
    names = facts["names"]
    told = ", ".join(names[:8]) if isinstance(names, list) else ""
    return f"Not understood, and passed over: {told}."


NOTES: Final[Mapping[str, Callable[[Mapping[str, object]], str]]] = {
    "refused-inflated": lambda f: (
        f"This file unpacks to {_mega(f['size'])} MB. {_mega(f['most'])} MB are the most. "
        "Nothing of it was read."
    ),
    "refused-too-many-cells": lambda f: (
        f"This file holds more than {f['most']:,} cells. Save only the sheet with the lots."
    ),
    "refused-too-many-sheets": lambda f: (
        f"This file holds more than {f['most']} sheets. Save only the one with the lots."
    ),
    "refused-json": lambda f: f"This is no JSON that can be read: {f['where']}.",
    "encoding": _encoding,
    "sheet-hidden": lambda f: f"Sheet {f['name']} is hidden. Its rows wait for you.",
    "sheet-filtered": lambda f: (
        f"Sheet {f['name']} has a filter. Rows that it hides were read too and wait for you."
    ),
    "sheet-cut": lambda f: (
        f"Sheet {f['name']} goes on after what was read. Split it, and read the rest apart."
    ),
    "cut": lambda f: f"Only the first {f['most']:,} {f['name']} were read. Split the list.",
    "epcis": lambda f: (
        f"EPCIS document, version {f['version'] or 'not said'}: {f['events']} events."
    ),
    "unknown-fields": _unknown,
}


def _mega(size: object) -> str:
    return f"{(size if isinstance(size, int) else 0) / 2**20:,.0f}"


def test_words(test: ScopeTest) -> str:
    """Return what is said of a unit."""
    one, many = KINDS[test.kind]
    if test.texts:
        shown = ", ".join(test.texts[:SHOWN])
        rest = len(test.texts) - SHOWN
        words = f"{one if len(test.texts) == 1 else many} {shown}"
        return f"{words} and {rest:,} more" if rest > 0 else words
    first, last = test.ends
    if first and last:
        return f"{many} {first} to {last}" if first != last else f"{one} {first}"
    if first:
        return f"{many} {first} and later"
    return f"{many} up to {last}" if last else f"{many}, any"


def ref_words(ref: ProductRef) -> str:
    """Return a product as the notice names it."""
    said = [f"“{ref.name}”" if ref.name else "", f"code {ref.identifier}" if ref.identifier else ""]
    item = " ".join(
        each for each in (ref.maker, f"item {ref.item_number}" if ref.item_number else "") if each
    )
    return ", ".join(each for each in (*said, item, ref.kind.replace("-", " ")) if each)


def clause_words(clause: ScopeClause) -> str:
    """Return a clause as one sentence."""
    products = "; or ".join(ref_words(ref) for ref in clause.products[:SHOWN])
    if len(clause.products) > SHOWN:
        products += f"; or {len(clause.products) - SHOWN:,} more"
    tests = ", and ".join(test_words(test) for test in clause.tests) or "every unit"
    words = f"{tests[0].upper()}{tests[1:]} of {products}"
    if clause.containing:
        words = f"Packs that contain: {words[0].lower()}{words[1:]}"
    if clause.excepted:
        words += ", except " + ", and except ".join(test_words(test) for test in clause.excepted)
    if clause.used_from or clause.used_to:
        ends = [
            f"{end:%Y-%m-%d %H:%M} UTC" if end else "" for end in (clause.used_from, clause.used_to)
        ]
        words += (
            f", in use {'from ' + ends[0] if ends[0] else ''}{' to ' + ends[1] if ends[1] else ''}"
        )
    return words


def found_words(found: Found) -> str:
    """Return what a clause says against itself or another."""
    words = FINDINGS[found.finding]
    if found.other is not None:
        words += f" clause {found.other + 1}"
    return f"{words}: {', '.join(found.texts)}." if found.texts else f"{words}."


def ref_match_words(match: RefMatch) -> str:
    """Return what a product of the notice is here."""
    if match.products:
        words = "Known here: " + ", ".join(name for _, name in match.products[:SHOWN])
        return f"{words}. That code is of {match.units} pieces." if match.units else f"{words}."
    if match.ref.kind:
        return f"{match.machines} machines of this kind in the register."
    named = ref_words(match.ref)
    return (
        f"{named[:1].upper()}{named[1:]} is not known here. The code is kept all the same: "
        "the answer then says what cannot be excluded."
    )


def match_words(matches: ClauseMatches) -> list[str]:
    """Return what a clause names that was ever seen here."""
    words = list(dict.fromkeys(ref_match_words(each) for each in matches.refs[:SHOWN]))
    return words + [seen_words(each) for each in matches.tests]


def seen_words(match: TestMatches) -> str:
    """Return how many texts of a test were ever seen here."""
    thing = "serial" if match.test.kind in {Said.SERIALS, Said.SERIAL_RANGE} else "lot"
    if not match.counted:
        return "The range is wide: its serials are looked up when you ask."
    of = f" of {match.named:,}" if match.named is not None else ""
    things = thing if (match.named or match.seen) == 1 else f"{thing}s"
    words = f"{match.seen:,}{of} {things} ever seen here."
    return f"{words} {match.alike:,} more only look alike." if match.alike else words


def counts_words(counts: Mapping[Fate, int]) -> str:
    """Return how many rows came to what."""
    order = (Fate.TAKEN, Fate.WAITS, Fate.NOT_READ, Fate.DOUBLE, Fate.LEFT_OUT)
    said = [f"{counts[each]:,} {FATES[each].lower()}" for each in order if counts.get(each)]
    return ", ".join(said)


def product_doubt(code: str) -> str:
    """Return what speaks against the code that was given for the whole list."""
    if code in {"private", "code"}:
        return NOT_READ[NotRead(code)]
    return DOUBTS[Doubtful(code)]
