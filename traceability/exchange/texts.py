"""What may be doubtful about one lot or serial as somebody typed, pasted or saved it.

The traps are those of spreadsheets: they drop leading zeros, and turn lots into dates and powers
of ten. Source of the traps: tried with the spreadsheet files of the tests.
"""

import re
import unicodedata
from collections.abc import Iterator
from datetime import date
from typing import Final

from traceability.domain.scope_draft import Doubt, Doubtful, NotRead
from traceability.identifiers.checks import gs1_check

__all__ = ["doubts_of", "is_product_code", "may_be_from_day", "nothing_in"]

GS1_MOST: Final = 20
"""Characters of a GS1 lot or serial (GS1 General Specifications, AI (10) and AI (21))."""
LONGEST: Final = 100
"""Characters beyond which a cell is a sentence; own choice, no source."""
MONTHS: Final = ["JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"]

_HYPHENS: Final = dict.fromkeys((*range(0x2010, 0x2015), 0x2212), "-")
"""Long dashes and the minus sign, which copied texts carry for a hyphen."""
_PLAIN: Final = re.compile(r"[!\"%&'()*+,\-./0-9:;<=>?A-Z_a-z]+")
"""GS1 AI encodable character set 82 (General Specifications, section 7.11)."""
_WILD: Final = re.compile(r".*[*?].*|.*[0-9A-Za-z-](?:xx+|XX+)")
_MARKED: Final = (
    re.compile(r"(?P<mark>[\"'])(?P<text>[^\"']+)[\"']?"),
    re.compile(r"(?P<text>\S+?)\s*\((?P<mark>[^()]*)\)\.?"),
    re.compile(r"(?P<mark>[0-9]{1,4}[.)])\s+(?P<text>\S+)"),
    re.compile(r"(?P<mark>#)(?P<text>\S+)"),
)
_POWER: Final = re.compile(r"([0-9])(?:[.,]([0-9]+))?[eE]([+-]?)([0-9]{1,3})")
_DECIMAL: Final = re.compile(r"([0-9]+)[.,]0+")
_MONTH: Final = r"(?:jan|feb|mar|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-z]*\.?"
_DATE: Final = re.compile(
    r"(?P<iso>[0-9]{4}-[0-9]{2}-[0-9]{2})(?:[ T][0-9:.]+)?"
    r"|[0-9]{1,2}[/.][0-9]{1,2}[/.](?:[0-9]{2}|[0-9]{4})"
    rf"|(?P<day>[0-9]{{1,2}})[-/. ](?P<month>{_MONTH})(?:[-/. ][0-9]{{2,4}})?"
    rf"|(?P<first>{_MONTH})[-/. ](?P<year>[0-9]{{2,4}})",
    re.IGNORECASE,
)
_NOTHING: Final = re.compile(
    r"n\.?/?a\.?|none|nil|tbd|tba|unknown|not known|various|see .*|-+|–|—|\?+|\*+", re.IGNORECASE
)
_ERROR: Final = re.compile(r"#(N/A|REF!|VALUE!|NAME\?|DIV/0!|NUM!|NULL!|SPILL!|CALC!|#+)")
_DIGIT: Final = re.compile(r"[0-9]")
_WORD: Final = re.compile(r"[^\W\d_]{2,}")
SENTENCE: Final = 4
"""Words of letters alone from which a text is a sentence."""


def nothing_in(text: str) -> NotRead | None:
    """Return why a text can be no lot or serial at all."""
    if not text:
        return NotRead.EMPTY
    if len(text) > LONGEST:
        return NotRead.LONG
    if _ERROR.fullmatch(text):
        return NotRead.BROKEN_CELL
    if _NOTHING.fullmatch(text):
        return NotRead.NOTHING
    words = text.split()
    if len(words) >= SENTENCE and sum(
        1 for each in words if _WORD.fullmatch(each.strip(".,:;()"))
    ) * 2 > len(words):
        return NotRead.WORDS
    if len(words) > 1 and not _DIGIT.search(text):
        return NotRead.WORDS
    return None


def is_product_code(text: str) -> bool:
    """Tell whether a text is a GTIN of 12 to 14 digits with its right check digit."""
    return len(text) in {12, 13, 14} and is_checked(text)


