"""A sheet of paper with sentences and tables, ready to be set."""

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["SheetTable", "TableSheet"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetTable:
    """One table with its name."""

    name: str
    heads: Sequence[str]
    widths: Sequence[int]
    """Millimetres of the columns."""
    rows: Sequence[Sequence[str]]
    lots: Sequence[int] = ()
    """Columns whose texts were read from labels: letters underlined, digits not."""
    empty: str = ""
    """What is said where there is no row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableSheet:
    """The whole sheet."""

    unit: str
    subject: str
    """Stands at the top of every page."""
    title: str
    as_known: str
    lines: Sequence[str]
    tables: Sequence[SheetTable]
    blanks: Sequence[str] = ()
    """What is written by hand at the end: "Signature", "Date"."""
    caution: str
    foot: str = ""
    """Digest or the like, in small letters on every page."""
    practice: bool = False
