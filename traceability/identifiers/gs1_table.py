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

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from typing import Final

from .gs1_checks import CHECKS, SET_39, SET_64, SET_82, Check, _check_digit, _date_or_month

__all__ = ["IDENTIFIER_LENGTH", "TABLE", "Identifier", "Part"]

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
    varies = any(part.least != part.most or part.optional for part in parts)
    steps = tuple((part, tuple(CHECKS[name] for name in part.checks)) for part in parts)

    def verify(value: str, today: date) -> str | None:
        length = len(value)
        if length < least:
            return "bad-length"
        if length > most:
            return "too-long" if varies else "bad-length"
        cut, at = [], 0
        for part, checks in steps:
            taken = value[at : at + part.most]
            at += part.most
            if not taken and part.optional:
                break
            if len(taken) < part.least:
                return "bad-length"
            cut.append((part, checks, taken))
        for part, _, taken in cut:
            if not _right_characters(part, taken):
                return "bad-charset"
        for _, checks, taken in cut:
            for check in checks:
                if fault := check(taken, today):
                    return fault
        return None

    return _quick(parts, verify)


def _quick(parts: tuple[Part, ...], thorough: Check) -> Check:
    """Return a shorter way to the same answer for the commonest shapes.

    Each shortcut only ever says "nothing wrong"; every doubt goes to `thorough`.
    """
    if len(parts) != 1:
        return thorough
    (part,) = parts
    size, checks = part.most, part.checks
    if part.characters == "digits" and part.least == size and "check-digit" in checks:
        # A company prefix inside digits alone is never wrong, so the check digit decides.
        def verify_number(value: str, today: date) -> str | None:
            if len(value) == size and value.isdigit() and not _check_digit(value, today):
                return None
            return thorough(value, today)

        return verify_number
    if checks == ("date-or-month",):

        def verify_date(value: str, today: date) -> str | None:
            if len(value) == 6 and value.isdigit() and not _date_or_month(value, today):
                return None
            return thorough(value, today)

        return verify_date
    if part.characters == "text" and not checks:
        least, is_text = part.least, SET_82.issuperset

        def verify_text(value: str, today: date) -> str | None:
            if least <= len(value) <= size and is_text(value):
                return None
            return thorough(value, today)

        return verify_text
    return thorough


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
"""The first two digits decide how many an identifier has. GS1 General Specifications, section 3.2."""
