"""The GS1 application identifiers: our own table, compiled for quick reading.

`gs1_table.csv` holds one line an identifier or run of identifiers: whether its length is
predefined (no separator needed), whether it may stand in the query of a Digital Link, its parts,
the partners it needs and those it must not meet, the qualifiers it takes in a Digital Link, and a
short title of our own. The facts are those of the GS1 Barcode Syntax Dictionary, release
2026-01-27; a test compares the two.

Parts are written `digits:6:date-or-month`, with `1-20` for a length that varies and "?" before
one that may be missing. Partners: " and " joins demands that must all be met, "|" stands between
alternatives, "+" joins identifiers of one alternative, and a small "n" is any digit.
"""

# ruff: noqa: PLR2004 - lengths and limits are the standard's own, named where they are used

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from typing import Final

from .gs1_checks import CHECKS, SET_39, SET_64, SET_82, Check
from .gs1_dates import day_of

__all__ = ["IDENTIFIER_LENGTH", "TABLE", "TWO_DIGITS", "Identifier", "Part"]

_SETS: Final = {"text": SET_82, "part-number": SET_39, "base64url": SET_64}


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One component of an element's data."""

    characters: str
    least: int
    most: int
    optional: bool
    checks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Identifier:
    """One application identifier and its rules.

    Attributes:
        fixed: length of the data when it is predefined, so that no separator is needed; else 0.
        needs: demands; each is met by one identifier of its first set, or by all of one of the
            groups of its second.
        never_with: identifiers that must not be on the same item.
        qualifiers: in a Digital Link, the runs of identifiers that may follow; None if it is
            no primary key there.
        verify: None or the reason code for ASCII data of this identifier.
    """

    identifier: str
    title: str
    fixed: int
    parts: tuple[Part, ...]
    needs: tuple[tuple[frozenset[str], tuple[frozenset[str], ...]], ...]
    never_with: frozenset[str]
    qualifiers: tuple[tuple[str, ...], ...] | None
    link_attribute: bool
    verify: Check


def _part(written: str) -> Part:
    characters, length, *checks = written.lstrip("?").split(":")
    least, _, most = length.partition("-")
    return Part(
        characters=characters,
        least=int(least),
        most=int(most or least),
        optional=written.startswith("?"),
        checks=tuple(checks),
    )


def _right_characters(part: Part, value: str) -> bool:
    if part.characters == "digits":
        return value.isdigit()
    return _SETS[part.characters].issuperset(value)


def _verifier(parts: tuple[Part, ...]) -> Check:
    """Return the test of whole elements: length first, then characters, then content (R-9)."""
    least = sum(part.least for part in parts if not part.optional)
    most = sum(part.most for part in parts)
    over = "too-long" if any(p.least != p.most or p.optional for p in parts) else "bad-length"

    def verify(value: str, today: date) -> str | None:
        if len(value) < least:
            return "bad-length"
        if len(value) > most:
            return over
        cut = _cut(parts, value)
        if cut is None:
            return "bad-length"
        if not all(_right_characters(part, taken) for part, taken in cut):
            return "bad-charset"
        codes = (CHECKS[name](taken, today) for part, taken in cut for name in part.checks)
        return next((code for code in codes if code), None)

    return _quick(parts, verify)


def _cut(parts: tuple[Part, ...], value: str) -> list[tuple[Part, str]] | None:
    """Return each part with its piece of `value`; None if a piece is too short."""
    cut, at = [], 0
    for part in parts:
        taken = value[at : at + part.most]
        at += part.most
        if not taken and part.optional:
            break
        if len(taken) < part.least:
            return None
        cut.append((part, taken))
    return cut


def _quick(parts: tuple[Part, ...], thorough: Check) -> Check:
    """Return a shorter way to the same answer for the commonest shapes, else `thorough`.

    A shortcut only ever says "nothing wrong"; it hands every doubt on.
    """
    if len(parts) > 1:
        return thorough
    (part,) = parts
    if part.characters == "digits" and part.least == part.most and "check-digit" in part.checks:
        return _quick_number(part.most, thorough)
    if part.checks == ("date-or-month",):
        return _quick_date(thorough)
    if part.characters == "text" and not part.checks:
        return _quick_text(part.least, part.most, thorough)
    return thorough


def _quick_number(size: int, thorough: Check) -> Check:
    # A company prefix inside digits alone is never wrong, so the check digit decides.
    triple, single = slice(size % 2, None, 2), slice(1 - size % 2, None, 2)
    zeros = 48 * (3 * len(range(size)[triple]) + len(range(size)[single]))

    def verify(value: str, today: date) -> str | None:
        if len(value) == size and value.isdigit():
            raw = value.encode()
            if (3 * sum(raw[triple]) + sum(raw[single]) - zeros) % 10 == 0:
                return None
        return thorough(value, today)

    return verify


def _quick_date(thorough: Check) -> Check:
    def verify(value: str, today: date) -> str | None:
        if len(value) == 6 and value.isdigit() and day_of(value, today) is not None:
            return None
        return thorough(value, today)

    return verify


def _quick_text(least: int, most: int, thorough: Check) -> Check:
    is_text = SET_82.issuperset

    def verify(value: str, today: date) -> str | None:
        if least <= len(value) <= most and is_text(value):
            return None
        return thorough(value, today)

    return verify


def _rows() -> Iterator[tuple[str, dict[str, str]]]:
    written = files(__package__).joinpath("gs1_table.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(written.splitlines()):
        width = len(row["first"])
        for number in range(int(row["first"]), int(row["last"]) + 1):
            yield f"{number:0{width}}", row


def _matching(pattern: str, known: tuple[str, ...]) -> Iterator[str]:
    stem = pattern.rstrip("n")
    return (name for name in known if len(name) == len(pattern) and name.startswith(stem))


def _demand(
    written: str, known: tuple[str, ...]
) -> tuple[frozenset[str], tuple[frozenset[str], ...]]:
    single, groups = set[str](), []
    for alternative in written.split("|"):
        if "+" in alternative:
            groups.append(frozenset(alternative.split("+")))
        else:
            single.update(_matching(alternative, known))
    return frozenset(single), tuple(groups)


def _compiled() -> dict[str, Identifier]:
    rows = tuple(_rows())
    known = tuple(name for name, _ in rows)
    table = {}
    for name, row in rows:
        parts = tuple(_part(written) for written in row["parts"].split())
        link_key, never = row["link_key"], row["never_with"]
        table[name] = Identifier(
            identifier=name,
            title=row["title"],
            fixed=sum(part.most for part in parts) if row["predefined_length"] == "yes" else 0,
            parts=parts,
            needs=tuple(_demand(d, known) for d in row["needs"].split(" and ") if d),
            never_with=frozenset(
                found for p in never.split("|") if p for found in _matching(p, known)
            )
            - {name},
            qualifiers=tuple(
                () if run == "alone" else tuple(run.split()) for run in link_key.split(" or ")
            )
            if link_key
            else None,
            link_attribute=row["link_attribute"] == "yes",
            verify=_verifier(parts),
        )
    return table


TABLE: Final = _compiled()
"""All identifiers by their digits."""

IDENTIFIER_LENGTH: Final = {name[:2]: len(name) for name in TABLE}
"""The first two digits decide how many there are. GS1 General Specifications, section 3.2."""

TWO_DIGITS: Final = {name: entry for name, entry in TABLE.items() if len(name) == 2}
"""The commonest identifiers, found with one look."""