def is_checked(digits: str) -> bool:
    """Tell whether digits end in the GS1 check digit (General Specifications, section 7.9)."""
    return digits.isascii() and digits.isdigit() and gs1_check(digits[:-1]) == digits[-1]


def doubts_of(text: str) -> Iterator[tuple[Doubt, tuple[tuple[str, ...], ...]]]:
    """Yield each doubt about a text, with what it may have been: lots, or several lots at once."""
    marked = next((found for form in _MARKED if (found := form.fullmatch(text))), None)
    if marked and marked["mark"]:
        yield Doubt(Doubtful.MARKS, marked["mark"]), ((marked["text"],),)
    elif not _PLAIN.fullmatch(text):
        yield from _unplain(text)
    if _WILD.fullmatch(text):
        yield Doubt(Doubtful.WILDCARD), ()
    if found := _POWER.fullmatch(text):
        yield Doubt(Doubtful.SCIENTIFIC), tuple((each,) for each in _unpowered(*found.groups()))
    elif found := _DECIMAL.fullmatch(text):
        yield Doubt(Doubtful.DECIMAL), ((found[1],),)
    elif found := _DATE.fullmatch(text):
        yield Doubt(Doubtful.DATE), tuple((each,) for each in _may_be(found) if each != text)
    if len(text) > GS1_MOST:
        yield Doubt(Doubtful.LONG, str(len(text))), ()
    if not _DIGIT.search(text):
        yield Doubt(Doubtful.NO_DIGIT), ()
    if is_product_code(text):
        yield Doubt(Doubtful.PRODUCT_CODE), ()


def _unplain(text: str) -> Iterator[tuple[Doubt, tuple[tuple[str, ...], ...]]]:
    usual = unicodedata.normalize("NFKC", text).translate(_HYPHENS)
    strange = sorted(
        {
            char if " " < char <= "~" else f"U+{ord(char):04X}"
            for char in text
            if char != " " and not _PLAIN.fullmatch(char)
        }
    )
    parts = tuple(text.split())
    if strange:
        # Blanks and marks that show nothing may go; letters of other scripts may not.
        joined = "".join(char for char in usual if unicodedata.category(char)[0] not in "CZ")
        other = ((joined,),) if joined and joined != text and _PLAIN.fullmatch(joined) else ()
        yield Doubt(Doubtful.CHARACTERS, ", ".join(strange[:5])), other
    elif len(parts) > 1:
        several = all(re.search(r"[0-9]", part) and len(part) > 2 for part in parts)  # noqa: PLR2004
        yield Doubt(Doubtful.BLANK), (parts if several else ("".join(parts),),)


def _unpowered(digit: str, more: str | None, sign: str, power: str) -> list[str]:
    """Return texts that a spreadsheet shows as this power of ten."""
    mantissa = (digit + (more or "")).rstrip("0") or "0"
    exponent = int(power)
    whole = exponent - (len(mantissa) - 1)
    found = [f"{mantissa}E{whole}", f"{mantissa}E{whole:02}"] if whole >= 0 and sign != "-" else []
    if sign != "-" and whole >= 0 and len(mantissa) + whole <= GS1_MOST:
        found.append(mantissa + "0" * whole)
    return list(dict.fromkeys(found))


def _may_be(found: re.Match[str]) -> list[str]:
    """Return texts that a spreadsheet shows as this date."""
    if day := _day(found["iso"]):
        return may_be_from_day(day)
    if found["day"]:
        month = found["month"].rstrip(".").upper()
        return [found["day"] + month, month + found["day"], f"{month}-{found['day']}"]
    if found["first"]:
        month = found["first"].rstrip(".").upper()
        return [month + found["year"], f"{month}-{found['year']}"]
    return []


def _day(iso: str | None) -> date | None:
    try:
        return date.fromisoformat(iso) if iso else None
    except ValueError:
        return None


def may_be_from_day(day: date) -> list[str]:
    """Return texts that a spreadsheet turns into this day when they are typed into it."""
    month = MONTHS[day.month - 1]
    if day.day == 1:
        return [f"{month}{day:%y}", f"{month}-{day:%y}", f"{day.month}-{day:%y}", f"1{month}"]
    return [
        f"{day.day}{month}",
        f"{month}{day.day}",
        f"{month}-{day.day}",
        f"{day.day}-{day.month}",
    ]
