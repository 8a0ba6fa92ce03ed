"""Looks at a spreadsheet file before anything unpacks it: sizes, counts, and what it hides.

An XLSX file is a ZIP of XML parts (ECMA-376, Office Open XML; part names from memory). The unpacked
sizes that it declares are summed first; Python's reader then never gives out more than declared.
"""

import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import IO, Final

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import ParseError, iterparse

from traceability.exchange.tables import MOST_COLUMNS

__all__ = ["Outline", "Unusable", "check_archive", "outline"]

MOST_UNPACKED: Final = 48 * 1024 * 1024
"""Bytes. 50,000 rows of six columns unpack to some 20 MB (measured with the tests' own files)."""
MOST_TAGS: Final = 3_000_000
"""Tags in all parts; 50,000 rows of six columns have 1.5 million."""
MOST_PARTS: Final = 2_000
MOST_CELLS: Final = 400_000
CHUNK: Final = 1 << 16
MAIN: Final = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
STRICT: Final = "{http://purl.oclc.org/ooxml/spreadsheetml/main}"
_RANGE: Final = re.compile(r"\$?([A-Z]{1,3})\$?([0-9]{1,7})(?::\$?([A-Z]{1,3})\$?([0-9]{1,7}))?")


_NEAR: Final = tuple(
    f"{letter}{digit}" for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" for digit in "123456789"
)


class Unusable(ValueError):
    """The file is not opened; `code` says why, `facts` the numbers."""

    def __init__(self, code: str, **facts: object) -> None:
        """Keep the code for whoever words it."""
        super().__init__(code)
        self.code, self.facts = code, facts


@dataclass(slots=True)
class Outline:
    """What the plain reader does not tell of a sheet."""

    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: list[tuple[int, int]] = field(default_factory=list)
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    """First row, last row, first column, last column."""
    cells: int = 0
    last_row: int = 0
    last_column: int = 0
    is_filtered: bool = False

    def hides_column(self, column: int) -> bool:
        """Tell whether a column, 1-based, is hidden."""
        return any(first <= column <= last for first, last in self.hidden_columns)


def check_archive(data: bytes) -> zipfile.ZipFile:
    """Return the archive, its sizes checked.

    Raises:
        Unusable: it is broken, encrypted, not a workbook, or unpacks to too much.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        parts = archive.infolist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        raise Unusable("broken") from None
    if any(part.flag_bits & 1 for part in parts):
        raise Unusable("locked")
    names = {part.filename for part in parts}
    if "xl/workbook.xml" not in names and "[Content_Types].xml" not in names:
        raise Unusable("not-a-workbook")
    if any(
        name.startswith("xl/") and name.endswith(".bin") and "workbook" in name for name in names
    ):
        raise Unusable("binary-workbook")
    size = sum(part.file_size for part in parts)
    if size > MOST_UNPACKED or len(parts) > MOST_PARTS or len(names) != len(parts):
        raise Unusable("inflated", size=size, most=MOST_UNPACKED)
    _count_tags(archive, parts)
    return archive


def _count_tags(archive: zipfile.ZipFile, parts: list[zipfile.ZipInfo]) -> None:
    tags = 0
    try:
        for part in parts:
            if not part.filename.endswith((".xml", ".rels")):
                continue
            with archive.open(part) as stream:
                while chunk := stream.read(CHUNK):
                    tags += chunk.count(b"<")
                    if tags > MOST_TAGS:
                        raise Unusable("too-many-cells", most=MOST_CELLS)
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, zlib.error):
        raise Unusable("broken") from None


def outline(stream: IO[bytes]) -> Outline:
    """Return what a sheet's XML hides and merges.

    Raises:
        Unusable: it is no XML that can be trusted, or holds too many cells.
    """
    found = Outline()
    try:
        for tag, attributes in _starts(stream):
            _add(found, tag, attributes)
    except (ParseError, DefusedXmlException, zipfile.BadZipFile, EOFError, zlib.error):
        raise Unusable("broken") from None
    return found


def _add(found: Outline, tag: str, attributes: dict[str, str]) -> None:
    hidden = attributes.get("hidden") in {"1", "true"}
    match tag:
        case "c":
            found.cells += 1
            if found.cells > MOST_CELLS:
                raise Unusable("too-many-cells", most=MOST_CELLS)
            found.last_column = max(found.last_column, _column_of(attributes.get("r", "")))
        case "row":
            row = _number(attributes.get("r"))
            found.last_row = max(found.last_row, row)
            if hidden:
                found.hidden_rows.add(row)
        case "col" if hidden:
            ends = (_number(attributes.get("min")), _number(attributes.get("max")))
            found.hidden_columns.append(ends)
        case "autoFilter":
            found.is_filtered = True
        case "mergeCell":
            if ref := _RANGE.fullmatch(attributes.get("ref", "")):
                found.merged.append(_box(ref))
        case _:
            pass


def _column_of(ref: str) -> int:
    """Return the column of a cell; of one that says none, the last that is read."""
    if ref.startswith(_NEAR):
        return ord(ref[0]) - ord("A") + 1
    found = _RANGE.fullmatch(ref)
    return _column(found[1]) if found else MOST_COLUMNS


def _starts(stream: IO[bytes]) -> Iterator[tuple[str, dict[str, str]]]:
    root = None
    for event, element in iterparse(stream, events=("start", "end"), forbid_dtd=True):
        if event == "start":
            root = element if root is None else root
            yield element.tag.rpartition("}")[2], element.attrib
        elif element.tag in {f"{MAIN}row", f"{STRICT}row"}:
            element.clear()
            if root is not None and len(root):
                root[-1].clear()


def _number(text: str | None) -> int:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 9 else 0  # noqa: PLR2004


def _box(ref: re.Match[str]) -> tuple[int, int, int, int]:
    column, row = _column(ref[1]), int(ref[2])
    last_column, last_row = (_column(ref[3]), int(ref[4])) if ref[3] else (column, row)
    return row, last_row, column, last_column


def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number
