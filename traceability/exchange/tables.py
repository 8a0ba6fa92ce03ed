"""Rows and cells of a list as it was pasted or saved, whatever they mean."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from traceability.domain.scope_draft import Doubt, Doubtful, NotRead
from traceability.exchange.headings import heading_of

__all__ = ["Cell", "Row", "Table", "split_text"]

MOST_COLUMNS: Final = 64
"""Further columns are not read, and that is said."""
LOOKED_AT: Final = 200
"""Lines from which the way of separating columns is told."""
_TOLD: Final = re.compile(r"sep=(\\t|.)", re.IGNORECASE)
"""A first line by which programs say what separates the columns."""
_AS_TEXT: Final = re.compile(r'="?"?([^"]*)"?"?')
csv.field_size_limit(1 << 20)


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: what is read in it, and what speaks against believing it."""

    text: str
    doubts: tuple[Doubt, ...] = ()
    may_be: tuple[str, ...] = ()
    why: NotRead | None = None
    """It can be no text of anything."""
    number: bool = False
    """It was no text but a number."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row."""

    number: int
    """1-based, as people count it in the source."""
    cells: tuple[Cell, ...]
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows with one meaning of columns."""

    name: str
    """Of the sheet; "line" for a text."""
    rows: Sequence[Row]
    is_sheet: bool = False
    merged: tuple[tuple[int, int, int, int], ...] = ()
    """First row, last row, first column, last column; all 1-based and included."""

    def place(self, row: int, column: int | None = None) -> str:
        """Return where a cell stands, as people find it: "Lots!B7" or "line 7, column 2"."""
        if self.is_sheet:
            return f"{self.name}!{letters(column or 1)}{row}"
        at = f"{self.name} {row}"
        return at if column is None else f"{at}, column {column}"


def letters(column: int) -> str:
    """Return the letters of a spreadsheet's column: 1 is A, 27 is AA."""
    text = ""
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def split_text(text: str, *, name: str = "line", file: bool = False) -> Table | None:
    """Return the table that a text is; None where it is a list of lines without columns.

    Args:
        text: lines ended in any way.
        name: what its rows are called.
        file: it was saved as a table, so that commas separate columns and not items of a list.
    """
    lines = [line for line in text.splitlines()[:LOOKED_AT] if line.strip()]
    told = _TOLD.fullmatch(lines[0].strip()) if lines else None
    separator = told[1].replace("\\t", "\t") if told else _separator(lines, file=file)
    if separator is None:
        return None
    if separator == "  ":
        split = (re.split(r" {2,}|\t", line.strip()) for line in text.splitlines())
        found = list(enumerate(split, start=1))
    else:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
        found = []
        try:
            last = 0
            for cells in reader:
                found.append((last + 1, cells))
                last = reader.line_num
        except (
            csv.Error
        ):  # an unclosed quotation mark that swallows the rest: take lines as they are
            found = [
                (n, line.split(separator)) for n, line in enumerate(text.splitlines(), start=1)
            ]
    rows = [
        Row(number, tuple(_cell(cell.strip(" \t\r\n")) for cell in cells[:MOST_COLUMNS]))
        for number, cells in found[1 if told else 0 :]
    ]
    return Table(name=name, rows=rows)


def _cell(text: str) -> Cell:
    """Return a cell of a saved table; programs write a text as ="0417" to keep its zeros."""
    found = _AS_TEXT.fullmatch(text)
    return Cell(found[1], (Doubt(Doubtful.FORMULA, text[:60]),)) if found else Cell(text)


def _separator(lines: Sequence[str], *, file: bool) -> str | None:
    """Return what separates columns; None where nothing does."""
    if not lines:
        return None
    for each in "\t", ";", "|":
        if _steady(lines, each):
            return each
    if (file or any("," in line and _heads(line) for line in lines[:20])) and _steady(lines, ","):
        return ","
    wide = [len(re.split(r" {2,}|\t", line.strip())) for line in lines]
    return (
        "  " if wide[0] > 1 and sum(1 for each in wide if each == wide[0]) * 2 > len(wide) else None
    )


def _steady(lines: Sequence[str], separator: str) -> bool:
    if separator not in "".join(lines):
        return False
    counts = [line.count(separator) for line in lines]
    usual = max(set(counts), key=lambda each: (counts.count(each), each))
    return (
        usual > 0
        and counts.count(usual) * 2 > len(counts)
        and (len(lines) > 1 or separator == "\t")
    )


def _heads(line: str) -> bool:
    return any(heading_of(cell) for cell in line.split(","))
