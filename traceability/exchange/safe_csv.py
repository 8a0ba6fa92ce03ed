"""Tables as CSV that a spreadsheet can open without running anything of what stands in them.

A cell that begins like a formula is given an apostrophe in front, which spreadsheets show as text.
Whole numbers of ours are written as numbers. Source of which beginnings count: the OWASP page on
CSV injection, from memory: = + - @ tab and carriage return, and the wide forms of the first four.
"""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

__all__ = ["csv_text", "plain_cell"]

_FORMULA: Final = tuple("=+-@\t\r\n＝＋－＠")  # noqa: RUF001 - the wide forms are meant


def plain_cell(value: object) -> object:
    """Return the cell as it can be opened: a text that would be a formula gets an apostrophe."""
    if not isinstance(value, str):
        return value
    # Blanks in front do not make it safe: spreadsheets take them away.
    return f"'{value}" if value.lstrip(" \u00a0").startswith(_FORMULA) else value


def csv_text(columns: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    """Return the table as CSV (RFC 4180) with its head; what a row lacks is empty."""
    out = io.StringIO()
    table = csv.DictWriter(out, columns, restval="", lineterminator="\r\n")
    table.writeheader()
    for row in rows:
        table.writerow({name: plain_cell(value) for name, value in row.items()})
    return out.getvalue()
